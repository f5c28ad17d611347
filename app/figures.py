"""Lengths in fields: the unit on show to inches and back."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable

from pattern.records import MM_PER_IN
from pattern.report.measures import Units


def shown(inches: float, units: Units) -> float:
    """Inches in the unit on show."""
    return inches * MM_PER_IN if units == "mm" else inches


def kept(value: float, units: Units) -> float:
    """A value in the unit on show back to inches, without the noise of the conversion."""
    return round(value / MM_PER_IN if units == "mm" else value, 7)


def step(units: Units, *, coarse: bool = False) -> tuple[float, int]:
    """Step of a field and digits after the point."""
    if coarse:
        return (0.25, 3) if units == "in" else (1.0, 1)
    return (0.0005, 4) if units == "in" else (0.01, 3)


def listed(inches: Iterable[float], units: Units) -> str:
    """Readings in one line, as a shop writes them down."""
    digits = 4 if units == "in" else 3
    return "  ".join(f"{shown(value, units):.{digits}f}" for value in inches)


def parsed(text: str, units: Units) -> tuple[float, ...] | None:
    """Readings in one line to inches; a decimal comma is understood; None if it is no such line."""
    words = re.sub(r"(?<=\d),(?=\d)", ".", text).replace(",", " ").replace(";", " ").split()
    try:
        values = tuple(kept(float(word), units) for word in words)
    except ValueError:
        return None
    return values if all(map(math.isfinite, values)) else None
