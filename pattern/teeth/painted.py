"""Which teeth of the ring gear were brushed with compound: a run of neighbours."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pattern.photo.colour import to_lab
from pattern.photo.levels import factor_for
from pattern.records import Photo
from pattern.teeth.fields import PixelFields
from pattern.teeth.flat_network import COLUMNS, ROWS, look_at_teeth
from pattern.teeth.rectify import cell_centres, lay_flat, picked, sampled
from pattern.teeth.ring_fit import RingView
from pattern.teeth.surface import ToothSurface

Floats = NDArray[np.float64]
_ALONG, _UP = cell_centres(24, 0.05, 0.95)[None, :], cell_centres(7, 0.2, 0.9)[:, None]
_GRID, _CELL = (7, 24), (0.9 / 24, 0.7 / 7)
_FLAT = (cell_centres(COLUMNS), cell_centres(ROWS)[::-1])
_MOST = 14
_WEIGHTS = np.array([0.5, 1.0, 1.0])
"""Lightness counts half: a shadow changes it, paint or not."""
_IN_PICTURE, _LAID_OUT, _BARE = 0.5, 1.2, -3.7
"""Weights of what the two networks say of a tooth, as log odds, and what speaks against paint on it before
they do; fitted to the teeth of the trial photos."""
_ALONE = 1.5
"""Weight of what the picture's network says where the other was not asked."""
_STANDS_OUT, _MOST_OUT = 2.0, 4.0
"""Log odds for each spread that a run's look lies off its neighbours', and the most spreads that count."""
_NOISE = 3.0
"""Spread of looks, in CIE L*a*b* units, that even lighting leaves."""
_DOUBT = 0.01
"""No network is surer than this."""


@dataclass(frozen=True, eq=False)
class SeenSide:
    """A tooth side of the ring gear as the photo has it: its number, median L*a*b* (3,), the mean of
    the network's side and painted probabilities on it, the share of it inside the picture, and the
    chance that it was brushed with compound as the network of laid-out teeth sees it, if it was asked."""

    number: int
    look: Floats
    side: float
    painted: float
    in_view: float
    brushed: float | None = None

    @property
    def log_odds(self) -> float:
        """For compound on this side, by what the networks say."""
        in_picture = _log_odds(min(1.0, self.painted / max(self.side, 0.1)))
        if self.brushed is None:
            return _ALONE * in_picture
        return _IN_PICTURE * in_picture + _LAID_OUT * _log_odds(self.brushed) + _BARE


def _log_odds(chance: float) -> float:
    kept = min(max(chance, _DOUBT), 1.0 - _DOUBT)
    return float(np.log(kept / (1.0 - kept)))


def seen_sides(
    photo: Photo,
    view: RingView,
    fields: PixelFields,
    numbers: Sequence[int],
    least: float,
    *,
    laid_out: bool = True,
) -> list[SeenSide]:
    """The tooth sides of the given numbers that are at least two thirds inside the picture and of which
    the network sees as much as `least`. Without `laid_out` only the picture's network is asked for paint,
    which is enough to know where to look closer."""
    surfaces = view.tooth_surfaces(numbers)
    places = np.array([s.to_photo(_ALONG, _UP) for s in surfaces]).reshape(-1, *_GRID, 2)
    limits = np.array([photo.width_px - 1, photo.height_px - 1])
    inside = ((places >= 0) & (places <= limits)).all(axis=3).mean(axis=(1, 2))
    large = [s.length_px >= 8 and s.depth_px >= 2 for s in surfaces]
    side = sampled(fields.side, fields, places).mean(axis=(1, 2))
    kept = np.flatnonzero((inside >= 0.66) & large & (side > least)).tolist()
    painted = sampled(fields.painted, fields, places[kept]).mean(axis=(1, 2))
    looks = _median_looks(photo, [surfaces[n] for n in kept], places[kept])
    brushed: Sequence[float | None] = [None] * len(kept)
    if laid_out:
        flats = [lay_flat(photo, surfaces[n], *_FLAT).rgb for n in kept]
        brushed = [flat.painted for flat in look_at_teeth(flats)]
    return [
        SeenSide(numbers[n], look, float(side[n]), float(paint), float(inside[n]), chance)
        for n, look, paint, chance in zip(kept, looks, painted, brushed, strict=True)
    ]


def _median_looks(photo: Photo, surfaces: Sequence[ToothSurface], places: Floats) -> Floats:
    """The median L*a*b* (n, 3) of each tooth side on its grid of photo pixels (n, rows, columns, 2)."""
    cells_px = [max(s.length_px * _CELL[0], s.depth_px * _CELL[1]) for s in surfaces]
    factors = np.array([factor_for(photo, cell_px) for cell_px in cells_px])
    looks = np.empty((len(places), 3))
    for factor in np.unique(factors):
        alike = factors == factor
        together = places[alike].reshape(-1, _GRID[1], 2)
        lab = to_lab(picked(photo, together, float(factor)))
        looks[alike] = np.median(lab.reshape(-1, _GRID[0] * _GRID[1], 3), axis=1)
    return looks


def mean_side_on(surfaces: Sequence[ToothSurface], fields: PixelFields) -> float:
    """The mean of the network's side probability over these tooth sides, each counted alike."""
    shares = [sampled(fields.side, fields, s.to_photo(_ALONG, _UP)).mean() for s in surfaces]
    return float(np.mean(shares))


def painted_run(sides: Sequence[SeenSide]) -> list[SeenSide]:
    """The painted run of neighbouring teeth; empty where none is painted.

    Of all runs of neighbours, all of the teeth and none of them, the likeliest: by what the networks
    say of each tooth, and by how far the run's look differs from the other teeth's, against the spread
    within both.
    """
    if not sides:
        return []
    odds = np.array([s.log_odds for s in sides])
    first, end = _runs(len(sides))
    scores = 2.0 * (_sums_to(odds)[end] - _sums_to(odds)[first]) - odds.sum()
    scores += _stands_out(np.array([s.look * _WEIGHTS for s in sides]), first, end)
    best = int(scores.argmax())
    return list(sides[first[best] : end[best]]) if scores[best] > -odds.sum() else []


def _runs(count: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """The first of each run of neighbours and the one after its last, (runs,)."""
    first, length = np.indices((count, min(_MOST, count))).reshape(2, -1)
    fits = first + length < count
    return first[fits], (first + length + 1)[fits]


def _sums_to(values: Floats) -> Floats:
    """Sums over all before each place, (n + 1, ...)."""
    return np.concatenate([np.zeros((1, *values.shape[1:])), np.cumsum(values, axis=0)])


def _stands_out(looks: Floats, first: NDArray[np.int64], end: NDArray[np.int64]) -> Floats:
    """(runs,) log odds for each from how its look differs from that of the other teeth; 0 without others."""
    sums = _sums_to(looks)
    count = (end - first)[:, None]
    others = len(looks) - count
    mean = (sums[end] - sums[first]) / count
    rest = (sums[-1] - (sums[end] - sums[first])) / np.maximum(others, 1)
    squares = (looks**2).sum() - (count * mean**2 + others * rest**2).sum(axis=1)
    spread = np.sqrt(np.maximum(squares, 0.0) / looks.size)
    step = np.linalg.norm(mean - rest, axis=1)
    odds = _STANDS_OUT * np.minimum(step / (_NOISE + spread), _MOST_OUT)
    return np.where(others[:, 0] > 0, odds, 0.0)
