"""Teeth of one photo help each other, on drawn ring gears."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pattern.records import ToothSide
from pattern.teeth.row import follow_corrected
from tests.drawn import Drawn, drawn_gear


def _sides(drawn: Drawn, shift_px: float, seed: int = 3) -> list[ToothSide]:
    """The drawn teeth with corners off at random, edges carried along."""
    rng = np.random.default_rng(seed)
    share = np.linspace(0, 1, 33)[:, None]
    sides = []
    for tooth in drawn.teeth:
        off = rng.normal(scale=shift_px, size=(4, 2))
        tip = tooth.tip_edge + (1 - share) * off[0] + share * off[1]
        root = tooth.root_edge + (1 - share) * off[3] + share * off[2]
        corners = np.array([tip[0], tip[-1], root[-1], root[0]])
        sides.append(ToothSide(corners, tip, root, shift_px, 0.9))
    return sides


def test_one_corrected_tooth_moves_the_others_toward_the_truth() -> None:
    drawn = drawn_gear("drive", tilt_deg=(8.0, 40.0))
    true = _sides(drawn, 0.0)
    # found with a common fault: everything 8 px toward the tip
    up = true[0].corners[:2].mean(axis=0) - true[0].corners[2:].mean(axis=0)
    shift = 8.0 * up / np.linalg.norm(up)
    off = [
        replace(
            t, corners=t.corners + shift, tip_edge=t.tip_edge + shift, root_edge=t.root_edge + shift,
            corner_sd_px=4.0,
        )
        for t in true
    ]  # fmt: skip
    corrected = replace(true[0], corner_sd_px=1.0)
    moved = follow_corrected(drawn.photo, [corrected], off[1:], "drive", "right")
    before = np.mean(
        [
            np.linalg.norm(o.corners - t.corners, axis=1)
            for o, t in zip(off[1:], true[1:], strict=True)
        ]
    )
    after = np.mean(
        [
            np.linalg.norm(m.corners - t.corners, axis=1)
            for m, t in zip(moved, true[1:], strict=True)
        ]
    )
    assert before == pytest.approx(8.0)
    assert after < 0.75 * before


def test_without_a_correction_nothing_moves() -> None:
    drawn = drawn_gear("drive", tilt_deg=(8.0, 40.0))
    sides = _sides(drawn, 0.0)
    assert follow_corrected(drawn.photo, [], sides, "drive", "right") == tuple(sides)
