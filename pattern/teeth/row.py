"""The teeth of a photo as one row on one ring gear: each helps to place the others."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pattern.records import Hand, Photo, Side, ToothSide
from pattern.teeth.ring_fit import EDGES, RingView, fit_ring
from pattern.teeth.surface import resampled

Floats = NDArray[np.float64]
_LOOSE = 1.6
"""Points along one tooth's edges err together: their sds are widened by this."""


def follow_corrected(
    photo: Photo,
    corrected: Sequence[ToothSide],
    others: Sequence[ToothSide],
    side: Side,
    hand: Hand,
) -> tuple[ToothSide, ...]:
    """The other teeth of a photo, moved to where those that the user corrected put them.

    They are as far from the corrected teeth as before in the row; where no ring gear explains the
    corrected teeth, the others stay.
    """
    if not corrected or not others:
        return tuple(others)
    together = [*corrected, *others]
    sds = [0.5 * max(t.corner_sd_px, 1.0) for t in corrected]
    sds += [8.0 * max(t.corner_sd_px, 1.0) for t in others]
    view = _row_view(photo, together, sds, side, hand)
    if view is None:
        return tuple(others)
    moved = []
    for number, tooth in enumerate(others, start=len(corrected)):
        surface = view.surface(number)
        moved.append(_placed(tooth, surface.tip, surface.root))
    return tuple(moved)


def _row_view(
    photo: Photo, teeth: Sequence[ToothSide], sds: Sequence[float], side: Side, hand: Hand
) -> RingView | None:
    points = [np.concatenate([resampled(t.tip_edge, 5), resampled(t.root_edge, 5)]) for t in teeth]
    size = (photo.width_px, photo.height_px)
    return fit_ring(points, [_LOOSE * sd for sd in sds], side, hand, size, EDGES)


def _placed(tooth: ToothSide, tip: Floats, root: Floats) -> ToothSide:
    corners = np.array([tip[0], tip[-1], root[-1], root[0]])
    return replace(tooth, corners=corners, tip_edge=tip, root_edge=root)
