"""Marks and backlash that a set with given parameters would show: the model behind the estimate.

Fast and vectorised over draws. A mark is the part on the tooth of an interval about its centre in
each direction. Where the centre lies beyond an edge, teeth touch at that edge and the mark reaches
in as far as the gap stays under the film: r**2 = half**2 + beyond**2 for a parabolic gap.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pattern.advice.response import BACKLASH, BEND, DIRECTION, GAIN, HALF, HOUSING

Array = NDArray[np.float64]

RIGHT = np.array([0.05, 0.06, 0.05, 0.06])
"""A set is right with every row this near to the place it is meant for."""
GOOD_ENOUGH = np.array([0.10, 0.12, 0.10, 0.12])
"""A pattern this near is accepted."""

EXTENT_SHARE = 0.85
"""5 to 95 % extent over the full extent of a mark between a rectangle (0.90) and an ellipse (0.81)."""


def centres(response: Array, design: Array, pinion_thou: Array, ring_thou: Array) -> Array:
    """Uncut centres, (..., 4), from response parameters (..., 27), design (..., 4), positions (...)."""
    direction = response[..., DIRECTION].reshape((*response.shape[:-1], 4, 2))
    shift = np.exp(response[..., GAIN]) * (
        direction[..., 0] * pinion_thou[..., None] + direction[..., 1] * ring_thou[..., None]
    )
    # beyond a full tooth the parabola would turn back: hold its slope positive
    bent = shift * (1.0 + np.clip(response[..., BEND] * shift, -0.4, 0.4))
    return np.asarray(design + response[..., HOUSING] + bent)


def cut(centre: Array, half: Array) -> tuple[Array, Array]:
    """Seen centre and full extent of a mark cut by the tooth's edges, shapes broadcast."""
    beyond = np.maximum(np.maximum(-centre, centre - 1.0), 0.0)
    reach = np.sqrt(half**2 + beyond**2)
    low = np.clip(centre - reach, 0.0, 1.0)
    high = np.clip(centre + reach, 0.0, 1.0)
    # a mark that shrinks to nothing at an edge keeps a sliver, so that its place stays defined
    return 0.5 * (low + high), np.maximum(high - low, 1e-3)


def seen(response: Array, centre: Array) -> tuple[Array, Array]:
    """Seen centres and 5 to 95 % extents, each (..., 4), for uncut centres (..., 4)."""
    place, extent = cut(centre, np.exp(response[..., HALF]))
    return place, EXTENT_SHARE * extent


def backlash_thou(response: Array, pinion_thou: Array, ring_thou: Array) -> Array:
    """Backlash in thousandths, (...): more with the ring gear away, less with the pinion deeper."""
    slots = response[..., BACKLASH]
    return np.asarray(
        slots[..., 0] + np.exp(slots[..., 1]) * ring_thou - np.exp(slots[..., 2]) * pinion_thou
    )
