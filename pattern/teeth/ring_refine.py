"""Settle the ring gear on what a closer look says of its painted teeth."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pattern.teeth.fields import PixelFields
from pattern.teeth.rectify import sampled
from pattern.teeth.ring_fit import RingView, Sighting, joined, solve_ring

Floats = NDArray[np.float64]
_ALONG, _UP = np.linspace(0.08, 0.92, 11), np.linspace(0.15, 0.85, 5)
_ALIKE = 2.5
_LINE = np.linspace(0.08, 0.92, 12)
_REACHES = (0.0, 0.4, 0.2)
_LEAST_EDGE = 0.22
_TIP_SD, _ROOT_SD = 0.04, 0.10
"""Spread of a found edge as a share of the depth: the tip edge is seen sharply, the root edge lies in
a fillet and is often behind the next tooth (set on drawn and rendered teeth)."""


def settle_ring(
    view: RingView, look: PixelFields, numbers: Sequence[int], kept: Sighting
) -> RingView:
    """The view after its painted teeth were settled on the look's coordinates and edges.

    `kept` is what the view was found from; `numbers` are the painted teeth. First the coordinates
    are read off where the view has the teeth, then the long edges are sought, averaged over all of
    them, within less and less of the depth.
    """
    size = (round(2 * view.centre[0]) + 1, round(2 * view.centre[1]) + 1)
    for reach in _REACHES:
        parts = [kept, *(c for c in [_cells_on(view, look, numbers)] if c is not None)]
        if reach:
            parts += _edges_on(view, look, numbers, reach)
        rough = reach != _REACHES[-1]
        moved = solve_ring(
            joined(parts), view.side, view.hand, size, start=view.state, robust=True, roughly=rough
        )
        if moved is None:
            return view
        view = moved
    return view


def _cells_on(view: RingView, look: PixelFields, numbers: Sequence[int]) -> Sighting | None:
    """The look's coordinates where the view has these teeth, as far as it sees the side there."""
    grid_l, grid_p = (g.ravel() for g in np.meshgrid(_ALONG, _UP))
    teeth = np.array(numbers, float)[:, None]
    xy = view.project(teeth, grid_l[None], grid_p[None])
    side, lengthwise, profile, lengthwise_sd, profile_sd = (
        sampled(values, look, xy)
        for values in (
            look.side,
            look.lengthwise,
            look.profile,
            look.lengthwise_sd,
            look.profile_sd,
        )
    )
    use = side > 0.3
    use[use.sum(axis=1) < 6] = False
    if not use.any():
        return None
    sd = np.stack([lengthwise_sd, profile_sd], axis=-1)[use]
    spread = np.maximum(sd, 0.02) * _ALIKE / np.sqrt(side[use, None])
    inverse = np.linalg.pinv(_to_px(view, teeth[:, 0]))
    on = np.broadcast_to(np.arange(len(teeth))[:, None], use.shape)[use]
    return Sighting(
        xy=xy[use],
        tooth=teeth[on, 0],
        place=np.stack([lengthwise, profile], axis=-1)[use],
        whiten=inverse[on] / spread[:, :, None],
    )


def _edges_on(
    view: RingView, look: PixelFields, numbers: Sequence[int], reach: float
) -> list[Sighting]:
    """Tip and root edges where the look's outlines, averaged over these teeth, are strongest."""
    found = []
    teeth = np.array(numbers, float)[:, None, None]
    offsets = np.linspace(-reach, reach, 33)
    grid_l, grid_o = (g[None] for g in np.meshgrid(_LINE, offsets))
    for profile, sd in ((1.0, _TIP_SD), (0.0, _ROOT_SD)):
        edge = sampled(look.edge, look, view.project(teeth, grid_l, profile + grid_o))
        strength = edge.mean(axis=(0, 2))
        best = int((strength - 0.15 * (offsets / reach) ** 2).argmax())
        if strength[best] < _LEAST_EDGE or best in (0, len(offsets) - 1):
            continue
        found.append(_lines_sighting(view, teeth[:, 0, 0], profile, float(offsets[best]), sd))
    return found


def _lines_sighting(
    view: RingView, teeth: Floats, profile: float, offset: float, sd: float
) -> Sighting:
    """Points along the teeth's edges, found `offset` depths off where the view has them."""
    held = np.full(len(_LINE), profile)
    xy = view.project(teeth[:, None], _LINE[None], held[None] + offset)
    inverse = np.linalg.pinv(_to_px(view, teeth))
    # only the distance across the edge is known
    across = np.array([[0.0, 0.0], [0.0, 1.0]]) @ inverse / (sd * np.sqrt(len(_LINE)))
    return Sighting(
        xy=xy.reshape(-1, 2),
        tooth=np.repeat(teeth, len(_LINE)),
        place=np.tile(np.stack([_LINE, held], axis=1), (len(teeth), 1)),
        whiten=np.repeat(across, len(_LINE), axis=0),
    )


def _to_px(view: RingView, teeth: Floats) -> Floats:
    """(n, 2, 2) pixels per unit of tooth coordinates at the teeth's middles."""
    at_l, at_p = np.array([0.4, 0.6, 0.5, 0.5]), np.array([0.5, 0.5, 0.3, 0.7])
    xy = view.project(teeth[:, None], at_l[None], at_p[None])
    along, up = (xy[:, 1] - xy[:, 0]) / 0.2, (xy[:, 3] - xy[:, 2]) / 0.4
    return np.stack([along, up], axis=2)
