"""Tooth coordinates to pixels: the ruled surface between a tooth side's two long edges."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pattern.records import ToothSide

Points = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class ToothSurface:
    """A tooth side as straight rulings from root edge to tip edge, one at each lengthwise position.

    `tip` and `root` are (n, 2) px from toe to heel, at equal steps of the lengthwise coordinate: the
    spacing of the points carries the foreshortening along the tooth. Along a ruling the profile
    coordinate is taken as linear; a tooth is a few degrees high as the camera sees it, so the error
    is under 0.01. Beyond 0 to 1 the surface goes on straight.
    """

    tip: Points
    root: Points

    @classmethod
    def of(cls, tooth: ToothSide) -> ToothSurface:
        """The surface of a found or given tooth side."""
        steps = max(len(tooth.tip_edge), len(tooth.root_edge))
        return cls(resampled(tooth.tip_edge, steps), resampled(tooth.root_edge, steps))

    def to_photo(self, lengthwise: NDArray[np.float64], profile: NDArray[np.float64]) -> Points:
        """Tooth coordinates, any shapes that broadcast, to pixels (..., 2)."""
        tip, root = _along(self.tip, lengthwise), _along(self.root, lengthwise)
        return root + np.asarray(profile, float)[..., None] * (tip - root)

    @property
    def corners(self) -> Points:
        """Toe-tip, heel-tip, heel-root, toe-root, (4, 2) px."""
        return np.array([self.tip[0], self.tip[-1], self.root[-1], self.root[0]])

    @property
    def polygon(self) -> Points:
        """The closed outline: tip edge from toe to heel, root edge back, (2 n, 2) px."""
        return np.concatenate([self.tip, self.root[::-1]])

    @property
    def length_px(self) -> float:
        """Length of the tooth's middle line."""
        middle = 0.5 * (self.tip + self.root)
        return float(np.linalg.norm(np.diff(middle, axis=0), axis=1).sum())

    @property
    def depth_px(self) -> float:
        """Depth of the tooth side half way along, as the camera sees it."""
        middle = self.to_photo(np.array([0.5, 0.5]), np.array([0.0, 1.0]))
        return float(np.linalg.norm(middle[1] - middle[0]))

    @property
    def bow(self) -> float:
        """How far the edges' middles lie off their chords, over the depth, + toward the tip."""
        middle = 0.5 * (self.tip + self.root)
        up = 0.5 * (self.tip[0] + self.tip[-1] - self.root[0] - self.root[-1])
        off = middle[len(middle) // 2] - 0.5 * (middle[0] + middle[-1])
        return float(off @ up / max(float(up @ up), 1e-9))


def resampled(edge: Points, count: int) -> Points:
    """An edge at `count` equal steps of the lengthwise coordinate, (count, 2)."""
    return _along(np.asarray(edge, float), np.linspace(0.0, 1.0, count))


def _along(edge: Points, lengthwise: NDArray[np.float64]) -> Points:
    """Points of an edge at lengthwise positions; goes on straight beyond its ends."""
    share = np.asarray(lengthwise, float) * (len(edge) - 1)
    index = np.clip(np.floor(share).astype(int), 0, len(edge) - 2)
    part = (share - index)[..., None]
    return np.asarray(edge[index] + part * (edge[index + 1] - edge[index]))


def bowed_edge(start: Points, end: Points, bow_px: Points, count: int = 33) -> Points:
    """A parabola from toe to heel whose middle lies `bow_px` (2,) off the chord, (count, 2) px."""
    share = np.linspace(0.0, 1.0, count)[:, None]
    return start + share * (end - start) + 4.0 * share * (1.0 - share) * bow_px
