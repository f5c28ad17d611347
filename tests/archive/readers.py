"""Readers for the tests of reading again: quick, and some that do a worker harm."""

from __future__ import annotations

import os
import signal
from dataclasses import replace
from pathlib import Path
from typing import Any

from pattern.records import Photo, Reading, Reason
from tests.archive.samples import reading

DEADLY, POISON, FAULTY, DIM = "deadly.jpg", "poison.jpg", "faulty.jpg", "dim.jpg"
"""Names of photos that kill a worker once, kill every worker, raise a fault, are declined."""


def quick(
    photo: Photo, side: Any, *, hand: Any = "right", settings: Any = None, **way: Any
) -> Reading:
    """A reading of the photo's own colour, so that each photo has its own; harm by the photo's name."""
    if photo.name == POISON or (photo.name == DEADLY and _first_time(photo)):
        os.kill(os.getpid(), signal.SIGKILL)
    if photo.name == FAULTY:
        raise ZeroDivisionError("no tooth is that short")
    if photo.name == DIM:
        reasons = (Reason("too_dark", "the picture is too dark on the teeth"),)
        return Reading(photo.name, photo.sha256, "declined", side, hand, reasons)
    shade = float(photo.pixels.mean()) / 255.0
    made = reading(b"", side, photo.name, lengthwise=round(shade, 4))
    return replace(made, sha256=photo.sha256, hand=hand)


def _first_time(photo: Photo) -> bool:
    mark = Path(os.environ["DEADLY_ONCE"]) / photo.sha256
    if mark.exists():
        return False
    mark.touch()
    return True
