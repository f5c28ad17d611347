"""Which teeth of the ring gear were brushed with compound: a run of neighbours that look different."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pattern.photo.colour import to_lab
from pattern.records import Photo
from pattern.teeth.fields import PixelFields
from pattern.teeth.rectify import cell_centres, picked, sampled
from pattern.teeth.ring_fit import RingView
from pattern.teeth.surface import ToothSurface

Floats = NDArray[np.float64]
_ALONG, _UP = cell_centres(24, 0.05, 0.95)[None, :], cell_centres(7, 0.2, 0.9)[:, None]
_CELL = (0.9 / 24, 0.7 / 7)
_MOST = 8
_LEAST_STEP = 8.0
"""Least difference of the run's look to its neighbours', in CIE L*a*b* units."""
_WEIGHTS = np.array([0.5, 1.0, 1.0])
"""Lightness counts half: a shadow changes it, paint or not."""
_PAINTED_WEIGHT = 15.0
"""CIE L*a*b* units that a certain "painted" of the network is worth against a certain "bare"."""
_SAID_APART = 0.12
_BARE_APART = 0.3
_ALL_PAINTED = 0.55


@dataclass(frozen=True, eq=False)
class SeenSide:
    """A tooth side of the ring gear as the photo has it: its number, median L*a*b* (3,), the mean of
    the network's side and painted probabilities on it, and the share of it inside the picture."""

    number: int
    look: Floats
    side: float
    painted: float
    in_view: float

    @property
    def painted_share(self) -> float:
        """Painted as a share of what is seen of the side at all."""
        return min(1.0, self.painted / max(self.side, 0.1))


def seen_sides(
    photo: Photo, view: RingView, fields: PixelFields, numbers: Sequence[int]
) -> list[SeenSide]:
    """The tooth sides of the given numbers that are at least two thirds inside the picture."""
    found = []
    for number in numbers:
        surface = view.tooth_surface(float(number))
        xy = surface.to_photo(_ALONG, _UP)
        x, y = xy[..., 0], xy[..., 1]
        inside = (x >= 0) & (y >= 0) & (x <= photo.width_px - 1) & (y <= photo.height_px - 1)
        if inside.mean() < 0.66 or surface.length_px < 8 or surface.depth_px < 2:
            continue
        cell_px = max(surface.length_px * _CELL[0], surface.depth_px * _CELL[1])
        lab = to_lab(picked(photo.pixels, xy, cell_px)).reshape(-1, 3)
        found.append(
            SeenSide(
                number=number,
                look=np.median(lab, axis=0),
                side=float(sampled(fields.side, fields, xy).mean()),
                painted=float(sampled(fields.painted, fields, xy).mean()),
                in_view=float(inside.mean()),
            )
        )
    return found


def mean_side_on(surfaces: Sequence[ToothSurface], fields: PixelFields) -> float:
    """The mean of the network's side probability over these tooth sides, each counted alike."""
    shares = [sampled(fields.side, fields, s.to_photo(_ALONG, _UP)).mean() for s in surfaces]
    return float(np.mean(shares))


def painted_run(sides: Sequence[SeenSide]) -> tuple[list[SeenSide], float]:
    """The painted run of neighbouring teeth and how far its look differs from the rest.

    Of all runs of neighbours the one is taken that differs most, against the spread within, by its
    mean look and by what the network says. Where no run stands out, all or none are painted, as the
    network says.
    """
    if len(sides) < 2:
        return [s for s in sides if s.painted > _ALL_PAINTED], 0.0
    looks = np.array([[*(s.look * _WEIGHTS), _PAINTED_WEIGHT * s.painted_share] for s in sides])
    said = np.array([s.painted_share for s in sides])
    best, best_score, best_step = None, 0.0, 0.0
    for start in range(len(sides)):
        for end in range(start + 1, min(start + _MOST, len(sides)) + 1):
            inside = np.zeros(len(sides), bool)
            inside[start:end] = True
            if inside.all() or _is_bare_island(said, inside):
                continue
            step = float(np.linalg.norm(looks[inside].mean(axis=0) - looks[~inside].mean(axis=0)))
            spread = np.concatenate(
                [looks[m] - looks[m].mean(axis=0) for m in (inside, ~inside)]
            ).std()
            score = step / (3.0 + float(spread))
            if score > best_score:
                best, best_score, best_step = inside, score, step
    if best is None or best_step < _LEAST_STEP:
        mean = float(np.mean([s.painted for s in sides]))
        return (list(sides), 0.0) if mean > _ALL_PAINTED else ([], 0.0)
    if not _is_painted_part(sides, best):
        best = ~best
    chosen = [s for s, is_in in zip(sides, best, strict=True) if is_in]
    return chosen, best_step


def _is_bare_island(said: Floats, inside: NDArray[np.bool_]) -> bool:
    """Whether the network says that a run within the row is bare and the teeth around it painted."""
    within = not inside[0] and not inside[-1]
    return bool(within and said[inside].mean() < said[~inside].mean() - _BARE_APART)


def _is_painted_part(sides: Sequence[SeenSide], inside: NDArray[np.bool_]) -> bool:
    """Whether the run is what was painted, not what was left bare.

    Painted teeth are neighbours, so a run with bare teeth on both sides is the painted one. Else it is
    what the network says, then the more colourful part, or the lighter where neither has colour.
    """
    if not inside[0] and not inside[-1]:
        return True

    def of(part: NDArray[np.bool_]) -> tuple[float, float, float]:
        chosen = [s for s, is_in in zip(sides, part, strict=True) if is_in]
        lightness, a, b = np.median([s.look for s in chosen], axis=0)
        said = float(np.mean([s.painted_share for s in chosen]))
        return said, float(np.hypot(a, b)), float(lightness)

    said_in, chroma_in, light_in = of(inside)
    said_out, chroma_out, light_out = of(~inside)
    if abs(said_in - said_out) > _SAID_APART:
        return said_in > said_out
    if abs(chroma_in - chroma_out) > 7.0:
        return chroma_in > chroma_out
    return light_in > light_out
