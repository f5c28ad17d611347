"""Bend the long edges of an outline that has only four corners.

A ring gear tooth is curved along its length: in space each long edge bows by 0.05 to 0.1 of the
tooth's length, and a camera looks down on the tooth from above its tip (the next tooth stands in the
way of any lower view). So the convex, drive side bows toward its root in the picture and the
concave, coast side toward its tip, by a tenth to a half of the tooth's depth. How much is read from
the picture: along the true edge the look changes in the same way from toe to heel.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pattern.photo.colour import to_lab
from pattern.records import Photo, Side, ToothSide
from pattern.teeth.rectify import cell_centres, lay_flat
from pattern.teeth.surface import ToothSurface, bowed_edge

Floats = NDArray[np.float64]
_BOWS = np.linspace(-0.15, 0.75, 61)
"""Bows tried, as shares of the depth half way along, positive the way the side is expected to bow."""
_EXPECTED, _SPREAD = 0.20, 0.16
"""Bow of drawn sets (sag 0.055 to 0.094 of the length, length 4.9 to 5.8 depths) seen from 15 to 40
degrees above square: 0.08 to 0.45."""
_ALIKE = 0.07
_WINDOW = 0.11
_TRUST = 14.0


def bend_edges(photo: Photo, tooth: ToothSide, side: Side) -> ToothSide:
    """The tooth side with its straight long edges bowed as the picture shows.

    Both bows are chosen together: the change of look across each edge, summed as a vector from toe
    to heel so that only what stays the same counts, against what views of ring gears lead one to
    expect and against bows that differ between tip and root edge.
    """
    straight = ToothSurface.of(tooth)
    way = -1.0 if side == "drive" else 1.0
    change = _change_across(photo, straight, way)
    at_tip, at_root = _score(change, 1.0, way), _score(change, 0.0, way)
    expected = -0.5 * ((_BOWS - _EXPECTED) / _SPREAD) ** 2
    apart = -0.5 * ((_BOWS[:, None] - _BOWS[None, :]) / _ALIKE) ** 2
    total = _TRUST * (at_tip[:, None] + 0.6 * at_root[None, :]) + apart + expected[:, None]
    i, j = np.unravel_index(int(total.argmax()), total.shape)
    up = (
        straight.to_photo(np.array([0.5]), np.array([1.0]))[0]
        - straight.to_photo(np.array([0.5]), np.array([0.0]))[0]
    )
    a, b, c, d = tooth.corners
    return replace(
        tooth,
        tip_edge=bowed_edge(a, b, way * _BOWS[i] * up),
        root_edge=bowed_edge(d, c, way * _BOWS[j] * up),
    )


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
    low, high = (-1.0, 1.4) if way < 0 else (-0.4, 2.0)
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
