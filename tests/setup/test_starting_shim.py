"""The starting depth shim against published tables; their signs contradict each other."""

from __future__ import annotations

import math

import pytest

from pattern.errors import InvalidAxle
from pattern.setup.starting_shim import (
    StartingShim,
    mark_table,
    read_mark,
    shim_from_depth,
    starting_shim,
    usual_convention,
)

MARKS = range(-4, 5)

# TM 9-2320-280-34 p. 19-12: rows old mark +4 ... -4, columns new mark -4 ... +4, thousandths.
OLD_MINUS_NEW = {
    +4: [8, 7, 6, 5, 4, 3, 2, 1, 0],
    +3: [7, 6, 5, 4, 3, 2, 1, 0, -1],
    +2: [6, 5, 4, 3, 2, 1, 0, -1, -2],
    +1: [5, 4, 3, 2, 1, 0, -1, -2, -3],
    0: [4, 3, 2, 1, 0, -1, -2, -3, -4],
    -1: [3, 2, 1, 0, -1, -2, -3, -4, -5],
    -2: [2, 1, 0, -1, -2, -3, -4, -5, -6],
    -3: [1, 0, -1, -2, -3, -4, -5, -6, -7],
    -4: [0, -1, -2, -3, -4, -5, -6, -7, -8],
}


def change(convention: str, old: int, new: int) -> float:
    (found,) = starting_shim(convention, new / 1000, old_mark_in=old / 1000)  # type: ignore[arg-type]
    assert found.change_in is not None
    return found.change_in


@pytest.mark.parametrize("old", MARKS)
def test_the_old_minus_new_table_entire(old: int) -> None:
    # TM 9-2320-280-34 p. 19-12, 9 x 9 table
    table = mark_table("old_minus_new")
    assert len(table) == 81
    for new, thousandths in zip(MARKS, OLD_MINUS_NEW[old], strict=True):
        assert table[old, new] == pytest.approx(thousandths / 1000, abs=1e-9)
        assert change("old_minus_new", old, new) == pytest.approx(thousandths / 1000, abs=1e-9)


@pytest.mark.parametrize(
    ("old", "new", "expected_in"),
    [(-3, +2, -0.005), (+4, -4, +0.008), (-4, +4, -0.008), (0, 3, -0.003)],
)
def test_the_printed_old_minus_new_examples(old: int, new: int, expected_in: float) -> None:
    # TM 9-2320-280-34 p. 19-12 (old -3, new +2; both corners) and p. 1007 ("+3": .003 less shim).
    # Its "0.12 mm" for 0.005 in is cut off, 0.127 is meant, and is not used.
    assert change("old_minus_new", old, new) == pytest.approx(expected_in)


def test_the_end_rows_of_the_second_manual_with_that_sign() -> None:
    # TM 9-2320-266-34 p. 19-7 Table 19-1: row +4 runs 0 to +0.008, row -4 runs -0.008 to 0
    table = mark_table("old_minus_new")
    assert [table[4, new] for new in reversed(MARKS)] == pytest.approx([n / 1000 for n in range(9)])
    assert [table[-4, new] for new in reversed(MARKS)] == pytest.approx(
        [(n - 8) / 1000 for n in range(9)]
    )


def test_the_printed_new_minus_old_examples() -> None:
    # TM 5-3895-369-14 p. 5-409 Table 5-4, the opposite sign
    assert change("new_minus_old", +2, -1) == pytest.approx(-0.003)
    assert change("new_minus_old", +4, -4) == pytest.approx(-0.008)
    (found,) = starting_shim("new_minus_old", -0.001, old_mark_in=0.002, old_shim_in=0.030)
    assert found.shim_in == pytest.approx(0.027)


@pytest.mark.parametrize("old", MARKS)
@pytest.mark.parametrize("new", MARKS)
def test_new_minus_old_goes_by_way_of_the_standard_pack(old: int, new: int) -> None:
    # TM 5-3810-306-34 p. 8-28 and TM 5-3805-262-34 p. 4-230:
    # standard pack = old pack - old mark, new pack = standard pack + new mark
    old_pack_in = 0.035
    standard_pack_in = old_pack_in - old / 1000
    (found,) = starting_shim(
        "new_minus_old", new / 1000, old_mark_in=old / 1000, old_shim_in=old_pack_in
    )
    assert found.shim_in == pytest.approx(standard_pack_in + new / 1000)


@pytest.mark.parametrize(("gauge", "mark", "shim"), [(0.019, 0.002, 0.021), (0.031, -0.003, 0.028)])
def test_the_gauge_convention_adds_the_mark(gauge: float, mark: float, shim: float) -> None:
    # TM 9-2320-289-34 p. 6-37 (its "0.057 mm" for 0.002 in is a misprint and is not used)
    (found,) = starting_shim("gauge_plus_mark", mark, gauge_in=gauge)
    assert found == StartingShim("gauge_plus_mark", None, pytest.approx(shim))  # type: ignore[arg-type]


def test_the_gauge_example_in_millimetres() -> None:
    # TM 9-2320-289-34 p. 6-37: 0.787 - 0.076 = 0.711 mm
    (found,) = starting_shim("gauge_plus_mark", read_mark("-0.076", "mm"), gauge_in=0.787 / 25.4)
    assert found.shim_in is not None
    assert found.shim_in * 25.4 == pytest.approx(0.711, abs=5e-4)


def test_an_unknown_convention_gives_both_signs_by_name() -> None:
    found = starting_shim("unknown", 0.002, old_mark_in=-0.003, old_shim_in=0.030)
    assert {shim.convention: shim.shim_in for shim in found} == {
        "old_minus_new": pytest.approx(0.025),
        "new_minus_old": pytest.approx(0.035),
    }


@pytest.mark.parametrize(
    ("text", "unit", "expected_in"),
    [
        # TM 5-3810-306-34 p. 8-28: "+3" is 0.003 in and "+.03" is 0.03 mm
        ("+3", None, 0.003),
        ("+.03", None, 0.03 / 25.4),
        ("-2", None, -0.002),
        ("−2", None, -0.002),
        (" + 1 ", None, 0.001),
        ("0", None, 0.0),
        ("-3", "hundredths_mm", -0.03 / 25.4),
        ("1.5", "thousandths_in", 0.0015),
    ],
)
def test_a_mark_is_read_in_its_unit(text: str, unit: str | None, expected_in: float) -> None:
    assert read_mark(text, unit) == pytest.approx(expected_in)  # type: ignore[arg-type]


@pytest.mark.parametrize("text", ["", "+", "A3", "+1.5", "+.003", "105", "2.437", "1e3", "nan"])
def test_a_mark_that_could_mean_two_things_is_refused(text: str) -> None:
    with pytest.raises(InvalidAxle) as caught:
        read_mark(text)
    assert caught.value.subject == "mark"
    assert caught.value.remedy


def test_the_physical_reading_links_location_and_convention() -> None:
    # "+" asks for a larger mounting distance; thicker under the head is deeper, under a cartridge
    # shallower (common practice, no source): a pinion marked +1 more than the old must sit farther out
    assert usual_convention("pinion_head") == "old_minus_new"
    assert usual_convention("cartridge") == "new_minus_old"
    assert usual_convention("unknown") is None
    for location in ("pinion_head", "cartridge"):
        convention = usual_convention(location)  # type: ignore[arg-type]
        assert convention is not None
        (farther_out,) = shim_from_depth(2.000, 2.001, location)  # type: ignore[arg-type]
        assert change(convention, 0, 1) == pytest.approx(farther_out.change_in)


def test_a_pinion_measured_too_shallow_comes_in() -> None:
    # gauge geometry: measured 0.004 in farther from the ring gear's axis than wanted
    (head,) = shim_from_depth(2.504, 2.500, "pinion_head", 0.030)
    (cartridge,) = shim_from_depth(2.504, 2.500, "cartridge", 0.030)
    assert head.thickness_in == pytest.approx(0.034)
    assert cartridge.thickness_in == pytest.approx(0.026)


@pytest.mark.parametrize(
    ("call", "field"),
    [
        (lambda: starting_shim("old_minus_new", 0.002), "old_mark"),
        (lambda: starting_shim("gauge_plus_mark", 0.002), "gauge_in"),
        (lambda: starting_shim("gauge_plus_mark", 0.002, gauge_in=math.nan), "gauge_in"),
        (lambda: starting_shim("middle", 0.0, old_mark_in=0.0), "convention"),  # type: ignore[arg-type]
        (lambda: starting_shim("old_minus_new", 3.0, old_mark_in=0.0), "new_mark"),
        (lambda: starting_shim("old_minus_new", 0.0, old_mark_in=math.nan), "old_mark"),
        (
            lambda: starting_shim("old_minus_new", 0.004, old_mark_in=0.0, old_shim_in=0.002),
            "old_shim_in",
        ),
        (lambda: shim_from_depth(2.9, 2.5, "pinion_head"), "measured_in"),
        (lambda: shim_from_depth(2.5, math.inf, "pinion_head"), "wanted_in"),
    ],
)
def test_what_is_missing_or_impossible_is_named(call: object, field: str) -> None:
    with pytest.raises(InvalidAxle) as caught:
        call()  # type: ignore[operator]
    assert caught.value.subject == field
    assert caught.value.remedy
