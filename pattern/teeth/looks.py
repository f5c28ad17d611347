"""Look at a photo, coarsely and then closer, for the ring gear that explains its teeth."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pattern.records import Hand, Photo, Side, ToothSide
from pattern.teeth.bend import tip_steadiness
from pattern.teeth.fields import PixelFields
from pattern.teeth.network import MULTIPLE, predict_fields
from pattern.teeth.painted import SeenSide, painted_run, seen_sides
from pattern.teeth.ring_fit import RingView, solve_ring
from pattern.teeth.ring_refine import settle_ring
from pattern.teeth.ring_search import FoundRing, assigned, pieces_of, search_ring, sighting_of

Floats = NDArray[np.float64]
Region = tuple[float, float, float, float]
_LEAST_GAIN = 1.25
"""A part that a closer look enlarges less than this is as well looked at with the whole photo."""
_MARGIN, _MARGIN_OF_ALL = 0.25, 0.1
"""Around teeth, in tooth lengths, and around all that is high, in its greatest length: with 0.25 there, four
more trial photos were left without teeth."""
_BEYOND = 3
_HIGH, _LEAST_CELLS = 0.4, 12
"""Where a map of the network counts as high, and of how many cells it takes notice."""
_VISIBLE = 0.2
_STEADY = 0.35
"""Steadiness of the tip edges that found teeth must show; set on trial photos."""
LOOKS_PX = (320, 512, 640)
"""Sizes at which the network sees a photo; the others only where the first leaves a doubt."""
CLOSE_LOOKS_PX = (384, 512, 640)
"""Sizes at which it looks closer, never coarser than the first time; a second time where the first moved the
teeth by more than `_SETTLED`."""
_SETTLED = 0.04
_USUAL_SHAPE = 0.75
"""Short side over long side of a phone's photo."""


@dataclass(frozen=True, eq=False)
class Search:
    """What the search for the ring gear gave: looks at the photo, the ring gear, its painted teeth.

    `moved` is how far the last closer look moved the painted teeth's corners, as a share of their length.
    """

    looks: tuple[PixelFields, ...]
    ring: FoundRing | None
    sides: tuple[SeenSide, ...] = ()
    painted: tuple[SeenSide, ...] = ()
    moved: float = 0.0


def look_for_ring(photo: Photo, side: Side, hand: Hand, long_side_px: int = LOOKS_PX[0]) -> Search:
    """Look at the whole photo, then closer at the painted teeth; the ring gear explains both.

    `long_side_px` is the size at which the network sees the first look; closer ones are no coarser. Where the
    painted teeth fill the photo a closer look is a finer one of all of it.
    """
    size = (photo.width_px, photo.height_px)
    first = predict_fields(photo, side, hand, long_side=long_side_px)
    ring = search_ring(first, side, hand, size)
    if ring is None:
        region = _part_of(first.side, first, photo)
        if region is None:
            return Search((first,), None)
        second = predict_fields(photo, side, hand, region=region, long_side=long_side_px)
        ring = search_ring(second, side, hand, size)
        if ring is None:
            return Search((first, second), None)
        first = second
    return _looked_closer(photo, ring, first, side, hand, long_side_px)


def _looked_closer(
    photo: Photo, ring: FoundRing, look: PixelFields, side: Side, hand: Hand, look_px: int
) -> Search:
    """The search that a look of this size began, gone on with closer ones until the teeth stay put."""
    sizes = [px for px in CLOSE_LOOKS_PX if px >= look_px][:2]
    looks, moved = [look], 0.0
    sides = _sides_of(photo, ring, look, laid_out=False)
    painted = painted_run(sides)
    for close_px in sizes:
        region = around(photo, ring.view, painted)
        if not painted:
            region = _part_of(look.painted, look, photo) or around(photo, ring.view, sides)
        if region is None and close_px == look_px and close_px != sizes[-1]:
            continue  # the very same look again
        long_side_px = max(look_px, _at_equal_cost(close_px, region))
        look = predict_fields(photo, side, hand, region=region, long_side=long_side_px)
        better = _with_closer_look(ring, look, painted or sides, side, hand, photo)
        moved = _moved(ring.view, better.view, painted)
        ring = better
        looks.append(look)
        sides = _sides_of(photo, ring, look)
        painted = painted_run(sides)
        if moved < _SETTLED:
            break
    return Search(tuple(looks), ring, tuple(sides), tuple(painted), moved)


def _at_equal_cost(long_side_px: int, region: Region | None) -> int:
    """The size of a look for a slice squarer than a photo, whose cells are as many as a photo's."""
    if region is None:
        return long_side_px
    sides = region[2] - region[0], region[3] - region[1]
    squarer = max(min(sides) / max(sides) / _USUAL_SHAPE, 1.0)
    return round(long_side_px / math.sqrt(squarer) / MULTIPLE) * MULTIPLE


def _with_closer_look(
    ring: FoundRing,
    look: PixelFields,
    painted: Sequence[SeenSide],
    side: Side,
    hand: Hand,
    photo: Photo,
) -> FoundRing:
    size = (photo.width_px, photo.height_px)
    closer = pieces_of(look, side, hand)
    pieces = (*ring.pieces, *closer)
    numbers = (*ring.numbers, *assigned(closer, ring.view))
    seen = sighting_of(pieces, numbers)
    view = solve_ring(
        seen, side, hand, size, start=ring.view.state, robust=True, roughly=bool(painted)
    )
    if view is None:
        return ring
    if painted:
        view = settle_ring(view, look, [s.number for s in painted], seen)
    return FoundRing(view, pieces, numbers)


def _sides_of(
    photo: Photo, ring: FoundRing, look: PixelFields, *, laid_out: bool = True
) -> list[SeenSide]:
    numbers = [n for n in ring.numbers if n is not None]
    wanted = range(min(numbers) - _BEYOND, max(numbers) + _BEYOND + 1)
    return seen_sides(photo, ring.view, look, wanted, _VISIBLE, laid_out=laid_out)


def around(photo: Photo, view: RingView, sides: Sequence[SeenSide]) -> Region | None:
    """The part of the photo, (x0, y0, x1, y1) px, that holds these teeth, if looking closer enlarges it."""
    if not sides:
        return None
    surfaces = view.tooth_surfaces([s.number for s in sides])
    points = np.concatenate([s.polygon for s in surfaces])
    margin = _MARGIN * float(np.median([s.length_px for s in surfaces]))
    return _region(photo, points, margin)


def _part_of(chance: NDArray[np.float32], look: PixelFields, photo: Photo) -> Region | None:
    """Where a map of the network is high at all."""
    rows, columns = np.nonzero(chance > _HIGH)
    if len(rows) < _LEAST_CELLS:
        return None
    points = look.photo_xy(np.stack([columns, rows], axis=1).astype(float))
    low, high = np.quantile(points, 0.03, axis=0), np.quantile(points, 0.97, axis=0)
    return _region(photo, np.array([low, high]), _MARGIN_OF_ALL * float((high - low).max()))


def _region(photo: Photo, points: Floats, margin: float) -> Region | None:
    low = np.clip(points.min(axis=0) - margin, 0, None)
    high = np.minimum(points.max(axis=0) + margin, [photo.width_px, photo.height_px])
    gain = max(photo.width_px, photo.height_px) / max(float((high - low).max()), 1.0)
    if gain < _LEAST_GAIN or (high - low).min() < 16:
        return None
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def _moved(before: RingView, after: RingView, sides: Sequence[SeenSide]) -> float:
    numbers = [side.number for side in sides]
    shares = []
    for old, new in zip(before.tooth_surfaces(numbers), after.tooth_surfaces(numbers), strict=True):
        apart = old.corners - new.corners
        shares.append(np.sqrt((apart**2).sum(axis=1).mean()) / max(old.length_px, 1.0))
    return float(np.median(shares)) if shares else 0.0


def teeth_of(photo: Photo, search: Search) -> list[ToothSide]:
    """The painted teeth with corner spread and confidence.

    What lowers it: cells of other teeth that the ring gear leaves unexplained, a closer look that
    moved it, a tip edge across which the photo shows no steady change, a side hardly seen.
    """
    ring = search.ring
    if ring is None:
        return []
    surfaces = ring.view.tooth_surfaces([s.number for s in search.painted])
    steady = float(np.mean([tip_steadiness(photo, s) for s in surfaces])) if surfaces else 0.0
    teeth = []
    for seen, surface in zip(search.painted, surfaces, strict=True):
        near = min(abs(seen.number - n) for n in ring.numbers if n is not None)
        doubts = (
            min(1.0, ring.explained / 0.5),
            float(np.exp(-0.5 * (ring.view.misfit / 1.0) ** 2)),
            float(np.exp(-0.5 * (search.moved / 0.05) ** 2)),
            min(1.0, seen.side / 0.5),
            min(1.0, steady / _STEADY),
            0.85**near,
        )
        share = 0.016 + 0.006 * near + 0.35 * search.moved
        teeth.append(
            ToothSide(
                corners=surface.corners,
                tip_edge=surface.tip,
                root_edge=surface.root,
                corner_sd_px=share * surface.length_px,
                confidence=float(np.prod(doubts)),
            )
        )
    return teeth
