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
    for reach in (0.0, 0.4, 0.2):
        parts = [kept, *(c for c in [_cells_on(view, look, numbers)] if c is not None)]
        if reach:
            parts += _edges_on(view, look, numbers, reach)
        moved = solve_ring(joined(parts), view.side, view.hand, size, start=view.state, robust=True)
        if moved is None:
            return view
        view = moved
    return view


def _cells_on(view: RingView, look: PixelFields, numbers: Sequence[int]) -> Sighting | None:
    """The look's coordinates where the view has these teeth, as far as it sees the side there."""
    parts = []
    grid_l, grid_p = (g.ravel() for g in np.meshgrid(_ALONG, _UP))
    for number in numbers:
        xy = view.project(float(number), grid_l, grid_p)
        side = sampled(look.side, look, xy)
        place = np.stack(
            [sampled(look.lengthwise, look, xy), sampled(look.profile, look, xy)], axis=1
        )
        sd = np.stack(
            [sampled(look.lengthwise_sd, look, xy), sampled(look.profile_sd, look, xy)], axis=1
        )
        use = side > 0.3
        if use.sum() < 6:
            continue
        inverse = np.linalg.pinv(_to_px(view, number))
        spread = np.maximum(sd[use], 0.02) * _ALIKE / np.sqrt(side[use, None])
        parts.append(
            Sighting(
                xy=xy[use],
                tooth=np.full(int(use.sum()), float(number)),
                place=place[use],
                whiten=inverse / spread[:, :, None],
            )
        )
    return joined(parts) if parts else None


def _edges_on(
    view: RingView, look: PixelFields, numbers: Sequence[int], reach: float
) -> list[Sighting]:
    """Tip and root edges where the look's outlines, averaged over these teeth, are strongest."""
    found = []
    for profile, sd in ((1.0, _TIP_SD), (0.0, _ROOT_SD)):
        offsets = np.linspace(-reach, reach, 33)
        grid_l, grid_o = np.meshgrid(_LINE, offsets)
        strengths = [
            sampled(look.edge, look, view.project(float(n), grid_l, profile + grid_o)).mean(axis=1)
            for n in numbers
        ]
        strength = np.mean(strengths, axis=0)
        best = int((strength - 0.15 * (offsets / reach) ** 2).argmax())
        if strength[best] < _LEAST_EDGE or best in (0, len(offsets) - 1):
            continue
        found += [_line_sighting(view, n, profile, float(offsets[best]), sd) for n in numbers]
    return found


def _line_sighting(
    view: RingView, number: int, profile: float, offset: float, sd: float
) -> Sighting:
    """Points along an edge that was found `offset` depths off where the view has it."""
    held = np.full(len(_LINE), profile)
    xy = view.project(float(number), _LINE, held + offset)
    inverse = np.linalg.pinv(_to_px(view, number))
    # only the distance across the edge is known
    across = np.array([[0.0, 0.0], [0.0, 1.0]]) @ inverse / (sd * np.sqrt(len(_LINE)))
    return Sighting(
        xy=xy,
        tooth=np.full(len(_LINE), float(number)),
        place=np.stack([_LINE, held], axis=1),
        whiten=np.broadcast_to(across, (len(_LINE), 2, 2)).copy(),
    )


def _to_px(view: RingView, number: int) -> Floats:
    """(2, 2) pixels per unit of tooth coordinates at a tooth's middle."""
    at_l, at_p = np.array([0.4, 0.6, 0.5, 0.5]), np.array([0.5, 0.5, 0.3, 0.7])
    a, b, c, d = view.project(float(number), at_l, at_p)
    return np.stack([(b - a) / 0.2, (d - c) / 0.4], axis=1)
