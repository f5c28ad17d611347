"""Contact found by brute force: no equation of meshing, no normals, no Newton step in common.

The ring gear flank is turned through many rolls. Where its surface crosses circles about the pinion's
axis, the angle is noted; the pinion that just clears all of them is the conjugate one. The relieved
pinion is then met by the moved ring gear in the same way.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import RectBivariateSpline

from pattern.gears.blank import Blank
from pattern.gears.flank import ring_flank
from pattern.records import Side

_RANGE = (-0.12, 1.12, -0.10, 1.14)  # of the flank, lengthwise and profile


@dataclass(frozen=True)
class Crossings:
    """For each roll (rolls,) and circle (circles,): where the flank crosses, and the angle there."""

    angle: np.ndarray
    lengthwise: np.ndarray
    profile: np.ndarray


def gap_sign(blank: Blank, side: Side) -> int:
    """+1 when the ring gear side opens from the pinion with growing angle about the pinion's axis.

    The convex side of a right-hand ring gear faces −y, and the angle grows toward −y.
    """
    return -blank.sign if side == "drive" else blank.sign


def crossings(
    blank: Blank, side: Side, circles: tuple[np.ndarray, np.ndarray], rolls: np.ndarray,
    start: tuple[np.ndarray, np.ndarray], pinion_mm: float = 0.0, ring_mm: float = 0.0,
) -> Crossings:  # fmt: skip
    """Where the moved flank crosses circles (axial, radius) of the pinion at each roll.

    `start` is a first guess of (lengthwise, profile) at every circle, used at every roll.
    """
    u = np.linspace(_RANGE[0], _RANGE[1], 50)
    v = np.linspace(_RANGE[2], _RANGE[3], 36)
    points, _ = ring_flank(blank, side, u[:, None], v)
    x, y, z = np.moveaxis(points, -1, 0)
    out = [np.full((len(rolls), len(circles[0])), np.nan) for _ in range(3)]
    place = [start[0].copy(), start[1].copy()]
    for index, roll in enumerate(rolls):
        turn = roll + blank.sign * blank.cones.offset_axial_rad
        along = x * math.cos(turn) - y * math.sin(turn) + pinion_mm
        off = x * math.sin(turn) + y * math.cos(turn) - blank.sign * blank.offset_mm
        depth = z + ring_mm
        axial, radius, angle = (
            RectBivariateSpline(u, v, field, s=0)
            for field in (along, np.hypot(off, depth), np.arctan2(-off, depth))
        )
        for _ in range(12):
            miss = circles[0] - axial.ev(*place), circles[1] - radius.ev(*place)
            a, b = axial.ev(*place, dx=1), axial.ev(*place, dy=1)
            c, d = radius.ev(*place, dx=1), radius.ev(*place, dy=1)
            det = a * d - b * c
            place[0] = np.clip(place[0] + (d * miss[0] - b * miss[1]) / det, _RANGE[0], _RANGE[1])
            place[1] = np.clip(place[1] + (a * miss[1] - c * miss[0]) / det, _RANGE[2], _RANGE[3])
        met = np.hypot(*(circles[i] - f.ev(*place) for i, f in enumerate((axial, radius)))) < 1e-7
        out[0][index, met] = angle.ev(*place)[met] + blank.ratio * roll
        out[1][index, met], out[2][index, met] = place[0][met], place[1][met]
    return Crossings(*out)


def lowest(values: np.ndarray, *others: np.ndarray) -> tuple[np.ndarray, ...]:
    """Minimum over the rolls, refined by the parabola through three; NaN where it is at an end.

    `others` are interpolated to the same place.
    """
    filled = np.where(np.isfinite(values), values, np.inf)
    best = np.clip(filled.argmin(axis=0), 1, len(values) - 2)
    column = np.arange(values.shape[1])
    left, middle, right = (filled[best + k, column] for k in (-1, 0, 1))
    with np.errstate(invalid="ignore"):
        bend = left - 2 * middle + right
        shift = 0.5 * (left - right) / bend
        inside = np.isfinite(bend) & (np.abs(shift) <= 0.5 + 1e-6)
    found = [np.where(inside, middle - 0.25 * (left - right) * shift, np.nan)]
    for other in others:
        a, b, c = (other[best + k, column] for k in (-1, 0, 1))
        found.append(
            np.where(inside, b + 0.5 * (c - a) * shift + 0.5 * (a - 2 * b + c) * shift**2, np.nan)
        )
    return tuple(found)
