"""What a network trained on drawn jobs says of a move: the trade's ways, and silence where it has seen nothing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pattern.advice.evidence import gather
from pattern.advice.experience import Experience, experience, serves
from pattern.records import Axle, Roll
from tests.advice.cases import axle, mark, roll

STEPS = np.arange(-18.0, 19.0)
NET = np.stack(np.meshgrid(STEPS, STEPS, indexing="ij"), axis=-1).reshape(-1, 2)
NEAR = roll((0.48, 0.53), (0.46, 0.52))


def says(known: Axle, *rolls: Roll) -> Experience:
    found = experience(known, rolls, gather(known, rolls))
    assert found is not None
    return found


def best(found: Experience) -> np.ndarray:
    return np.asarray(NET[np.argmax(found.right(NET))])


# a deeper pinion takes tapered-depth marks to the flank, the drive mark to the toe, the coast mark to the
# heel (TM 9-2320-266-34 para 19-5c); so such marks ask for a shallower one, and the mirrored ones for a deeper
@pytest.mark.parametrize(
    ("drive", "coast", "sign"),
    [((0.36, 0.34), (0.60, 0.34), -1), ((0.60, 0.68), (0.36, 0.68), +1)],
)
def test_the_pinion_goes_the_trades_way(
    drive: tuple[float, float], coast: tuple[float, float], sign: int
) -> None:
    found = says(axle(tooth_system="tapered"), roll(drive, coast))
    assert np.sign(best(found)[0]) == sign
    deep, shallow = found.clear
    assert (deep < 0.02 < shallow) if sign > 0 else (shallow < 0.02 < deep)


def test_too_much_backlash_brings_the_ring_gear_nearer() -> None:
    # less backlash with the ring gear toward the pinion: common practice, no source
    wide = roll((0.52, 0.56), (0.46, 0.55), 0.013)
    assert best(says(axle(), wide))[1] < 0


def test_a_set_that_looks_right_has_its_best_chance_near_where_it_stands() -> None:
    found = says(axle(), NEAR, replace(NEAR, pinion_move_in=0.0, ring_move_in=0.0))
    assert found.right(np.zeros((1, 2)), now_too=True)[0] > 0.4
    assert np.abs(best(found)).max() <= 4.0


def test_chances_are_chances_and_fade_far_away() -> None:
    found = says(axle(), NEAR)
    for now_too in (False, True):
        chance = found.right(NET, now_too=now_too)
        assert np.all((chance >= 0.0) & (chance <= 1.0))
        assert found.right(np.array([[60.0, -60.0]]), now_too=now_too)[0] < 1e-3


def test_the_jobs_own_rolls_teach_it_how_far_this_set_answers() -> None:
    # 0.004 in of pinion took the marks up by 0.08 of the depth in one job and by 0.24 in the other; they lie in
    # the same place now, and what is left to go wants a longer move where the set answers less
    now = roll((0.53, 0.64), (0.42, 0.64), pinion_move_in=0.004, ring_move_in=0.002)
    slow, quick = roll((0.56, 0.72), (0.39, 0.72)), roll((0.60, 0.88), (0.36, 0.88))
    assert best(says(axle(), slow, now))[0] > best(says(axle(), quick, now))[0] > 0


def test_more_rolls_than_it_reads_are_no_matter() -> None:
    again = replace(NEAR, pinion_move_in=0.0, ring_move_in=0.001)
    says(axle(), NEAR, *[again] * 12)


@pytest.mark.parametrize(
    "known",
    [
        axle(backlash_min_in=0.001, backlash_max_in=0.003),
        axle(backlash_min_in=0.004, backlash_max_in=0.014),
        replace(axle(), ring_diameter_in=20.0),
        axle(condition="used", target=(mark(0.30, 0.40), mark(0.62, 0.42))),
    ],
    ids=[
        "narrow limits",
        "wide limits",
        "a size never seen",
        "an as-found pattern far from the middle",
    ],
)
def test_it_says_nothing_of_jobs_unlike_its_own(known: Axle) -> None:
    assert experience(known, [NEAR], gather(known, [NEAR])) is None


def test_it_says_nothing_where_the_roll_leaves_out_what_its_jobs_had() -> None:
    known = axle()
    blind = replace(NEAR, backlash_in=None)
    noisy = replace(NEAR, drive=replace(mark(0.5, 0.5), profile_sd=0.1))
    bound = replace(NEAR, backlash_in=0.0)
    for last in (blind, noisy, bound):
        assert not serves(known, [last], gather(known, [last]))
    unsure = axle(depth_shim="unknown")
    moved = [NEAR, replace(NEAR, pinion_move_in=0.003, ring_move_in=0.0)]
    assert not serves(unsure, moved, gather(unsure, moved))
    assert serves(known, moved, gather(known, moved))
