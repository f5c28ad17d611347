"""Lengths in the shop's words: thousandths of an inch or hundredths of a millimetre."""

from __future__ import annotations

import re
from collections.abc import Iterable

from app.state import Units
from pattern.records import MM_PER_IN

UNIT_WORDS = {"in": "in", "mm": "mm"}


def shown(inches: float, units: Units) -> float:
    """Inches in the unit on show."""
    return inches * MM_PER_IN if units == "mm" else inches


def kept(value: float, units: Units) -> float:
    """A value in the unit on show back to inches, without the noise of the conversion."""
    return round(value / MM_PER_IN if units == "mm" else value, 7)


def length(inches: float, units: Units) -> str:
    """A length of any size, for example a diameter: 8.5 in, 215.9 mm."""
    return f"{shown(inches, units):.4g} {UNIT_WORDS[units]}"


def fine(inches: float, units: Units) -> str:
    """A shim, a move or a backlash: 0.0085 in, 0.216 mm."""
    if units == "mm":
        return f"{shown(inches, units):.2f} mm"
    text = f"{inches:.4f}"
    return (text[:-1] if text.endswith("0") else text) + " in"


def fine_with_spread(inches: float, sd_in: float | None, units: Units) -> str:
    """A move with its spread; the spread is never left out where it is known."""
    if sd_in is None:
        return fine(inches, units)
    return f"{fine(inches, units)} ± {fine(sd_in, units)}"


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
        return tuple(kept(float(word), units) for word in words)
    except ValueError:
        return None
