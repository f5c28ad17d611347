from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from pattern.archive.store import Archive


@pytest.fixture
def archive(tmp_path: Path) -> Iterator[Archive]:
    with Archive.open(tmp_path / "shop") as opened:
        yield opened
