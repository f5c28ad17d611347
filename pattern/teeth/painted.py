"""Which teeth of the ring gear were brushed with compound: a run of neighbours."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pattern.photo.colour import to_lab
from pattern.records import Photo
from pattern.teeth.fields import PixelFields
from pattern.teeth.flat_network import COLUMNS, ROWS, look_at_teeth
from pattern.teeth.rectify import cell_centres, lay_flat, picked, sampled
from pattern.teeth.ring_fit import RingView
from pattern.teeth.surface import ToothSurface

Floats = NDArray[np.float64]
_ALONG, _UP = cell_centres(24, 0.05, 0.95)[None, :], cell_centres(7, 0.2, 0.9)[:, None]
_CELL = (0.9 / 24, 0.7 / 7)
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
    found: list[SeenSide] = []
    flats: list[NDArray[np.float32]] = []
    for number in numbers:
        surface = view.tooth_surface(float(number))
        xy = surface.to_photo(_ALONG, _UP)
        x, y = xy[..., 0], xy[..., 1]
        inside = (x >= 0) & (y >= 0) & (x <= photo.width_px - 1) & (y <= photo.height_px - 1)
        if inside.mean() < 0.66 or surface.length_px < 8 or surface.depth_px < 2:
            continue
        side = float(sampled(fields.side, fields, xy).mean())
        if side <= least:
            continue
        cell_px = max(surface.length_px * _CELL[0], surface.depth_px * _CELL[1])
        lab = to_lab(picked(photo, xy, cell_px)).reshape(-1, 3)
        painted = float(sampled(fields.painted, fields, xy).mean())
        if laid_out:
            flats.append(lay_flat(photo, surface, *_FLAT).rgb)
        look, in_view = np.median(lab, axis=0), float(inside.mean())
        found.append(SeenSide(number, look, side, painted, in_view))
    if not laid_out:
        return found
    looked = look_at_teeth(flats)
    return [replace(s, brushed=flat.painted) for s, flat in zip(found, looked, strict=True)]


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
    odds = np.array([s.log_odds for s in sides])
    looks = np.array([s.look * _WEIGHTS for s in sides])
    best, best_score = np.zeros(len(sides), bool), -float(odds.sum())
    for start in range(len(sides)):
        for end in range(start + 1, min(start + _MOST, len(sides)) + 1):
            inside = np.zeros(len(sides), bool)
            inside[start:end] = True
            score = float(odds[inside].sum() - odds[~inside].sum()) + _stands_out(looks, inside)
            if score > best_score:
                best, best_score = inside, score
    return [s for s, is_in in zip(sides, best, strict=True) if is_in]


def _stands_out(looks: Floats, inside: NDArray[np.bool_]) -> float:
    """Log odds for a run from how its look differs from that of the other teeth; 0 without others."""
    if inside.all():
        return 0.0
    parts = [looks[inside], looks[~inside]]
    step = float(np.linalg.norm(parts[0].mean(axis=0) - parts[1].mean(axis=0)))
    spread = float(np.concatenate([part - part.mean(axis=0) for part in parts]).std())
    return _STANDS_OUT * min(step / (_NOISE + spread), _MOST_OUT)
