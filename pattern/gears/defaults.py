"""What a shop does not know of a set: default values and how far they may be off.

Unless a source stands beside it, a default is common practice with no source, from memory, for
automotive and truck axles with ring gears of 6 to 14 in. Each spread is one standard deviation and
meant to cover sets that differ in make, not only in size.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from pattern.errors import InvalidAxle
from pattern.gears.proportions import Factors
from pattern.records import MM_PER_IN, Axle

# shares of the ring gear's diameter, or of the mean cone distance for the cutter
FACE_WIDTH_SHARE, FACE_WIDTH_SPREAD = 0.155, 0.012
OFFSET_SHARE, OFFSET_SPREAD = 0.15, 0.03
_NO_OFFSET_MM = 1e-3
"""Less cannot be measured and counts as none: the equations of crossed axes divide by the offset."""
RING_SPIRAL_SPREAD = math.radians(2.5)
PRESSURE_RAD, PRESSURE_SPREAD = math.radians(20.0), math.radians(1.2)
CUTTER_SHARE = {"tapered": 0.97, "uniform": 0.85}
CUTTER_SPREAD = {"tapered": 0.08, "uniform": 0.07}
DEPTH_SPREAD = 0.06
"""Relative spread of the depth factor."""

_SHORTENING = {5: 0.85, 6: 0.882, 7: 0.918, 8: 0.947, 9: 0.971, 10: 0.988, 11: 0.997}
"""Working depth of sets with few pinion teeth over that of others, so that the pinion is not undercut.

From 6 teeth on the classic spiral bevel proportions, 1.500 to 1.695 of 1.700 (from memory).
"""

# face-hobbing cutters: (largest radius in mm, blade groups); from memory, affects only the lead angle
_BLADE_GROUPS = ((70.0, 11), (82.0, 13), (96.0, 17), (115.0, 19), (140.0, 13), (math.inf, 17))


@dataclass(frozen=True)
class Geometry:
    """Full data of a pair, lengths in mm and angles in rad; one of the two spiral angles is given.

    `pressure_rad` is the design angle, from which each side differs by the limit pressure angle,
    unless that side's own angle is given. `taper_rad` is (θa2, θf2) of the ring gear, None to work
    it out. `apex_line` closes a hypoid's pitch cones by `pattern.gears.apex_line` (ISO 23509:2016,
    Method 2; needs the ring gear's spiral angle) instead of by the cutter's curve (Methods 1 and 3).
    No axle says which its maker used; on face-hobbed sets the choice shifts the rates of the response
    by up to an eighth, against spreads as large as the rates, so the defaults leave it at the curve.
    """

    ring_diameter_mm: float
    face_width_mm: float
    offset_mm: float
    cutter_radius_mm: float
    blade_groups: int
    ring_spiral_rad: float | None = None
    pinion_spiral_rad: float | None = None
    pressure_rad: float = PRESSURE_RAD
    pressure_drive_rad: float | None = None
    pressure_coast_rad: float | None = None
    factors: Factors = field(default_factory=Factors)
    taper_rad: tuple[float, float] | None = None
    normal_backlash_mm: float = 0.0
    apex_line: bool = False


def geometry_of(axle: Axle, system: str) -> tuple[Geometry, tuple[str, ...]]:
    """Full data of an axle with the defaults' middle, and the names of the fields so filled.

    The axle's spiral angle is the ring gear's at mid-face, its pressure angles each side's own normal one.

    The ring gear's nominal diameter counts as its outer pitch diameter. The pinion's spiral angle,
    when the ring gear's is not given, is 25° + 5°·√(z2/z1) + 90°·a/de2 (a common design start for
    hypoids, from memory); the mean addendum factor 0.21 + 0.29·(z1/z2)² (reproduces ISO 23509:2016
    Annex F.2). Raises InvalidAxle for data outside what a pair can have.
    """
    diameter = axle.ring_diameter_in * MM_PER_IN
    ratio = axle.ratio
    width = _given(axle.face_width_in, FACE_WIDTH_SHARE * diameter)
    offset = _given(axle.offset_in, OFFSET_SHARE * diameter)
    if offset < _NO_OFFSET_MM:
        offset = 0.0
    if not 0.06 <= width / diameter <= 0.26:
        raise InvalidAxle(
            f"a face width of {width / MM_PER_IN:.3f} in does not fit a ring gear of "
            f"{axle.ring_diameter_in:g} in",
            subject="face_width_in",
            remedy="It is about 0.15 of the diameter; leave it out if it is not known",
        )
    if offset > 0.27 * diameter:
        raise InvalidAxle(
            f"an offset of {offset / MM_PER_IN:.3f} in is too large for a ring gear of "
            f"{axle.ring_diameter_in:g} in",
            subject="offset_in",
            remedy="It is at most about a quarter of the diameter; 0 for a spiral bevel set",
        )
    mean_cone = (
        (diameter - width * math.sin(math.atan(ratio))) / 2 / math.sin(math.atan(ratio / 1.1))
    )
    cutter = _given(axle.cutter_radius_in, CUTTER_SHARE[system] * mean_cone)
    groups = 0 if system == "tapered" else next(n for top, n in _BLADE_GROUPS if cutter <= top)
    spiral = None if axle.spiral_angle_deg is None else math.radians(axle.spiral_angle_deg)
    pinion_spiral = None
    if spiral is None:
        pinion_spiral = math.radians(25 + 5 * math.sqrt(ratio) + 90 * offset / diameter)
    geometry = Geometry(
        diameter, width, offset, cutter, groups, spiral, pinion_spiral,
        pressure_drive_rad=_radians(axle.pressure_angle_drive_deg),
        pressure_coast_rad=_radians(axle.pressure_angle_coast_deg),
        factors=Factors(
            depth=2.0 * _SHORTENING.get(max(axle.pinion_teeth, 5), 1.0), addendum=0.21 + 0.29 / ratio**2
        ),
    )  # fmt: skip
    return geometry, tuple(name for name in _OPTIONAL if getattr(axle, name) is None)


_OPTIONAL = (
    "face_width_in", "offset_in", "cutter_radius_in", "spiral_angle_deg",
    "pressure_angle_drive_deg", "pressure_angle_coast_deg",
)  # fmt: skip


def draw_geometry(
    geometry: Geometry, assumed: tuple[str, ...], system: str, rng: np.random.Generator
) -> Geometry:
    """One draw from the spreads of the fields that were assumed; given ones stay."""
    changes: dict[str, Any] = {}
    diameter = geometry.ring_diameter_mm
    if "face_width_in" in assumed:
        changes["face_width_mm"] = geometry.face_width_mm + diameter * rng.normal(
            0, FACE_WIDTH_SPREAD
        )
    if "offset_in" in assumed:
        drawn = geometry.offset_mm + diameter * rng.normal(0, OFFSET_SPREAD)
        changes["offset_mm"] = float(np.clip(drawn, 0.03 * diameter, 0.25 * diameter))
    if "cutter_radius_in" in assumed:
        share = CUTTER_SPREAD[system] / CUTTER_SHARE[system]
        changes["cutter_radius_mm"] = geometry.cutter_radius_mm * math.exp(rng.normal(0, share))
    for name in ("ring_spiral_rad", "pinion_spiral_rad"):
        value = getattr(geometry, name)
        if "spiral_angle_deg" in assumed and value is not None:
            changes[name] = value + rng.normal(0, RING_SPIRAL_SPREAD)
    if "pressure_angle_drive_deg" in assumed and "pressure_angle_coast_deg" in assumed:
        changes["pressure_rad"] = geometry.pressure_rad + rng.normal(0, PRESSURE_SPREAD)
    factors = replace(
        geometry.factors, depth=geometry.factors.depth * math.exp(rng.normal(0, DEPTH_SPREAD))
    )
    return replace(geometry, factors=factors, **changes)


def _given(value_in: float | None, default_mm: float) -> float:
    return default_mm if value_in is None else value_in * MM_PER_IN


def _radians(value_deg: float | None) -> float | None:
    return None if value_deg is None else math.radians(value_deg)
