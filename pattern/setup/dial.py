"""From what the dial shows to backlash normal to the tooth at the heel.

With the plunger along the ring gear's rotation the dial shows circumferential backlash at its own
radius. Normal to the tooth that is ``reading x (heel radius / dial radius) x cos(spiral angle) x
cos(pressure angle)``; an indicator that stands askew shows ``true = reading x cos(askew)``.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, hypot, isfinite, radians
from typing import Literal

from pattern.errors import InvalidAxle

DialDirection = Literal["normal", "rotation"]

USUAL_ROTATION_FACTOR = 1.3
"""A dial along the rotation reads about 1.3 times the normal backlash (common practice)."""

USUAL_FACTOR_SD = 0.1
"""Spread of that factor: heel spiral angles of 30 to 45 deg with 20 deg pressure give 1.23 to 1.50."""


@dataclass(frozen=True)
class NormalBacklash:
    """Backlash normal to the tooth at the heel, and one standard deviation; inches."""

    backlash_in: float
    backlash_sd_in: float


def normal_backlash(
    reading_in: float,
    direction: DialDirection,
    *,
    dial_radius_in: float | None = None,
    heel_radius_in: float | None = None,
    askew_deg: float = 0.0,
    heel_spiral_angle_deg: float | None = None,
    pressure_angle_deg: float = 20.0,
    reading_sd_in: float = 0.0005,
) -> NormalBacklash:
    """Backlash normal to the tooth at the heel from one dial reading.

    `direction` is ``normal`` (plunger square to the tooth) or ``rotation`` (plunger along the
    rotation). Without `heel_spiral_angle_deg` the usual factor 1.3 stands in and widens the spread.
    Radii are needed only when the dial does not sit at the heel; give both. `askew_deg` is the angle
    between the indicator and that direction. Raises InvalidAxle naming the field.
    """
    _within("reading_in", reading_in, 0.0, 0.2, "Give the dial's whole swing in inches, 0 to 0.2")
    _within("reading_sd_in", reading_sd_in, 1e-6, 0.05, "Give inches above zero")
    _within("askew_deg", askew_deg, -60.0, 60.0, "Set the indicator up square and read again")
    scale = cos(radians(askew_deg)) * _radius_scale(dial_radius_in, heel_radius_in)
    scale_share_sd = 0.0
    if direction == "rotation" and heel_spiral_angle_deg is None:
        scale /= USUAL_ROTATION_FACTOR
        scale_share_sd = USUAL_FACTOR_SD / USUAL_ROTATION_FACTOR
    elif direction == "rotation" and heel_spiral_angle_deg is not None:
        scale *= rotation_to_normal(heel_spiral_angle_deg, pressure_angle_deg)
    elif direction != "normal":
        raise InvalidAxle(
            f"{direction!r} is not known", subject="direction", remedy="Use normal or rotation"
        )
    value = reading_in * scale
    return NormalBacklash(value, hypot(reading_sd_in * scale, value * scale_share_sd))


def rotation_to_normal(spiral_angle_deg: float, pressure_angle_deg: float = 20.0) -> float:
    """Normal over circumferential backlash at one radius: ``cos(spiral) x cos(pressure)``."""
    _within("heel_spiral_angle_deg", spiral_angle_deg, 0.0, 60.0, "Give degrees, 0 to 60")
    _within("pressure_angle_deg", pressure_angle_deg, 8.0, 35.0, "Give degrees, 8 to 35")
    return cos(radians(spiral_angle_deg)) * cos(radians(pressure_angle_deg))


def _radius_scale(dial_radius_in: float | None, heel_radius_in: float | None) -> float:
    if dial_radius_in is None and heel_radius_in is None:
        return 1.0
    if dial_radius_in is None or heel_radius_in is None:
        missing = "dial_radius_in" if dial_radius_in is None else "heel_radius_in"
        raise InvalidAxle(
            "is missing",
            subject=missing,
            remedy="Give both radii, or neither when the dial sits at the heel",
        )
    for field, radius in (("dial_radius_in", dial_radius_in), ("heel_radius_in", heel_radius_in)):
        _within(field, radius, 0.25, 30.0, "Give inches from the ring gear's axis")
    return heel_radius_in / dial_radius_in


def _within(field: str, value: float, low: float, high: float, remedy: str) -> None:
    if not isfinite(value) or not low <= value <= high:
        raise InvalidAxle(f"{value!r} is outside {low:g} to {high:g}", subject=field, remedy=remedy)
