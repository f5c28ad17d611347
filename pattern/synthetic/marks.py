"""Contact marks on a tooth side in tooth coordinates: their shapes, and the measures of their truth.

A mark is a level field over (lengthwise, profile): above zero compound is squeezed away. Generic
forms are given here; `field_of_grid` takes a level computed by contact analysis.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RegularGridInterpolator

Floats = NDArray[np.float64]
MarkKind = Literal["ellipse", "two_band", "diagonal", "faint"]


@dataclass(frozen=True)
class Mark:
    """A generic mark. Centre, length and width in shares of the tooth; it may run off its edges.

    `tilt_deg` is its long axis on the unrolled tooth, + when the heel end sits nearer the tip.
    `squareness` 2 is an ellipse, larger is fuller. `two_band` leaves a bridge of compound between
    two bands `gap` (share of the depth) apart. `wiped` is how much of the compound is gone.
    """

    lengthwise: float = 0.5
    profile: float = 0.5
    length: float = 0.5
    width: float = 0.5
    tilt_deg: float = 0.0
    squareness: float = 2.4
    kind: MarkKind = "ellipse"
    gap: float = 0.34
    wiped: float = 0.94
    taper: float = 0.0


@dataclass(frozen=True)
class MarkMeasures:
    """Truth of one mark, defined as a reading is: over the area where contact is."""

    lengthwise: float
    profile: float
    lengthwise_range: tuple[float, float]
    profile_range: tuple[float, float]
    tilt_deg: float
    area: float


def level_field(
    mark: Mark, lengthwise: Floats, profile: Floats, size_mm: tuple[float, float]
) -> Floats:
    """Level of a generic mark at points: 1 at its middle, 0 on its edge, below 0 outside.

    `size_mm` is the tooth side's (length, depth), which gives the tilt its true angle.
    """
    long_mm = (lengthwise - mark.lengthwise) * size_mm[0]
    deep_mm = (profile - mark.profile) * size_mm[1]
    angle = np.radians(mark.tilt_deg)
    along = np.cos(angle) * long_mm + np.sin(angle) * deep_mm
    across = -np.sin(angle) * long_mm + np.cos(angle) * deep_mm
    half_long, half_deep = 0.5 * mark.length * size_mm[0], 0.5 * mark.width * size_mm[1]
    half_deep = half_deep * np.clip(1.0 + mark.taper * along / half_long, 0.3, 1.7)
    if mark.kind == "two_band":
        # Two bands share the mark's width; compound stays on the bridge between them.
        shift = 0.5 * mark.gap * size_mm[1]
        band = np.maximum(half_deep - shift, 0.06 * size_mm[1])
        across = np.abs(across) - shift
        half_deep = 0.75 * band
    power = mark.squareness
    distance = (np.abs(along / half_long) ** power + np.abs(across / half_deep) ** power) ** (
        1.0 / power
    )
    return np.asarray(1.0 - distance)


def field_of_grid(level: Floats, lengthwise: Floats, profile: Floats) -> Floats:
    """A computed level (lengthwise, profile), on an even grid from 0 to 1 with its ends, at points."""
    axes = (np.linspace(0, 1, level.shape[0]), np.linspace(0, 1, level.shape[1]))
    look_up = RegularGridInterpolator(axes, level, method="linear")
    at = np.stack([np.clip(lengthwise, 0, 1), np.clip(profile, 0, 1)], -1)
    return np.asarray(look_up(at))


def measure_mask(mask: NDArray[np.bool_], size_mm: tuple[float, float]) -> MarkMeasures:
    """Measures of a (profile rows from root to tip, lengthwise columns) mask of cell centres.

    Centroid of the contact area in tooth coordinates, its 5 to 95 % range, the direction of its
    long axis in true lengths and its share of the tooth side. Raises ValueError on an empty mask.
    """
    rows, columns = np.nonzero(mask)
    if len(rows) == 0:
        raise ValueError("the mark lies off the tooth: nothing to measure")
    length = (columns + 0.5) / mask.shape[1]
    depth = (rows + 0.5) / mask.shape[0]
    x, y = length * size_mm[0], depth * size_mm[1]
    cov = np.cov(np.stack([x, y])) if len(x) > 2 else np.eye(2)
    tilt = 0.5 * np.degrees(np.arctan2(2 * cov[0, 1], cov[0, 0] - cov[1, 1]))
    low_l, high_l = np.quantile(length, [0.05, 0.95])
    low_p, high_p = np.quantile(depth, [0.05, 0.95])
    return MarkMeasures(
        lengthwise=float(length.mean()),
        profile=float(depth.mean()),
        lengthwise_range=(float(low_l), float(high_l)),
        profile_range=(float(low_p), float(high_p)),
        tilt_deg=float(tilt),
        area=float(mask.mean()),
    )


def jittered(mark: Mark, rng: np.random.Generator, drift: Sequence[float] = (0.0, 0.0)) -> Mark:
    """The same mark on another tooth: small scatter, plus a drift (lengthwise, profile)."""
    return replace(
        mark,
        lengthwise=mark.lengthwise + drift[0] + 0.008 * rng.standard_normal(),
        profile=mark.profile + drift[1] + 0.010 * rng.standard_normal(),
        length=mark.length * np.exp(0.04 * rng.standard_normal()),
        width=mark.width * np.exp(0.04 * rng.standard_normal()),
        tilt_deg=mark.tilt_deg + 0.8 * rng.standard_normal(),
    )
