"""The starting depth shim, from the etched marks of two pinions or from a depth gauge.

The sign of an etched mark is the maker's, and published manuals use both. So the convention is
always named by the user, and where it is not known every answer is given with its name.

    old_minus_new    shim change = (old mark - new mark): TM 9-2320-280-34 p. 19-12,
                     TM 9-2320-266-34 p. 19-7
    new_minus_old    shim change = (new mark - old mark): TM 5-3895-369-14 p. 5-409,
                     TM 5-3810-306-34 p. 8-28, TM 5-3805-262-34 p. 4-230
    gauge_plus_mark  shim = gauge reading + new mark, no old pinion: TM 9-2320-289-34 p. 6-37

Physically "+" mostly asks for a larger mounting distance; then a shim under the pinion head follows
the first convention and a shim under a cartridge the second.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from math import isfinite
from typing import Literal

from pattern.errors import InvalidAxle
from pattern.records import MM_PER_IN
from pattern.setup.stacks import DepthLocation, DepthShim, depth_shim_for

Convention = Literal["old_minus_new", "new_minus_old", "gauge_plus_mark"]
MarkUnit = Literal["thousandths_in", "mm", "hundredths_mm"]

MARK_LIMIT_IN = 0.030
"""A larger mark is a checking distance, a date or a pair number, not a variance."""

_UNIT_IN = {"thousandths_in": 0.001, "mm": 1 / MM_PER_IN, "hundredths_mm": 0.01 / MM_PER_IN}


@dataclass(frozen=True)
class StartingShim:
    """Where to start under one convention: the change (+ thicker) and the shim, inches.

    `change_in` is None for a gauge reading (there is no shim before it), `shim_in` is None where the
    old shim is not known.
    """

    convention: Convention
    change_in: float | None
    shim_in: float | None


def read_mark(text: str, unit: MarkUnit | None = None) -> float:
    """An etched mark in inches.

    Without `unit` a whole number is thousandths of an inch ("+3" is 0.003 in) and a mark with two
    decimals is millimetres ("+.03" is 0.03 mm), as TM 5-3810-306-34 p. 8-28 reads them; anything
    else needs the unit. Raises InvalidAxle.
    """
    mark = text.strip().replace("−", "-").replace(" ", "")
    if not re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)", mark):
        raise InvalidAxle(
            f"{text!r} is not a number with a sign",
            subject="mark",
            remedy="Type the etched mark as it stands, for example +3 or -2",
        )
    if unit is None:
        if re.fullmatch(r"[+-]?\d+", mark):
            unit = "thousandths_in"
        elif re.fullmatch(r"[+-]?\d?\.\d\d", mark):
            unit = "mm"
        else:
            raise InvalidAxle(
                f"{text!r} does not say its unit",
                subject="mark",
                remedy="Say whether the mark is in thousandths of an inch or in millimetres",
            )
    value_in = float(mark) * _UNIT_IN[unit]
    _check_mark("mark", value_in)
    return value_in


def starting_shim(
    convention: Convention | Literal["unknown"],
    new_mark_in: float,
    *,
    old_mark_in: float | None = None,
    old_shim_in: float | None = None,
    gauge_in: float | None = None,
) -> tuple[StartingShim, ...]:
    """The starting depth shim by the named convention; both mark conventions when it is unknown.

    Marks are inches (see `read_mark`). Raises InvalidAxle naming what is missing.
    """
    _check_mark("new_mark", new_mark_in)
    if convention == "gauge_plus_mark":
        return (StartingShim(convention, None, _gauge_shim(gauge_in, new_mark_in)),)
    if old_mark_in is None:
        raise InvalidAxle(
            "is missing",
            subject="old_mark",
            remedy="Read it off the old pinion, or use a depth gauge instead",
        )
    _check_mark("old_mark", old_mark_in)
    changes: dict[Convention, float] = {
        "old_minus_new": old_mark_in - new_mark_in,
        "new_minus_old": new_mark_in - old_mark_in,
    }
    named = [name for name in changes if convention in (name, "unknown")]
    if not named:
        raise InvalidAxle(
            f"{convention!r} is not known",
            subject="convention",
            remedy="Use old_minus_new, new_minus_old, gauge_plus_mark or unknown",
        )
    return tuple(_corrected(name, changes[name], old_shim_in) for name in named)


def mark_table(
    convention: Literal["old_minus_new", "new_minus_old"], largest: int = 4
) -> dict[tuple[int, int], float]:
    """The whole printed table: (old mark, new mark) in thousandths -> shim change in inches."""
    marks = range(-largest, largest + 1)
    sign = 1 if convention == "old_minus_new" else -1
    return {(old, new): sign * (old - new) * 0.001 for old in marks for new in marks}


def usual_convention(location: DepthLocation) -> Convention | None:
    """The convention that fits a shim location when "+" asks for a larger mounting distance.

    Only a hint to show beside the maker's rule, never a substitute for it.
    """
    if location == "unknown":
        return None
    return "old_minus_new" if location == "pinion_head" else "new_minus_old"


def shim_from_depth(
    measured_in: float,
    wanted_in: float,
    location: DepthLocation,
    present_shim_in: float | None = None,
) -> tuple[DepthShim, ...]:
    """The depth shim from a depth gauge: ring gear axis to pinion head, measured against wanted.

    Measured larger than wanted means that the pinion is too shallow and has to come in by the
    difference. Raises InvalidAxle when the two differ by more than 0.15 in, which is a misread
    gauge.
    """
    for field, value in (("measured_in", measured_in), ("wanted_in", wanted_in)):
        if not isfinite(value) or not 0.2 <= value <= 20.0:
            raise InvalidAxle(
                f"{value!r} in is no pinion depth", subject=field, remedy="Give inches, 0.2 to 20"
            )
    if abs(measured_in - wanted_in) > 0.15:
        raise InvalidAxle(
            f"{measured_in:g} in is {measured_in - wanted_in:+.3f} in from the wanted depth",
            subject="measured_in",
            remedy="Zero the gauge again and check which face it measures to",
        )
    return depth_shim_for(round(measured_in - wanted_in, 7), location, present_shim_in)


def _corrected(name: Convention, change_in: float, old_shim_in: float | None) -> StartingShim:
    change_in = round(change_in, 7)
    if old_shim_in is None:
        return StartingShim(name, change_in, None)
    new_in = round(old_shim_in + change_in, 7)
    if not isfinite(new_in) or old_shim_in < 0 or new_in < 0:
        raise InvalidAxle(
            f"{old_shim_in:g} in cannot be changed by {change_in:+.4f} in",
            subject="old_shim_in",
            remedy="Measure the old shim again",
        )
    return StartingShim(name, change_in, new_in)


def _gauge_shim(gauge_in: float | None, new_mark_in: float) -> float:
    if gauge_in is None:
        raise InvalidAxle(
            "is missing", subject="gauge_in", remedy="This convention starts from a gauge reading"
        )
    if not isfinite(gauge_in) or not 0.0 <= gauge_in <= 1.0 or gauge_in + new_mark_in < 0:
        raise InvalidAxle(
            f"{gauge_in!r} in is no gauge reading", subject="gauge_in", remedy="Give 0 to 1 in"
        )
    return round(gauge_in + new_mark_in, 7)


def _check_mark(field: str, mark_in: float) -> None:
    if not isfinite(mark_in) or abs(mark_in) > MARK_LIMIT_IN:
        raise InvalidAxle(
            f"{mark_in!r} in is too large for a pinion variance",
            subject=field,
            remedy="Look for a small number with a sign; long numbers are pair or part numbers",
        )
