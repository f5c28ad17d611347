"""Bend the long edges of outlines that have only corners.

A ring gear tooth is curved along its length, and a camera looks down on it from above its tip, so in
the picture its long edges bow by a tenth to a whole of the tooth's depth, and half way along the face
width is not half way along the picture. Both follow from the view, and the view from the corners of
the teeth (`ring_fit`). What is left, the bend of the set's own cutter, is read from the picture:
along the true edge the look changes in the same way from toe to heel.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pattern.photo.colour import to_lab
from pattern.records import Hand, Photo, Side, ToothSide
from pattern.teeth.rectify import cell_centres, lay_flat
from pattern.teeth.ring_fit import RingView, fit_ring
from pattern.teeth.surface import ToothSurface, bowed_edge, resampled

Floats = NDArray[np.float64]
_BOWS = np.linspace(-0.3, 0.3, 49)
"""Bows tried beyond the expected ones, as shares of the depth half way along, + toward the tip."""
_SPREAD, _STRAY, _ALIKE = 0.04, 0.015, 0.02
"""Sds of the bow's difference to what the view gives: common to the photo, of one tooth, and between
tip and root edge (set on drawn and rendered teeth)."""
_EXPECTED_BLIND, _SPREAD_BLIND = 0.35, 0.15
"""The same where no view could be fitted: drive bows toward the root, coast toward the tip."""
_WINDOW = 0.11
_SLIP = 0.15
_TRUST = 5.0
_KNOTS = 33


def bend_edges(
    photo: Photo, teeth: Sequence[ToothSide], side: Side, hand: Hand
) -> tuple[ToothSide, ...]:
    """The tooth sides with long edges as the view and the picture bend them; corners stay.

    The picture's say: the change of look across each edge, summed as a vector from toe to heel so
    that only what stays the same counts, over all teeth together and then each within a little.
    """
    sd = max(float(np.mean([tooth.corner_sd_px for tooth in teeth])) * 0.5, 0.5)
    view = fit_ring([t.corners for t in teeth], sd, side, hand, (photo.width_px, photo.height_px))
    surfaces = [_expected(tooth, view, number, side) for number, tooth in enumerate(teeth)]
    spread = _SPREAD if view is not None else _SPREAD_BLIND
    scores = [_edge_scores(photo, surface) for surface in surfaces]
    together = sum((tip + 0.6 * root for tip, root in scores), np.zeros(len(_BOWS)))
    common = float(_BOWS[int((_TRUST * together - 0.5 * (_BOWS / spread) ** 2).argmax())])
    return tuple(
        _bowed(tooth, surface, at_tip, at_root, common)
        for tooth, surface, (at_tip, at_root) in zip(teeth, surfaces, scores, strict=True)
    )


def tip_steadiness(photo: Photo, surface: ToothSurface) -> float:
    """How alike the look changes across the tip edge from toe to heel, 0 to 1.

    Along a true tip edge compound or steel of the side always gives way to the top land. The edge
    may lie a little off where it is expected.
    """
    change = _change_across(photo, surface)
    places = 1.0 + np.linspace(-_SLIP, _SLIP, 13)[:, None] + np.zeros(len(change.lengthwise))
    return float(_alike(change.at(places)).max())


def _expected(tooth: ToothSide, view: RingView | None, number: int, side: Side) -> ToothSurface:
    """Edges as the view has them, moved onto the tooth's own corners."""
    a, b, c, d = tooth.corners
    if view is None:
        up = 0.5 * (a + b - c - d) * _EXPECTED_BLIND * (-1.0 if side == "drive" else 1.0)
        return ToothSurface(tip=bowed_edge(a, b, up, _KNOTS), root=bowed_edge(d, c, up, _KNOTS))
    seen = view.surface(number)
    return ToothSurface(tip=_onto(seen.tip, a, b), root=_onto(seen.root, d, c))


def _onto(edge: Floats, start: Floats, end: Floats) -> Floats:
    """An edge turned and scaled so that its ends meet two points."""
    edge = resampled(edge, _KNOTS)
    old, new = edge[-1] - edge[0], end - start
    factor = complex(*new) / complex(*old)
    moved = (edge - edge[0]) @ np.array([[factor.real, factor.imag], [-factor.imag, factor.real]])
    return np.asarray(start + moved)


def _bowed(
    tooth: ToothSide, surface: ToothSurface, at_tip: Floats, at_root: Floats, common: float
) -> ToothSide:
    near = -0.5 * ((_BOWS - common) / _STRAY) ** 2
    apart = -0.5 * ((_BOWS[:, None] - _BOWS[None, :]) / _ALIKE) ** 2
    total = _TRUST * (at_tip[:, None] + 0.6 * at_root[None, :]) + apart + near[:, None]
    i, j = np.unravel_index(int(total.argmax()), total.shape)
    share = np.linspace(0.0, 1.0, _KNOTS)
    bow = 4.0 * share * (1.0 - share)
    return replace(
        tooth,
        tip_edge=surface.to_photo(share, 1.0 + _BOWS[i] * bow),
        root_edge=surface.to_photo(share, _BOWS[j] * bow),
    )


def _edge_scores(photo: Photo, surface: ToothSurface) -> tuple[Floats, Floats]:
    change = _change_across(photo, surface)
    return _steadiness(change, 1.0), _steadiness(change, 0.0)


def _change_across(photo: Photo, surface: ToothSurface) -> _Change:
    low, high = -0.5, 1.5
    lengthwise, profile = cell_centres(96, 0.04, 0.96), cell_centres(120, low, high)
    flat = lay_flat(photo, surface, lengthwise, profile[::-1])
    return _Change(to_lab(flat.rgb)[::-1], lengthwise, low, high)


@dataclass(frozen=True, eq=False)
class _Change:
    """Mean look above less mean look below, at any profile place of each column.

    `lab` is (rows, columns, 3) with rows from profile `low` up to `high`.
    """

    lab: Floats
    lengthwise: Floats
    low: float
    high: float

    def at(self, profile: Floats) -> Floats:
        """(..., columns, 3) difference across `profile` (..., columns)."""
        sums = np.concatenate([np.zeros((1, *self.lab.shape[1:])), np.cumsum(self.lab, axis=0)])
        middle = self._sum_to(sums, profile)
        upper = self._sum_to(sums, profile + _WINDOW) - middle
        lower = middle - self._sum_to(sums, profile - _WINDOW)
        return (upper - lower) / _WINDOW

    def _sum_to(self, sums: Floats, profile: Floats) -> Floats:
        rows = len(sums) - 1
        place = np.clip((profile - self.low) / (self.high - self.low) * rows, 0, rows - 1e-6)
        index = place.astype(int)
        part = (place - index)[..., None]
        column = np.arange(profile.shape[-1])
        value = (1 - part) * sums[index, column] + part * sums[index + 1, column]
        return np.asarray(value * (self.high - self.low) / rows)


def _steadiness(change: _Change, edge: float) -> Floats:
    """How alike the changes across the bowed edge are from toe to heel, 0 to 1, for each bow tried."""
    bow = 4.0 * change.lengthwise * (1.0 - change.lengthwise)
    return _alike(change.at(edge + _BOWS[:, None] * bow[None, :]))


def _alike(differences: Floats) -> Floats:
    """(n,) how alike the differences (n, columns, 3) are over the columns, large ones limited."""
    size = np.linalg.norm(differences, axis=2, keepdims=True)
    limited = differences / (size + float(np.median(size)) + 2.0)
    return np.asarray(np.linalg.norm(limited.mean(axis=1), axis=1))
