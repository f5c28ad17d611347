"""The contact mark on a tooth side: its shape in tooth coordinates and its centroid.

Lengthwise runs from 0 at the toe to 1 at the heel, profile from 0 at the root end of the side to 1 at
the tip. In a field over a side (rows, columns) row 0 is the root and column 0 the toe.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pattern.synthetic.second.arrays import Array, Rng, noise

OFF_CENTRE = 0.13
"""A mark at least so far from the middle, one way or the other, counts as off centre."""

_KINDS = {
    "oval": ((0.18, 0.30), (0.24, 0.38)),
    "long": ((0.28, 0.40), (0.22, 0.36)),
    "short": ((0.12, 0.18), (0.22, 0.38)),
    "thin": ((0.22, 0.36), (0.13, 0.19)),
    "big": ((0.34, 0.45), (0.36, 0.46)),
}
"""Half length over the face width and half width over the side's height."""
_ODDS = [0.4, 0.22, 0.18, 0.1, 0.1]


@dataclass(frozen=True)
class Mark:
    """A mark as the rolling leaves it, before its irregular edge."""

    lengthwise: float
    profile: float
    half_length: float
    half_width: float
    squareness: float
    """Exponent of its outline: 2 for an ellipse, more for a fuller shape."""
    bias_deg: float
    egg: float
    """How much wider it is toward the heel."""
    softness: float
    raggedness: float
    film: float
    """Compound left inside the mark."""
    rim: float
    """Pushed-out compound about the mark."""
    rim_width: float
    rim_towards_rad: float

    def varied(self, rng: Rng) -> Mark:
        """The same mark on another tooth of the gear."""
        return replace(
            self,
            lengthwise=self.lengthwise + rng.normal(0, 0.015),
            profile=self.profile + rng.normal(0, 0.015),
            half_length=float(self.half_length * np.exp(rng.normal(0, 0.05))),
            half_width=float(self.half_width * np.exp(rng.normal(0, 0.05))),
            rim_towards_rad=self.rim_towards_rad + rng.normal(0, 0.3),
        )


def drawn_mark(rng: Rng, off_centre: bool) -> Mark:
    """A mark about the middle of the side, or anywhere on it."""
    kind = str(rng.choice(list(_KINDS), p=_ODDS))
    lengths, widths = _KINDS[kind]
    shape = {
        "half_length": rng.uniform(*lengths),
        "half_width": rng.uniform(*widths),
        "squareness": rng.uniform(1.8, 2.9),
        "bias_deg": float(
            rng.choice([0, 1], p=[0.55, 0.45]) * rng.normal(0, 16) + rng.normal(0, 3)
        ),
        "egg": rng.normal(0, 0.22),
        "softness": rng.uniform(0.05, 0.28),
        "raggedness": rng.uniform(0.05, 0.16),
        "film": float(rng.choice([0.02, 0.1, 0.25], p=[0.4, 0.35, 0.25]) * rng.uniform(0.5, 1.4)),
        "rim": rng.uniform(0, 1.3),
        "rim_width": rng.uniform(0.06, 0.18),
        "rim_towards_rad": rng.uniform(0, 6.28),
    }
    if off_centre:
        lengthwise = float(np.clip(rng.uniform(0.10, 0.90), 0.12, 0.88))
        return Mark(lengthwise=lengthwise, profile=rng.uniform(0.08, 0.92), **shape)
    return Mark(lengthwise=rng.uniform(0.39, 0.61), profile=rng.uniform(0.39, 0.61), **shape)


def placed_mark(rng: Rng, off_centre: bool, side_shape: float) -> Mark:
    """A mark whose visible part, cut by the edges of the side, is off centre or not as wished."""
    for _ in range(60):
        mark = drawn_mark(rng, off_centre)
        smooth = replace(mark, raggedness=0)
        centre = centroid(mark_field(np.random.default_rng(1), smooth, 60, 150, side_shape)[0])
        if centre is not None:
            away = max(abs(centre[0] - 0.5), abs(centre[1] - 0.5))
            if (away > OFF_CENTRE) == off_centre:
                break
    return mark


def mark_field(
    rng: Rng, mark: Mark, height: int, width: int, side_shape: float
) -> tuple[Array, Array]:
    """Distance (height, width), below 1 inside the mark, and direction from its middle.

    `side_shape` is the length of the side over its height.
    """
    x = ((np.arange(width, dtype=np.float32) + 0.5)[None] / width - mark.lengthwise) * side_shape
    y = (np.arange(height, dtype=np.float32) + 0.5)[:, None] / height - mark.profile
    turn = np.radians(mark.bias_deg)
    cosine, sine = float(np.cos(turn)), float(np.sin(turn))
    along = (x * cosine + y * sine) / (mark.half_length * side_shape)
    across = (-x * sine + y * cosine) / mark.half_width
    across = across * (1 + mark.egg * np.clip(along, -1, 1))
    power = mark.squareness
    distance = (np.abs(along) ** power + np.abs(across) ** power) ** (1 / power)
    direction = np.arctan2(across, along)
    distance = distance + mark.raggedness * noise(rng, height, width, 7, 4, 4)
    distance = distance + 0.05 * mark.raggedness * np.sin(3 * direction)
    return distance.astype(np.float32), direction


def centroid(distance: Array) -> tuple[float, float] | None:
    """Lengthwise and profile place of the middle of a mark's area; None where hardly any is left."""
    inside = distance < 1
    if inside.sum() < 20:
        return None
    height, width = distance.shape
    rows, columns = np.nonzero(inside)
    return float((columns.mean() + 0.5) / width), float((rows.mean() + 0.5) / height)
