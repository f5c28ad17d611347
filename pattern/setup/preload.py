"""Pinion bearing preload by rotating torque.

The limits are the maker's service data and are always given by the user. Preload of the carrier
bearings is a matter of side shims: see `pattern.setup.side_shims`.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite
from typing import Literal

from pattern.errors import InvalidAxle
from pattern.setup.units import N_PER_KGF, N_PER_LBF, NM_PER_LBF_IN

ForceUnit = Literal["lbf", "N", "kgf"]

_N_PER = {"lbf": N_PER_LBF, "N": 1.0, "kgf": N_PER_KGF}


@dataclass(frozen=True)
class Torque:
    """A rotating torque, kept in N·m and shown in either unit."""

    nm: float

    @property
    def lbf_in(self) -> float:
        """Pound-force inches."""
        return self.nm / NM_PER_LBF_IN


@dataclass(frozen=True)
class PreloadFinding:
    """A rotating torque outside the maker's limits: what was seen, what to do."""

    code: Literal["too_low", "too_high"]
    message: str
    remedy: str


def rotating_torque(pull: float, radius_in: float, unit: ForceUnit = "lbf") -> Torque:
    """Torque from a pull scale on a cord: pull x radius (TM 9-2320-302-34 p. 0082 00-12).

    `pull` is read while the pinion turns: the breakaway pull at the start is higher and no preload
    (TM 10-3930-660-34 p. 8-18). Raises InvalidAxle.
    """
    if unit not in _N_PER:
        raise InvalidAxle(f"{unit!r} is not known", subject="unit", remedy="Use lbf, N or kgf")
    if not isfinite(pull) or not 0.0 <= pull <= 2000.0:
        raise InvalidAxle(
            f"{pull!r} {unit} is no pull",
            subject="pull",
            remedy="Give 0 or more, as the scale reads",
        )
    if not isfinite(radius_in) or not 0.1 <= radius_in <= 30.0:
        raise InvalidAxle(
            f"{radius_in!r} in is no radius",
            subject="radius_in",
            remedy="Measure from the pinion's axis to the cord, in inches",
        )
    return Torque(pull * _N_PER[unit] * radius_in * 0.0254)


def check_torque(
    measured: Torque, low: Torque, high: Torque, *, spacer: Literal["crush", "solid"]
) -> PreloadFinding | None:
    """Rotating torque against the maker's limits; None when it lies inside them.

    A thicker solid spacer or shim between the pinion bearings takes preload away, a thinner one
    adds it (TM 9-2320-302-34). A crush sleeve crushed too far is replaced, never backed off (common
    practice, no source). Raises InvalidAxle when the limits are the wrong way round.
    """
    if not 0 < low.nm < high.nm:
        raise InvalidAxle(
            f"{low.lbf_in:.1f} lbf·in is not below the upper limit, {high.lbf_in:.1f} lbf·in",
            subject="low",
            remedy="Give the maker's lower limit first, then the upper one",
        )
    shown = f"{measured.lbf_in:.1f} lbf·in ({measured.nm:.2f} N·m)"
    if measured.nm < low.nm:
        return PreloadFinding(
            "too_low",
            f"{shown}, the least is {low.lbf_in:.1f} lbf·in",
            "Tighten a little and turn the pinion before reading again."
            if spacer == "crush"
            else "Fit a thinner spacer or take shim out.",
        )
    if measured.nm > high.nm:
        return PreloadFinding(
            "too_high",
            f"{shown}, the most is {high.lbf_in:.1f} lbf·in",
            "Fit a new crush sleeve; backing the nut off leaves the bearings loose."
            if spacer == "crush"
            else "Fit a thicker spacer or add shim.",
        )
    return None
