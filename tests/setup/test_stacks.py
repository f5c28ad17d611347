"""Shim stacks: nearest with fewest pieces, checked against trying every combination."""

from __future__ import annotations

import json
import math
from itertools import product
from pathlib import Path
from time import perf_counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pattern.errors import InvalidAxle, WouldOverwrite
from pattern.setup.kits import starter_kit
from pattern.setup.stack_search import nearest_counts, nearest_pair
from pattern.setup.stacks import ShimKit, ShimSize, depth_shim_for, load_kit, save_kit

Drawer = list[tuple[int, int]]

drawers = st.lists(
    st.tuples(st.integers(1, 23), st.integers(0, 3)),
    min_size=1,
    max_size=4,
    unique_by=lambda s: s[0],
)


def every_use(drawer: Drawer) -> list[tuple[int, ...]]:
    return list(product(*(range(count + 1) for _, count in drawer)))


def total(drawer: Drawer, used: tuple[int, ...]) -> int:
    return sum(number * size for number, (size, _) in zip(used, drawer, strict=True))


@settings(max_examples=300)
@given(drawers, st.integers(0, 150).map(lambda n: n / 2))
def test_one_stack_is_the_best_of_all_combinations(drawer: Drawer, wanted: float) -> None:
    sizes, counts = [s for s, _ in drawer], [c for _, c in drawer]
    used = nearest_counts(sizes, counts, wanted)
    assert all(0 <= number <= stock for number, stock in zip(used, counts, strict=True))
    best = min((abs(total(drawer, u) - wanted), sum(u)) for u in every_use(drawer))
    assert (abs(total(drawer, used) - wanted), sum(used)) == best


small_drawers = st.lists(
    st.tuples(st.integers(1, 13), st.integers(0, 2)),
    min_size=1,
    max_size=3,
    unique_by=lambda s: s[0],
)
wants = st.integers(0, 60).map(lambda n: n / 2)


def pair_cost(
    drawer: Drawer, left: tuple[int, ...], right: tuple[int, ...], wanted: tuple[float, float]
) -> tuple[float, float, int]:
    error_left, error_right = total(drawer, left) - wanted[0], total(drawer, right) - wanted[1]
    lost_sum = abs(error_left + error_right)
    return lost_sum + abs(error_right - error_left) / 2, lost_sum, sum(left) + sum(right)


@settings(max_examples=300, deadline=None)
@given(small_drawers, wants, wants)
def test_two_stacks_from_one_stock_are_the_best_of_all_divisions(
    drawer: Drawer, left_wanted: float, right_wanted: float
) -> None:
    sizes, counts = [s for s, _ in drawer], [c for _, c in drawer]
    wanted = (left_wanted, right_wanted)
    left, right = nearest_pair(sizes, counts, wanted)
    assert all(0 <= a + b <= c for a, b, c in zip(left, right, counts, strict=True))
    best = min(
        pair_cost(drawer, a, b, wanted)
        for a in every_use(drawer)
        for b in every_use(drawer)
        if all(x + y <= c for x, y, c in zip(a, b, counts, strict=True))
    )
    assert pair_cost(drawer, left, right, wanted) == pytest.approx(best)


def inch_kit(*lines: tuple[float, int | None]) -> ShimKit:
    drawer = tuple(ShimSize(thickness, count) for thickness, count in lines)
    return ShimKit("bench", "in", drawer, drawer)


def test_a_stack_by_hand() -> None:
    stack = inch_kit((0.003, 4), (0.005, 4), (0.010, 2)).depth_stack(0.031)
    assert stack.pieces_in == (0.010, 0.010, 0.005, 0.003, 0.003)
    assert stack.error_in == pytest.approx(0.0, abs=1e-9)


def test_as_many_as_needed() -> None:
    stack = inch_kit((0.003, None), (0.010, None)).depth_stack(0.046)
    assert stack.pieces_in == (0.010, 0.010, 0.010, 0.010, 0.003, 0.003)


def test_a_stack_beyond_the_stock_says_how_far_it_falls_short() -> None:
    stack = inch_kit((0.003, 2), (0.010, 1)).depth_stack(0.030)
    assert stack.pieces_in == (0.010, 0.003, 0.003)
    assert stack.error_in == pytest.approx(-0.014)


def test_metric_sizes_are_exact_in_millimetres() -> None:
    # 1 in = 25.4 mm exactly: NIST SP 811 App. B
    kit = ShimKit("bench", "mm", (ShimSize(0.05, 3), ShimSize(0.12, 2), ShimSize(0.30, 2)))
    stack = kit.depth_stack(0.77 / 25.4)
    assert sum(piece * 25.4 for piece in stack.pieces_in) == pytest.approx(0.77, abs=1e-5)
    assert abs(stack.error_in) < 1e-6
    assert len(stack.pieces_in) == 4


def test_measured_sizes_off_any_round_step_still_work() -> None:
    kit = inch_kit((0.00315, 3), (0.01023, 2), (0.0301, 1))
    assert kit.depth_stack(0.0401).pieces_in == (0.0301, 0.01023)
    left, right = kit.side_stacks(0.0301, 0.0102)
    assert (left.pieces_in, right.pieces_in) == ((0.0301,), (0.01023,))


def test_a_piece_is_not_put_in_on_both_sides() -> None:
    left, right = inch_kit((0.100, 1), (0.060, 1), (0.040, 1)).side_stacks(0.100, 0.100)
    assert sorted([left.pieces_in, right.pieces_in]) == [(0.060, 0.040), (0.100,)]


def test_the_sum_of_the_side_stacks_is_kept_before_their_pieces_are_few() -> None:
    left, right = inch_kit((0.100, 2), (0.001, 3), (0.002, 1), (0.005, 1)).side_stacks(0.104, 0.101)
    assert left.total_in + right.total_in == pytest.approx(0.205)
    assert left.total_in == pytest.approx(0.104)


@given(
    st.integers(0, 12).map(lambda n: n / 1000),
    st.sampled_from(["in", "mm"]),
)
def test_the_starter_kits_keep_the_preload_whatever_the_ring_gear_move(
    move: float, unit: str
) -> None:
    kit = starter_kit(unit)  # type: ignore[arg-type]
    left, right = kit.side_stacks(0.250 - move, 0.265 + move)
    step_in = 0.0005 if unit == "in" else 0.01 / 25.4
    assert abs(left.total_in + right.total_in - 0.515) <= step_in
    assert abs(left.error_in) <= step_in
    assert abs(right.error_in) <= step_in


def test_thicknesses_lists_what_can_be_laid_and_nothing_else() -> None:
    kit = inch_kit((0.003, 2), (0.010, 1))
    assert kit.thicknesses("depth", 0.0, 0.016) == (0.0, 0.003, 0.006, 0.010, 0.013, 0.016)
    assert kit.thicknesses("depth", 0.004, 0.0129) == (0.006, 0.010)


def test_pieces_out_of_the_axle_can_go_in_again() -> None:
    kit = inch_kit((0.003, 1)).with_pieces("depth", (0.030, 0.003, 0.030))
    assert kit.depth_stack(0.066).pieces_in == (0.030, 0.030, 0.003, 0.003)
    assert inch_kit((0.003, None)).with_pieces("side", (0.003,)).side[0].count is None


def test_a_stack_is_found_quickly_at_full_size() -> None:
    kit = starter_kit("in")
    start = perf_counter()
    for step in range(10):
        kit.side_stacks(0.240 + step * 0.0013, 0.275 - step * 0.0013)
    assert (perf_counter() - start) / 10 < 0.5


# --- both locations of the depth shim -----------------------------------------------------------


def test_under_the_head_thicker_is_deeper() -> None:
    # common practice; TM 9-2320-266-34 para 19-5c thickens the pack behind the rear pinion bearing
    # cup to bring in a pinion that is too far out
    (shim,) = depth_shim_for(+0.004, "pinion_head", 0.030)
    assert (shim.change_in, shim.thickness_in) == (pytest.approx(0.004), pytest.approx(0.034))


def test_under_a_cartridge_thicker_is_shallower() -> None:
    # TM 5-3810-300-24&P2 p. 4-255: pinion too far out, remove shims under the pinion cage;
    # too deep, add shims
    (deeper,) = depth_shim_for(+0.004, "cartridge", 0.030)
    (shallower,) = depth_shim_for(-0.004, "cartridge", 0.030)
    assert deeper.thickness_in == pytest.approx(0.026)
    assert shallower.thickness_in == pytest.approx(0.034)


def test_an_unknown_location_is_never_guessed() -> None:
    both = depth_shim_for(+0.004, "unknown", 0.030)
    assert {shim.location: shim.change_in for shim in both} == {
        "pinion_head": pytest.approx(0.004),
        "cartridge": pytest.approx(-0.004),
    }


def test_without_the_present_shim_only_the_change_is_given() -> None:
    assert depth_shim_for(0.004, "pinion_head")[0].thickness_in is None


# --- kits as files --------------------------------------------------------------------------------

sizes = st.lists(
    st.builds(
        ShimSize,
        st.integers(5, 3000).map(lambda n: n / 10_000),
        st.none() | st.integers(0, 20),
    ),
    max_size=6,
    unique_by=lambda size: size.thickness,
).map(tuple)


@given(st.builds(ShimKit, st.text(max_size=20), st.just("in"), sizes, sizes))
def test_a_kit_survives_json(kit: ShimKit) -> None:
    assert ShimKit.from_json(kit.to_json()) == kit


def test_a_kit_survives_a_file_and_is_not_written_over(tmp_path: Path) -> None:
    file = tmp_path / "kit.json"
    save_kit(starter_kit("mm"), file)
    assert load_kit(file) == starter_kit("mm")
    with pytest.raises(WouldOverwrite):
        save_kit(starter_kit("in"), file)
    assert load_kit(file) == starter_kit("mm")
    save_kit(starter_kit("in"), file, overwrite=True)
    assert load_kit(file) == starter_kit("in")


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"unit": "cm"}, "unit"),
        ({"name": None}, "name"),
        ({"depth": [{"thickness": -0.003}]}, "depth.0.thickness"),
        ({"depth": [{"thickness": 3.0}]}, "depth.0.thickness"),
        ({"depth": [{"thickness": "thin"}]}, "depth.0.thickness"),
        ({"side": [{"thickness": 0.003, "count": -1}]}, "side.0.count"),
        ({"side": [{"thickness": 0.003, "number": 2}]}, "side.0.number"),
        ({"side": [{"count": 2}]}, "side.0.thickness"),
        ({"depth": [{"thickness": 0.003}, {"thickness": 0.003}]}, "depth"),
        ({"colour": "red"}, "colour"),
    ],
)
def test_a_kit_that_cannot_be_names_the_field(change: dict[str, object], field: str) -> None:
    good = {"name": "bench", "unit": "in", "depth": [{"thickness": 0.003, "count": 2}]}
    with pytest.raises(InvalidAxle) as caught:
        ShimKit.from_json(json.dumps(good | change), "kit.json")
    assert field in caught.value.subject
    assert caught.value.remedy


@pytest.mark.parametrize("text", ["", "{", "[]", "null", '{"name": 1e999}'])
def test_text_that_is_no_kit_is_refused_with_its_name(text: str) -> None:
    with pytest.raises(InvalidAxle, match=r"kit\.json"):
        ShimKit.from_json(text, "kit.json")


def test_a_missing_kit_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(InvalidAxle, match=r"gone\.json"):
        load_kit(tmp_path / "gone.json")


@pytest.mark.parametrize(
    ("call", "field"),
    [
        (lambda: inch_kit((0.003, 2)).depth_stack(math.nan), "depth_shim_in"),
        (lambda: inch_kit((0.003, 2)).depth_stack(-0.001), "depth_shim_in"),
        (lambda: inch_kit((0.003, 2)).side_stacks(0.1, math.inf), "right_shim_in"),
        (lambda: inch_kit((0.003, 0)).depth_stack(0.003), "depth"),
        (lambda: ShimKit("empty", "in").side_stacks(0.1, 0.1), "side"),
        (lambda: depth_shim_for(0.005, "cartridge", 0.002), "depth_shim_in"),
        (lambda: inch_kit((math.nan, 1)), "thickness"),
    ],
)
def test_impossible_thicknesses_name_the_field(call: object, field: str) -> None:
    with pytest.raises(InvalidAxle) as caught:
        call()  # type: ignore[operator]
    assert field in caught.value.subject
    assert caught.value.remedy
