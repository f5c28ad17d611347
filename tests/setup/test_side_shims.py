"""Side shims and side adjusters against a published worked example."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pattern.errors import InvalidAxle
from pattern.setup.side_shims import learn_notch, notch_from_thread, notches_for, side_shims_for

moves = st.floats(-0.02, 0.02)


def test_the_published_worked_example_for_backlash() -> None:
    # TM 9-2320-289-34 p. 6-19 Table 6-1: ring side 0.250, opposite 0.265, moved 0.010 in for backlash
    found = side_shims_for(+0.010, "left", 0.250, 0.265)
    assert (found.left_in, found.right_in) == (pytest.approx(0.240), pytest.approx(0.275))


def test_the_published_worked_example_with_preload() -> None:
    # TM 9-2320-289-34 p. 6-19 Table 6-1: then +0.004 in on each side, 0.244 and 0.279 in
    # (6.198 and 7.087 mm, 1 in = 25.4 mm)
    found = side_shims_for(+0.010, "left", 0.250, 0.265, preload_change_in=0.008)
    assert (found.left_in, found.right_in) == (pytest.approx(0.244), pytest.approx(0.279))
    assert found.left_in is not None
    assert found.right_in is not None
    assert found.left_in * 25.4 == pytest.approx(6.198, abs=5e-4)
    assert found.right_in * 25.4 == pytest.approx(7.087, abs=5e-4)


def test_too_much_backlash_thickens_the_ring_gear_side() -> None:
    # TM 9-2320-289-34 p. 6-22: backlash above its limit, increase the ring gear side shim and
    # decrease the other equally; below its limit the reverse
    closer = side_shims_for(-0.003, "left", 0.250, 0.265)
    assert closer.left_change_in == pytest.approx(+0.003)
    assert closer.right_change_in == pytest.approx(-0.003)
    away = side_shims_for(+0.003, "right", 0.265, 0.250)
    assert away.right_change_in == pytest.approx(-0.003)
    assert away.left_change_in == pytest.approx(+0.003)


@given(moves, st.sampled_from(["left", "right"]))
def test_a_move_alone_keeps_the_sum(move: float, side: str) -> None:
    # the sum of the side shims is the case preload: TM 9-2320-289-34 p. 6-22
    found = side_shims_for(move, side, 0.250, 0.265)  # type: ignore[arg-type]
    assert found.left_in is not None
    assert found.right_in is not None
    assert found.left_in + found.right_in == pytest.approx(0.515, abs=1e-6)


@given(moves)
def test_swapping_the_ring_gear_side_swaps_the_shims(move: float) -> None:
    left, right = side_shims_for(move, "left"), side_shims_for(move, "right")
    assert left.left_change_in == right.right_change_in
    assert left.right_change_in == right.left_change_in


def test_unknown_shims_give_changes_only() -> None:
    found = side_shims_for(0.004, "left", None, 0.265)
    assert found.left_in is None
    assert found.right_in == pytest.approx(0.269)


# --- threaded side adjusters: common practice, no source -----------------------------------------


def test_equal_notches_move_the_ring_gear_and_keep_the_preload() -> None:
    found = notches_for(+0.0062, 0.003, "left")
    assert (found.left, found.right) == (-2, +2)
    assert found.ring_move_in == pytest.approx(0.006)
    assert found.preload_change_in == 0.0
    assert notches_for(+0.0062, 0.003, "right").right == -2


def test_preload_notches_are_counted_in_the_move_they_make() -> None:
    found = notches_for(0.006, 0.003, "left", preload_notches=2)
    assert (found.left, found.right) == (-2, +4)
    assert found.preload_change_in == pytest.approx(0.006)
    assert found.ring_move_in == pytest.approx(0.009)


@given(moves, st.floats(0.0005, 0.01), st.sampled_from(["left", "right"]))
def test_the_notches_are_the_nearest_whole_ones(move: float, notch: float, side: str) -> None:
    found = notches_for(move, notch, side)  # type: ignore[arg-type]
    assert abs(found.ring_move_in - move) <= notch / 2 + 1e-12
    assert found.left == -found.right


def test_a_notch_from_the_thread() -> None:
    # pitch over notches: a 16-a-turn adjuster on a 1/16 in pitch thread
    assert notch_from_thread(1 / 16, 16) == pytest.approx(0.00390625)


def test_a_notch_learnt_from_moves() -> None:
    learnt = learn_notch([(2, 0.0061), (-1, -0.0029), (3, 0.0090)])
    assert learnt.notch_in == pytest.approx(0.0030, abs=5e-5)
    # one standard deviation: 0.0005 / sqrt(4 + 1 + 9)
    assert learnt.notch_sd_in == pytest.approx(0.0005 / math.sqrt(14))


@pytest.mark.parametrize(
    ("call", "field"),
    [
        (lambda: side_shims_for(0.010, "left", 0.005, 0.265), "left_shim_in"),
        (lambda: side_shims_for(4.0, "left", 0.250, 0.265), "ring_move_in"),
        (lambda: side_shims_for(math.nan, "left"), "ring_move_in"),
        (lambda: side_shims_for(0.0, "left", preload_change_in=0.5), "preload_change_in"),
        (lambda: notches_for(0.004, 0.0, "left"), "notch_in"),
        (lambda: notches_for(math.nan, 0.003, "left"), "ring_move_in"),
        (lambda: notch_from_thread(0.0, 16), "pitch_in"),
        (lambda: notch_from_thread(0.0625, 0), "notches_a_turn"),
        (lambda: learn_notch([]), "moves"),
        (lambda: learn_notch([(2, -0.006)]), "moves"),
        (lambda: learn_notch([(2, math.nan)]), "moves"),
    ],
)
def test_impossible_moves_name_the_field(call: object, field: str) -> None:
    with pytest.raises(InvalidAxle) as caught:
        call()  # type: ignore[operator]
    assert caught.value.subject == field
    assert caught.value.remedy
