"""Find the ring gear in the network's maps: one view that explains as many tooth sides as it can.

A single tooth side of the maps may be ragged or half missing; all of them together, painted or not,
must lie on one ring gear. The search starts from a clear tooth and its neighbours and takes in the
others as they fall into place.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pattern.records import Hand, Side
from pattern.teeth.chirality import runs_clockwise
from pattern.teeth.fields import PixelFields
from pattern.teeth.instances import Observed, observe, split_teeth
from pattern.teeth.ring_fit import RingView, Sighting, solve_ring

Floats = NDArray[np.float64]
_CELLS = 10
_ALIKE = 1.9
"""A tooth's cells err together: their spread is widened by this."""
_SEEDS = 3
_ROUNDS = 3
_NEAR = 0.3
_REACH = 24
"""Teeth to either side of the middle one that may belong to the row: most of a ring gear seen from above."""


@dataclass(frozen=True, eq=False)
class Piece:
    """A piece of tooth side seen in the maps: cells, and the affine map that they suggest.

    `middle` is where the middle of the side should be and `to_px` (2, 2) pixels per unit of tooth
    coordinates; `whiten` (m, 2, 2) as in `Sighting`; `weight` how many cells it has.
    """

    observed: Observed
    middle: Floats
    to_px: Floats
    whiten: Floats
    weight: float


@dataclass(frozen=True, eq=False)
class FoundRing:
    """The view, and the number of the tooth that each piece lies on (None if on none)."""

    view: RingView
    pieces: tuple[Piece, ...]
    numbers: tuple[int | None, ...]

    @property
    def explained(self) -> float:
        """Share of all pieces' cells that lie on the ring gear."""
        total = sum(p.weight for p in self.pieces)
        on = sum(p.weight for p, n in zip(self.pieces, self.numbers, strict=True) if n is not None)
        return on / max(total, 1e-9)


def search_ring(
    fields: PixelFields, side: Side, hand: Hand, size_px: tuple[int, int]
) -> FoundRing | None:
    """The view that explains most cells, None if fewer than two neighbouring pieces fit any.

    Where none does, pieces of a few cells are looked at too.
    """
    found = _ring_of(pieces_of(fields, side, hand), side, hand, size_px)
    return found or _ring_of(pieces_of(fields, side, hand, narrow=True), side, hand, size_px)


def _ring_of(
    pieces: Sequence[Piece], side: Side, hand: Hand, size_px: tuple[int, int]
) -> FoundRing | None:
    best: FoundRing | None = None
    best_cells = 0.0
    for seed in range(min(_SEEDS, len(pieces))):
        if best is not None and best.numbers[seed] is not None:
            continue  # a piece that lies on the best ring gear would lead to it again
        found = _grown(pieces, seed, side, hand, size_px)
        if found is None:
            continue
        cells = found.explained / (1.0 + 0.5 * found.view.misfit)
        if cells > best_cells:
            best, best_cells = found, cells
        if found.explained > 0.85:
            break
    return best


def pieces_of(fields: PixelFields, side: Side, hand: Hand, *, narrow: bool = False) -> list[Piece]:
    """Pieces of the declared side with a sound affine map, the largest first; `narrow` as in `split_teeth`."""
    pieces = []
    for instance in split_teeth(fields, narrow=narrow):
        observed = observe(fields, instance.mask, most=200)
        piece = _piece(observed, float(instance.mask.sum()), runs_clockwise(side, hand))
        if piece is not None:
            pieces.append(piece)
    return pieces


def _piece(observed: Observed, weight: float, clockwise: bool) -> Piece | None:
    place, xy = observed.place, observed.xy
    if len(xy) < 20 or np.ptp(place[:, 0]) < 0.2 or np.ptp(place[:, 1]) < 0.2:
        return None
    design = np.concatenate([place - 0.5, np.ones((len(place), 1))], axis=1)
    solved = np.linalg.lstsq(design / observed.sd.mean(), xy / observed.sd.mean(), rcond=None)[0]
    to_px = solved[:2].T
    # toe to heel, then root to tip: a turn to the left on the screen is the clockwise outline
    if (np.linalg.det(to_px) < 0) != clockwise:
        return None
    keep = np.linspace(0, len(xy) - 1, min(_CELLS, len(xy))).astype(int)
    sd = np.maximum(observed.sd[keep], 0.02) * _ALIKE
    inverse = np.linalg.pinv(to_px)
    thinned = Observed(xy[keep], place[keep], observed.sd[keep])
    return Piece(thinned, solved[2], to_px, inverse / sd[:, :, None], weight)


def _grown(
    pieces: Sequence[Piece], seed: int, side: Side, hand: Hand, size_px: tuple[int, int]
) -> FoundRing | None:
    numbers = _around_seed(pieces, seed, side)
    if sum(n is not None for n in numbers) < 2:
        return None
    view = _solved(pieces, numbers, side, hand, size_px, None)
    for _ in range(_ROUNDS):
        if view is None:
            return None
        taken = assigned(pieces, view)
        if sum(n is not None for n in taken) < 2:
            return None
        if taken == numbers:
            break
        numbers = taken
        view = _solved(pieces, numbers, side, hand, size_px, view.state)
    return None if view is None else FoundRing(view, tuple(pieces), tuple(numbers))


def _around_seed(pieces: Sequence[Piece], seed: int, side: Side) -> list[int | None]:
    """Numbers of the seed, 0, and its next neighbour on either side."""
    numbers: list[int | None] = [None] * len(pieces)
    numbers[seed] = 0
    start = pieces[seed]
    inverse = np.linalg.pinv(start.to_px)
    offsets = np.array([inverse @ (p.middle - start.middle) for p in pieces])
    up_counts = 1 if side == "drive" else -1
    for way in (1, -1):
        away = offsets[:, 1] * way
        fit = (np.abs(offsets[:, 0]) < 0.6) & (away > 0.7) & (away < 4.0)
        if fit.any():
            nearest = int(np.where(fit, away, np.inf).argmin())
            numbers[nearest] = way * up_counts
    return numbers


def assigned(pieces: Sequence[Piece], view: RingView) -> list[int | None]:
    """The tooth that each piece lies on: its middle near the tooth's, its direction alike."""
    centre = float(np.median(view.numbers))
    candidates = np.arange(round(centre) - _REACH, round(centre) + _REACH + 1)
    half = np.full(len(candidates), 0.5)
    middles = view.project(candidates.astype(float), half, half)
    ahead = view.project(candidates.astype(float), half + 0.1, half) - middles
    steps = np.linalg.norm(np.gradient(middles, axis=0), axis=1)
    taken: dict[int, tuple[float, int]] = {}
    for index, piece in enumerate(pieces):
        apart = np.linalg.norm(middles - piece.middle, axis=1) / np.maximum(steps, 1e-6)
        nearest = int(apart.argmin())
        along, seen = ahead[nearest] * 10.0, piece.to_px[:, 0]
        size = float(np.linalg.norm(along) * np.linalg.norm(seen)) + 1e-9
        alike = float(along @ seen) / size
        ratio = float(np.linalg.norm(seen) / (np.linalg.norm(along) + 1e-9))
        if apart[nearest] < _NEAR and alike > 0.9 and 0.6 < ratio < 1.6:
            key = int(candidates[nearest])
            if key not in taken or taken[key][0] < piece.weight:
                taken[key] = (piece.weight, index)
    numbers: list[int | None] = [None] * len(pieces)
    for key, (_, index) in taken.items():
        numbers[index] = key
    return numbers


def _solved(
    pieces: Sequence[Piece],
    numbers: Sequence[int | None],
    side: Side,
    hand: Hand,
    size_px: tuple[int, int],
    start: Floats | None,
) -> RingView | None:
    seen = sighting_of(pieces, numbers)
    return solve_ring(seen, side, hand, size_px, start=start, robust=True, roughly=True)


def sighting_of(pieces: Sequence[Piece], numbers: Sequence[int | None]) -> Sighting:
    """The cells of all pieces that lie on a tooth."""
    used = [(p, n) for p, n in zip(pieces, numbers, strict=True) if n is not None]
    return Sighting(
        xy=np.concatenate([p.observed.xy for p, _ in used]),
        tooth=np.concatenate([np.full(len(p.observed.xy), float(n)) for p, n in used]),
        place=np.concatenate([p.observed.place for p, _ in used]),
        whiten=np.concatenate([p.whiten for p, _ in used]),
    )
