"""Sets drawn from the trade's own table answer as the trade says, keep to the tooth and are all their own."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from pattern.synthetic.closed_loop import SCENARIOS, drawn_job, main, run_job
from pattern.synthetic.controllers import knows_the_set
from pattern.synthetic.drawn_sets import System, off_edges
from pattern.synthetic.row_sets import RowSet

SYSTEMS: tuple[System, System] = ("tapered", "uniform")
COUNT = 80
HELD = 0.45  # of ring gear holds the backlash for one of pinion (common practice, no source)
TOE, HEEL, TIP, ROOT = 0, 1, 2, 3
DRIVE, COAST = 0, 4

# every position of a net of 0.0075 in within 0.015 in
PINION, RING = (at.ravel() for at in np.meshgrid(*2 * [np.arange(-15.0, 15.1, 7.5)]))


def drawn(system: System, count: int = COUNT) -> list[RowSet]:
    return [RowSet(system, np.random.default_rng([5, seed])) for seed in range(count)]


def moves(system: System, pinion: float, ring: float) -> NDArray[np.float64]:
    """How far each set's centres go on a move from the nominal place, (COUNT, 4)."""
    pair = np.array([0.0, pinion]), np.array([0.0, ring])
    return np.array([np.subtract(*one.survey(*pair)[0][::-1]) for one in drawn(system)])


def off_share(system: System, pinion: float, ring: float) -> NDArray[np.float64]:
    """Share of the sets whose marks run off each of the eight edges."""
    return np.mean([one.runs_off(pinion, ring) for one in drawn(system)], axis=0)


def test_a_deeper_pinion_takes_tapered_marks_to_the_flank_drive_to_the_toe_coast_to_the_heel() -> (
    None
):
    # TM 9-2320-266-34 para 19-5c: a thicker shim lowers the high heel contact of the drive side and
    # moves it toward the toe; too far out, the coast side is high on the toe
    drive_along, drive_up, coast_along, coast_up = np.mean(moves("tapered", 4.0, 4 * HELD), axis=0)
    assert drive_along < -0.02 and drive_up < -0.02
    assert coast_along > 0.02 and coast_up < -0.02


def test_a_deeper_pinion_takes_uniform_marks_to_the_other_ends_and_still_to_the_flank() -> None:
    # TM 5-3805-260-24 p. 3-244: a pinion too near shows at the heel ends of convex and the toe ends of
    # concave faces; to the flank, though weakly: common practice, no source
    drive_along, drive_up, coast_along, coast_up = np.mean(moves("uniform", 4.0, 4 * HELD), axis=0)
    assert drive_along > 0.02 and coast_along < -0.02
    assert drive_up < -0.01 and coast_up < -0.01


@pytest.mark.parametrize("system", SYSTEMS)
def test_a_ring_gear_moved_away_takes_the_drive_mark_to_the_heel_and_both_up(
    system: System,
) -> None:
    # TM 10-3930-660-34 p. 9-29: increase backlash to move the contact toward the heel (drive side);
    # toward the tip, and little lengthwise on the coast side: common practice, no source
    drive_along, drive_up, coast_along, coast_up = np.mean(moves(system, 0.0, 5.0), axis=0)
    assert drive_along > 0.03
    assert drive_up > 0.01 and coast_up > 0.01
    assert abs(coast_along) < drive_along / 2


@pytest.mark.parametrize("system", SYSTEMS)
def test_backlash_grows_with_the_ring_gear_away_and_falls_with_the_pinion_deeper(
    system: System,
) -> None:
    # 0.7 of a ring gear move shows as backlash, about 0.3 of a pinion move with the mark at mid-depth
    # (common practice, no source): within 10 % and 15 %
    at = np.array([0.0, 0.0, 10.0]), np.array([0.0, 10.0, 0.0])
    backlash = np.array([one.survey(*at)[1] for one in drawn(system)])
    ring, pinion = (backlash[:, k] - backlash[:, 0] for k in (1, 2))
    assert np.all((ring > 6.3) & (ring < 7.7))
    assert np.all((pinion < -2.55) & (pinion > -3.45))
    assert np.ptp(ring) > 0.7 and np.ptp(pinion) > 0.4


@pytest.mark.parametrize("system", SYSTEMS)
def test_marks_stay_on_the_tooth_wherever_the_members_stand(system: System) -> None:
    for one in drawn(system, 20):
        centres, _ = one.survey(PINION, RING)
        for centre, *at in zip(centres, PINION, RING, strict=True):
            drive, coast = one.marks(*at)
            seen = np.array([drive.lengthwise, drive.profile, coast.lengthwise, coast.profile])
            half = np.array([drive.length, drive.width, coast.length, coast.width]) / 2
            assert np.array_equal(seen, centre)
            assert np.all(half > 0.0)
            assert np.all(seen - half > 0.0) and np.all(seen + half < 1.0)


@pytest.mark.parametrize("system", SYSTEMS)
def test_marks_grow_in_some_sets_and_shrink_in_others(system: System) -> None:
    # pinion a little off either way: far enough to show, not so far that an edge cuts the mark
    lengths = np.array(
        [[one.marks(p, HELD * p)[0].length for p in (-4.0, 4.0)] for one in drawn(system)]
    )
    grown = lengths[:, 1] / lengths[:, 0]
    assert np.mean(grown > 1.01) > 0.2 and np.mean(grown < 0.99) > 0.2


@pytest.mark.parametrize("system", SYSTEMS)
def test_marks_are_meant_to_lie_near_mid_tooth_a_little_to_the_toe(system: System) -> None:
    designs = np.array([one.design for one in drawn(system)])
    assert np.all(np.abs(designs - 0.5) <= 0.06)
    # an unloaded mark slightly to the toe is right, load moves it to the heel (common practice, no
    # source)
    assert 0.44 < designs[..., 0].mean() < 0.49
    assert abs(designs[..., 1].mean() - 0.5) < 0.01


def test_tapered_marks_run_off_where_the_manual_looks_for_them() -> None:
    # TM 9-2320-266-34 para 19-5c: a pinion too far out shows high on the heel of the drive side and
    # high on the toe of the coast side; too deep is the opposite
    out, deep = (off_share("tapered", p, HELD * p) for p in (-15.0, 15.0))
    for edge in (DRIVE + HEEL, DRIVE + TIP, COAST + TOE, COAST + TIP):
        assert out[edge] > 0.1 and deep[edge] == 0.0
    for edge in (DRIVE + TOE, DRIVE + ROOT, COAST + HEEL, COAST + ROOT):
        assert deep[edge] > 0.1 and out[edge] == 0.0


@pytest.mark.parametrize("system", SYSTEMS)
def test_no_mark_is_meant_to_run_off_so_one_that_does_is_told_of(system: System) -> None:
    sets = drawn(system)
    assert not np.any([one.meant_to_run_off() for one in sets])
    assert not np.any([one.runs_off(0.0, 0.0) for one in sets])
    assert all(off_edges(one, (0.0, 0.0)) for one in sets)
    assert sum(not off_edges(one, (-15.0, -15 * HELD)) for one in sets) > COUNT / 2


@pytest.mark.parametrize("system", SYSTEMS)
def test_a_mark_is_said_to_run_off_just_the_edges_it_is_seen_to_end_at(system: System) -> None:
    # the 5 to 95 % extents are 0.85 of a mark from end to end
    seen_off = 0
    for one in drawn(system, 20):
        for at in zip(PINION, RING, strict=True):
            drive, coast = one.marks(*at)
            for off, mark in zip(one.runs_off(*at).reshape(2, 4), (drive, coast), strict=True):
                left = [
                    mark.lengthwise - mark.length / 1.7, 1 - mark.lengthwise - mark.length / 1.7,
                    1 - mark.profile - mark.width / 1.7, mark.profile - mark.width / 1.7,
                ]  # fmt: skip
                assert np.array_equal(off, np.array(left) < 1e-9)
                seen_off += int(off.sum())
    assert seen_off > 100


@pytest.mark.parametrize("system", SYSTEMS)
def test_a_seed_draws_the_same_set_again(system: System) -> None:
    one, again = (RowSet(system, np.random.default_rng(3)) for _ in range(2))
    assert np.array_equal(one.design, again.design)
    for mine, its in zip(one.survey(PINION, RING), again.survey(PINION, RING), strict=True):
        assert np.array_equal(mine, its)
    assert one.marks(3.0, -2.0) == again.marks(3.0, -2.0)


@pytest.mark.parametrize("system", SYSTEMS)
def test_two_sets_share_nothing(system: System) -> None:
    rng = np.random.default_rng(3)
    one, other = RowSet(system, rng), RowSet(system, rng)
    assert np.all(one.design != other.design)
    centres, backlash = one.survey(PINION, RING)
    its_centres, its_backlash = other.survey(PINION, RING)
    answers, its_answers = (c - c[len(c) // 2] for c in (centres, its_centres))
    gone = np.abs(PINION) + np.abs(RING) > 0
    assert np.mean(answers[gone] != its_answers[gone]) > 0.99
    assert np.all(backlash != its_backlash)
    # nor is anything of one to be spoilt through the other
    other.design[:] = 0.0
    assert np.array_equal(one.survey(PINION, RING)[0], centres)
    assert np.array_equal(RowSet(system, np.random.default_rng(3)).survey(PINION, RING)[0], centres)


def test_the_closed_loop_brings_them_right_for_one_who_knows_them() -> None:
    scenario = next(s for s in SCENARIOS if s.name == "half and half, not told")
    runs = [
        run_job(drawn_job(RowSet, scenario, i, seed=3), scenario, knows_the_set) for i in range(4)
    ]
    assert all(run.done for run in runs)


@pytest.mark.parametrize(
    ("make", "named"), [("row", ["row"]), ("all", ["linear", "contact", "row"])]
)
def test_the_benchmark_offers_them(
    make: str, named: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    main(["--make", make, "--sets", "1", "--scenario", "no such row"])
    heads = [line for line in capsys.readouterr().out.splitlines() if "sets of the" in line]
    assert [head.split()[-2] for head in heads] == named
