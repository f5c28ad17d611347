"""What every test shares."""

from __future__ import annotations

from hypothesis import settings

# A busy machine is no fault of a property: the whole test has its own time limit.
settings.register_profile("no deadline", deadline=None)
settings.load_profile("no deadline")
