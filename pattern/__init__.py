"""Read the contact pattern on ring gear teeth and advise the next correction.

Start reading at `pattern.workflow`: the whole flow on one screen.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

__version__ = "0.1.0"

if TYPE_CHECKING:
    from pattern.errors import PatternError
    from pattern.gears.predict import predict
    from pattern.records import Advice, Axle, Reading, Roll, SideReading
    from pattern.settings import Settings
    from pattern.workflow import advise, file_roll, read_photo, read_roll

_HOMES = {
    "PatternError": "errors",
    "Advice": "records", "Axle": "records", "Reading": "records", "Roll": "records", "SideReading": "records",
    "Settings": "settings",
    "advise": "workflow", "file_roll": "workflow", "predict": "gears.predict",
    "read_photo": "workflow", "read_roll": "workflow",
}  # fmt: skip

__all__ = [
    "Advice", "Axle", "PatternError", "Reading", "Roll", "Settings", "SideReading",
    "advise", "file_roll", "predict", "read_photo", "read_roll",
]  # fmt: skip


def __getattr__(name: str) -> object:
    """Import on first use: `contact-pattern --help` must not wait for image libraries."""
    if name not in _HOMES:
        raise AttributeError(f"module 'pattern' has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(f"pattern.{_HOMES[name]}"), name)
