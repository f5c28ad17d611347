"""Bend the long edges of an outline that has only four corners.

A ring gear tooth is curved along its length: in space each long edge bows by 0.05 to 0.1 of the
tooth's length, and a camera looks down on the tooth from above its tip (the next tooth stands in the
way of any lower view). So the convex, drive side bows toward its root in the picture and the
concave, coast side toward its tip, by a tenth to a half of the tooth's depth. How much is read from
the picture: along the true edge the look changes in the same way from toe to heel.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pattern.photo.colour import to_lab
from pattern.records import Photo, Side, ToothSide
from pattern.teeth.rectify import cell_centres, lay_flat
from pattern.teeth.surface import ToothSurface, bowed_edge

Floats = NDArray[np.float64]
_BOWS = np.linspace(-0.15, 1.0, 93)
"""Bows tried, as shares of the depth half way along, positive the way the side is expected to bow."""
_EXPECTED, _SPREAD = 0.22, 0.18
"""Bow of drawn sets (sag 0.055 to 0.094 of the length, length 4.9 to 5.8 depths) seen from 15 to 40
degrees above square: 0.08 to 0.45."""
_SLOPES = np.linspace(-0.2, 0.2, 33)
"""Change of bow from tooth to tooth tried: neighbours are turned by 8 to 10 degrees."""
_MIDDLE = -0.022
"""Half way along the face width lies this share of the chord short of half way along the tooth: the
spiral angle, and with it the length of tooth per face width, grows toward the heel. Of sets drawn
from ISO 23509:2016 proportions, at views of ring gears: -0.022, sd 0.02."""
_STRAY = 0.03
_ALIKE = 0.05
_WINDOW = 0.11
_TRUST = 14.0


def bend_edges(photo: Photo, teeth: Sequence[ToothSide], side: Side) -> tuple[ToothSide, ...]:
    """The tooth sides with their straight long edges bowed as the picture shows.

    The bows are chosen together, as a line over the teeth of the photo, then each within a little of
    it: the change of look across each edge, summed as a vector from toe to heel so that only what
    stays the same counts, against what views of ring gears lead one to expect.
    """
    way = -1.0 if side == "drive" else 1.0
    scores = [_edge_scores(photo, ToothSurface.of(tooth), way) for tooth in teeth]
    usual = _line_of_bows([tip + 0.6 * root for tip, root in scores], _places(teeth))
    return tuple(
        _bowed(tooth, way, at_tip, at_root, middle)
        for tooth, (at_tip, at_root), middle in zip(teeth, scores, usual, strict=True)
    )


def _bowed(
    tooth: ToothSide, way: float, at_tip: Floats, at_root: Floats, usual: float
) -> ToothSide:
    near = -0.5 * ((_BOWS - usual) / _STRAY) ** 2
    apart = -0.5 * ((_BOWS[:, None] - _BOWS[None, :]) / _ALIKE) ** 2
    gain = _TRUST * (at_tip[:, None] + 0.6 * at_root[None, :])
    total = gain + apart + near[:, None]
    i, j = np.unravel_index(int(total.argmax()), total.shape)
    a, b, c, d = tooth.corners
    up = 0.5 * (a + b - c - d)
    return replace(
        tooth,
        tip_edge=bowed_edge(a, b, way * _BOWS[i] * up + _MIDDLE * (b - a)),
        root_edge=bowed_edge(d, c, way * _BOWS[j] * up + _MIDDLE * (c - d)),
    )


def _line_of_bows(scores: list[Floats], places: Floats) -> Floats:
    """The bow of each tooth on the straight line over `places` that all scores together like best."""
    middle = float(places.mean())
    centre, slope = np.meshgrid(_BOWS, _SLOPES, indexing="ij")
    total = -0.5 * ((centre - _EXPECTED) / _SPREAD) ** 2 - 0.5 * (slope / 0.12) ** 2
    for score, place in zip(scores, places, strict=True):
        total += _TRUST * np.interp(centre + slope * (place - middle), _BOWS, score)
    i, j = np.unravel_index(int(total.argmax()), total.shape)
    return np.asarray(_BOWS[i] + _SLOPES[j] * (places - middle))


def _places(teeth: Sequence[ToothSide]) -> Floats:
    """Where each tooth stands in the row, in steps from tooth to tooth, along tip to root."""
    corners = np.array([tooth.corners for tooth in teeth])
    down = (corners[:, 2:] - corners[:, :2]).mean(axis=(0, 1))
    along = corners.mean(axis=1) @ down / max(float(np.linalg.norm(down)), 1e-9)
    gaps = np.diff(np.sort(along))
    step = float(np.median(gaps)) if len(gaps) else 1.0
    return np.asarray((along - along.min()) / max(step, 1e-6))


def _edge_scores(photo: Photo, straight: ToothSurface, way: float) -> tuple[Floats, Floats]:
    change = _change_across(photo, straight, way)
    return _score(change, 1.0, way), _score(change, 0.0, way)


class _Change:
    """Mean look above less mean look below, at any profile place of each column."""

    def __init__(self, lab: Floats, lengthwise: Floats, low: float, high: float) -> None:
        self.sums = np.concatenate([np.zeros((1, *lab.shape[1:])), np.cumsum(lab, axis=0)])
        self.lengthwise = lengthwise
        self.low, self.high = low, high

    def at(self, profile: Floats) -> Floats:
        """(columns, 3) difference across `profile` (columns,)."""
        upper = self._mean(profile, profile + _WINDOW)
        lower = self._mean(profile - _WINDOW, profile)
        return upper - lower

    def _mean(self, start: Floats, end: Floats) -> Floats:
        return (self._sum_to(end) - self._sum_to(start)) / _WINDOW

    def _sum_to(self, profile: Floats) -> Floats:
        rows = len(self.sums) - 1
        place = np.clip((profile - self.low) / (self.high - self.low) * rows, 0, rows - 1e-6)
        index = place.astype(int)
        part = (place - index)[:, None]
        column = np.arange(len(profile))
        value = (1 - part) * self.sums[index, column] + part * self.sums[index + 1, column]
        return np.asarray(value * (self.high - self.low) / rows)


def _change_across(photo: Photo, straight: ToothSurface, way: float) -> _Change:
    low, high = (-1.25, 1.4) if way < 0 else (-0.4, 2.25)
    lengthwise, profile = cell_centres(96, 0.04, 0.96), cell_centres(150, low, high)
    flat = lay_flat(photo.pixels, straight, lengthwise, profile[::-1])
    return _Change(to_lab(flat.rgb)[::-1], lengthwise, low, high)


def _score(change: _Change, edge: float, way: float) -> Floats:
    """How steady the change across the bowed edge is, 0 to 1, for each bow tried."""
    bow = 4.0 * change.lengthwise * (1.0 - change.lengthwise)
    differences = np.array([change.at(edge + way * size * bow) for size in _BOWS])
    scale = float(np.median(np.linalg.norm(differences, axis=2))) + 2.0
    limited = differences / (np.linalg.norm(differences, axis=2, keepdims=True) + scale)
    return np.asarray(np.linalg.norm(limited.mean(axis=1), axis=1))
