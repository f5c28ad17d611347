"""What a mark on a tooth side measures: centre, extents, tilt, area, edges and bands.

The same definitions as a photo's reading: the centre is the centroid of the contact area in tooth
coordinates, extents hold 5 to 95 % of it, the tilt is the direction of its long axis on the unrolled
tooth in true lengths, positive when the heel end sits nearer the tip.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import label

Array = NDArray[np.float64]
_LOW, _HIGH = 0.05, 0.95
_EDGE_SHARE = 0.10  # of an edge that must be marked to say that the mark runs off it
_BAND_SHARE = 0.08  # of the mark's area, below which a second spot is no band


@dataclass(frozen=True, eq=False)
class MarkMeasures:
    """Measures of many marks, arrays (draws,); NaN where there is no mark.

    `length` and `width` are the 5 to 95 % extents along and across as shares of the tooth. `edges`
    is (draws, 4), bool: toe, heel, tip, root; root also where the pinion's tip edge cuts the mark.
    """

    lengthwise: Array
    profile: Array
    length: Array
    width: Array
    area: Array
    tilt_deg: Array
    toe_end: Array
    heel_end: Array
    root_end: Array
    tip_end: Array
    edges: NDArray[np.bool_]


def coverage(gap_mm: Array, film_mm: Array) -> Array:
    """Share of each lattice cell that is marked, from the gap and its slope: (draws, n, m).

    `film_mm` broadcasts against (draws, n, m).
    """
    reach = np.zeros_like(gap_mm)
    for axis in (1, 2):
        size = gap_mm.shape[axis]
        half = np.abs(np.diff(gap_mm, axis=axis))
        low = [slice(None)] * 3
        high = [slice(None)] * 3
        low[axis], high[axis] = slice(0, size - 1), slice(1, size)
        edge = np.zeros_like(gap_mm)
        edge[tuple(low)] += half
        edge[tuple(high)] += half
        edge[(slice(None),) * axis + (slice(1, size - 1),)] *= 0.5
        reach += edge
    return np.clip(0.5 + (film_mm - gap_mm) / np.maximum(reach, 1e-12), 0.0, 1.0)


def measure(
    cover: Array, reached: NDArray[np.bool_], length_mm: float, depth_mm: float
) -> MarkMeasures:
    """Measure marks from their coverage (draws, n, m) on an even lattice, edges included.

    `reached` says where the pinion has metal; `length_mm` and `depth_mm` are the unrolled tooth's.
    """
    _, n, m = cover.shape
    along, across = np.linspace(0, 1, n), np.linspace(0, 1, m)
    weight = _ends_halved(n)[:, None] * _ends_halved(m)
    mass = cover * weight
    by_length, by_depth = mass.sum(axis=2), mass.sum(axis=1)
    total = by_length.sum(axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        lengthwise, profile = by_length @ along / total, by_depth @ across / total
        toe, heel = _range(by_length, total)
        root, tip = _range(by_depth, total)
        tilt = _tilt_deg(mass, total, along * length_mm, across * depth_mm)
    return MarkMeasures(
        lengthwise, profile, heel - toe, tip - root, total / weight.sum(), tilt, toe, heel, root, tip,
        _edges(cover, reached),
    )  # fmt: skip


def joined(parts: Sequence[MarkMeasures]) -> MarkMeasures:
    """Measures of several parts one after the other."""
    return MarkMeasures(
        *(
            np.concatenate([getattr(part, one.name) for part in parts])
            for one in fields(MarkMeasures)
        )
    )


def count_bands(cover: Array) -> int:
    """How many separate bands one mark (n, m) has."""
    spots, count = label(cover > 0.5)
    sizes = np.bincount(spots.ravel(), minlength=count + 1)[1:]
    return int((sizes > _BAND_SHARE * sizes.sum()).sum()) if count else 0


def _ends_halved(count: int) -> Array:
    weight = np.ones(count)
    weight[[0, -1]] = 0.5
    return weight


def _range(marginal: Array, total: Array) -> tuple[Array, Array]:
    """Where 5 and 95 % of the mark lie below, (draws,) each; cells are centred on the points."""
    count = marginal.shape[1]
    step = 1 / (count - 1)
    bounds = np.concatenate([[0.0], (np.arange(count - 1) + 0.5) * step, [1.0]])
    share = np.concatenate([np.zeros((len(total), 1)), np.cumsum(marginal, axis=1)], axis=1)
    out = []
    for level in (_LOW, _HIGH):
        wanted = level * total
        above = np.clip((share < wanted[:, None]).sum(axis=1), 1, count)[:, None]
        upper, lower = (np.take_along_axis(share, above - k, axis=1)[:, 0] for k in (0, 1))
        place = bounds[above[:, 0] - 1] + np.diff(bounds)[above[:, 0] - 1] * np.clip(
            (wanted - lower) / np.maximum(upper - lower, 1e-300), 0, 1
        )
        out.append(np.where(total > 0, place, np.nan))
    return out[0], out[1]


def _tilt_deg(mass: Array, total: Array, x_mm: Array, y_mm: Array) -> Array:
    """Direction of the major axis of the second moments, from places along and up the tooth."""
    by_length, by_depth = mass.sum(axis=2), mass.sum(axis=1)
    mean_x, mean_y = by_length @ x_mm / total, by_depth @ y_mm / total
    xx = by_length @ x_mm**2 / total - mean_x**2
    yy = by_depth @ y_mm**2 / total - mean_y**2
    xy = np.einsum("dnm,n,m->d", mass, x_mm, y_mm) / total - mean_x * mean_y
    tilt: Array = np.degrees(0.5 * np.arctan2(2 * xy, xx - yy))
    return tilt


def _edges(cover: Array, reached: NDArray[np.bool_]) -> NDArray[np.bool_]:
    marked = cover > 0.5
    ends = [marked[:, 0].mean(axis=1), marked[:, -1].mean(axis=1), marked[:, :, -1].mean(axis=1)]
    lowest = reached.argmax(axis=2)  # first point up the profile that the pinion reaches
    foot = np.take_along_axis(marked, lowest[..., None], axis=2)[..., 0] & reached.any(axis=2)
    ends.append(foot.mean(axis=1))
    return np.stack([end > _EDGE_SHARE for end in ends], axis=1)
