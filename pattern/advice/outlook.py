"""What the next roll should show, with its spread."""

from __future__ import annotations

import numpy as np

from pattern.advice.choose import Belief, Choice, offsets
from pattern.advice.marks import EXTENT_SHARE, centres, cut
from pattern.advice.response import HALF
from pattern.records import Expected, SideReading


def expected(belief: Belief, move: Choice | None) -> Expected:
    """Marks and backlash after `move` (None: as the set stands), means and standard deviations."""
    made = np.array([[0.0, 0.0] if move is None else [move.pinion_thou, move.ring_thou]])
    off, backlash = offsets(belief, made)
    shown = off[:, 0] + belief.design
    _, extent = cut(
        centres(
            belief.response, belief.design, belief.pinion_thou + made[0, 0],
            belief.ring_thou + made[0, 1],
        ),
        np.exp(belief.response[:, HALF]),
    )  # fmt: skip
    sides = [
        SideReading(
            lengthwise=float(shown[:, 2 * s].mean()),
            profile=float(shown[:, 2 * s + 1].mean()),
            lengthwise_sd=max(float(shown[:, 2 * s].std()), 1e-3),
            profile_sd=max(float(shown[:, 2 * s + 1].std()), 1e-3),
            length=float(EXTENT_SHARE * extent[:, 2 * s].mean()),
            width=float(EXTENT_SHARE * extent[:, 2 * s + 1].mean()),
        )
        for s in range(2)
    ]
    return Expected(
        sides[0],
        sides[1],
        max(float(backlash.mean()), 0.0) / 1000.0,
        max(float(backlash.std()), 0.05) / 1000.0,
    )
