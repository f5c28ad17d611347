"""A photo taken a little otherwise says the same, within twice its spread, or is declined.

`python -m tests.hard.stress` measures all samples; `pytest -m slow tests/hard/test_stress.py -s` holds
it to its limits.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.hard.stress import (
    Change,
    Outcome,
    changed,
    draw_change,
    outcome,
    read,
    report,
    samples,
    stress,
)

FEW = ("cedar_coast", "maple_drive", "willow_drive")
NOTHING = Change(0.0, 1.0, (0.0, 0.0, 0.0, 0.0), 1.0, 1.0, 0.0, 0.0, 95)


def test_outlines_given_hold_under_harmless_changes() -> None:
    chosen = [sample for sample in samples() if sample.name in FEW]
    outcomes, base = stress(chosen, 2, outlined=True, seed=7)
    assert base == len(chosen)
    assert sum(o.status == "read" for o in outcomes) >= 0.7 * len(outcomes)
    for one in outcomes:
        assert not one.turned, one
        assert one.moves is None or max(one.moves) < 2.0, one


def test_a_change_moves_the_outline_with_the_picture() -> None:
    sample = next(s for s in samples() if s.name == "cedar_coast")
    same, outlines = changed(sample, NOTHING, 0)
    assert np.allclose(outlines, sample.outlines)
    assert np.abs(same.pixels.astype(int) - sample.photo.pixels).mean() < 3
    turned, outlines = changed(sample, replace(NOTHING, turn_deg=9.0, scale=0.9), 0)
    again = read(sample, turned, outlines)
    plain = read(sample, sample.photo, sample.outlines)
    assert again.lengthwise == pytest.approx(plain.lengthwise, abs=0.02)
    shifted = [[[x + 40, y] for x, y in outline] for outline in outlines]
    off = read(sample, turned, shifted)
    moved = off.status == "declined" or abs((off.lengthwise or 0) - (plain.lengthwise or 0)) > 0.02
    assert moved, "the measure sees an outline that does not lie on its tooth"


def test_the_other_direction_is_seen() -> None:
    sample = next(iter(samples()))
    before = replace(read(sample, sample.photo, sample.outlines), lengthwise=0.7, profile=0.5)
    after = replace(before, lengthwise=0.45, lengthwise_sd=0.05)
    assert outcome(sample, before, after) == Outcome(
        sample.name, "read", (pytest.approx(5), 0), True
    )
    assert "pointing the other way: 1" in report([outcome(sample, before, after)], 1, 1, "made")


def test_changes_are_drawn_inside_what_is_harmless() -> None:
    chance = np.random.default_rng(0)
    for _ in range(200):
        change = draw_change(chance)
        assert abs(change.turn_deg) <= 12 and 0.75 <= change.scale <= 1.25
        assert max(change.cut) <= 0.06 and change.quality >= 70


@pytest.mark.slow
@pytest.mark.timeout(7200)
@pytest.mark.parametrize("outlined", [True, False], ids=["outlines given", "found"])
def test_every_sample_through_thirty_changes(outlined: bool) -> None:
    chosen = list(samples())
    outcomes, base = stress(chosen, 30, outlined=outlined)
    print(report(outcomes, base, len(chosen), "outlines given" if outlined else "found"))
    read_again = [o for o in outcomes if o.moves is not None]
    assert not any(o.turned for o in read_again)
    assert sum(max(o.moves or (0, 0)) > 2.0 for o in read_again) <= 0.05 * len(read_again)
