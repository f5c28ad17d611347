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
    found = experience(known, gather(known, rolls))
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


def test_chances_fade_far_away() -> None:
    found = says(axle(), NEAR)
    for now_too in (False, True):
        assert found.right(NET, now_too=now_too).max() > 0.2
        assert found.right(np.array([[60.0, -60.0]]), now_too=now_too)[0] < 1e-3


def test_the_jobs_own_rolls_teach_it_how_far_this_set_answers() -> None:
    # 0.004 in of pinion took the marks up by 0.08 of the depth in one job and by 0.24 in the other; they lie in
    # the same place now, and what is left to go wants a longer move where the set answers less
    now = roll((0.53, 0.64), (0.42, 0.64), pinion_move_in=0.004, ring_move_in=0.002)
    slow, quick = roll((0.56, 0.72), (0.39, 0.72)), roll((0.60, 0.88), (0.36, 0.88))
    assert best(says(axle(), slow, now))[0] > best(says(axle(), quick, now))[0] > 0


def test_of_a_long_job_it_reads_the_last_rolls() -> None:
    # a job's begin, far away, is forgotten: what counts is where the set stood in the last eight rolls
    far_off = roll((0.75, 0.85), (0.25, 0.85))
    moved = [
        roll(
            (0.58 - 0.01 * t, 0.62 - 0.01 * t),
            (0.42, 0.60 - 0.01 * t),
            pinion_move_in=0.001,
            ring_move_in=0.0,
        )
        for t in range(8)
    ]
    long, short = says(axle(), far_off, far_off, *moved), says(axle(), *moved)
    assert np.allclose(long.right(NET), short.right(NET), atol=1e-9)
    assert not np.allclose(
        says(axle(), far_off, *moved[-3:]).right(NET), long.right(NET), atol=1e-3
    )


def test_a_larger_ring_gear_takes_a_longer_move() -> None:
    # the same move is a smaller share of a larger tooth
    marks = roll((0.60, 0.68), (0.36, 0.68))
    small, large = (
        says(
            replace(axle(), ring_diameter_in=size),
            marks,
            replace(NEAR, pinion_move_in=d, ring_move_in=0.0),
        )
        for size, d in ((7.0, 0.004), (11.5, 0.004))
    )
    first = [best(says(replace(axle(), ring_diameter_in=size), marks))[0] for size in (7.0, 11.5)]
    assert first[1] > first[0] > 0
    assert not np.allclose(small.bumps, large.bumps)


def test_extents_count_only_where_all_are_told() -> None:
    # its jobs had both extents of every mark or none; half of them would look like an odd mark
    whole = roll((0.60, 0.68), (0.36, 0.68))
    assert whole.drive is not None and whole.coast is not None
    long = replace(
        whole, drive=replace(whole.drive, length=0.6), coast=replace(whole.coast, length=0.6)
    )
    assert np.array_equal(says(axle(), long).bumps, says(axle(), whole).bumps)
    told = [replace(reading, length=0.6, width=0.7) for reading in (whole.drive, whole.coast)]
    assert not np.allclose(
        says(axle(), replace(whole, drive=told[0], coast=told[1])).bumps, says(axle(), whole).bumps
    )


def test_what_was_never_told_in_training_changes_nothing() -> None:
    told = replace(axle(), face_width_in=1.40, spiral_angle_deg=36.0)
    assert np.array_equal(says(told, NEAR).bumps, says(axle(), NEAR).bumps)


@pytest.mark.parametrize(
    "known",
    [
        axle(backlash_min_in=0.001, backlash_max_in=0.003),
        axle(backlash_min_in=0.004, backlash_max_in=0.014),
        replace(axle(), ring_diameter_in=20.0),
        axle(condition="used", target=(mark(0.30, 0.40), mark(0.62, 0.42))),
        axle(condition="used", target=(mark(0.46, 0.5, profile_sd=0.3), mark(0.48, 0.5))),
    ],
    ids=[
        "narrow limits",
        "wide limits",
        "a size never seen",
        "an as-found pattern far from the middle",
        "a vague one",
    ],
)
def test_it_says_nothing_of_jobs_unlike_its_own(known: Axle) -> None:
    assert experience(known, gather(known, [NEAR])) is None


def test_it_says_nothing_where_the_roll_leaves_out_what_its_jobs_had() -> None:
    known = axle()
    blind = replace(NEAR, backlash_in=None)
    noisy = replace(NEAR, drive=replace(mark(0.5, 0.5), profile_sd=0.1))
    bound = replace(NEAR, backlash_in=0.0)
    for last in (blind, noisy, bound):
        assert not serves(known, gather(known, [last]))
    unsure = axle(depth_shim="unknown")
    moved = [NEAR, replace(NEAR, pinion_move_in=0.003, ring_move_in=0.0)]
    assert not serves(unsure, gather(unsure, moved))
    assert serves(known, gather(known, moved))
    leap = [NEAR, replace(NEAR, pinion_move_in=0.0, ring_move_in=0.060)]
    assert not serves(known, gather(known, leap))
