"""Tooth counts behind a stamped ratio."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pattern.errors import InvalidAxle
from pattern.setup.ratio import (
    PINION_TEETH,
    RING_TEETH,
    ToothCounts,
    check_counts,
    check_ratio,
    counts_for_ratio,
)


@pytest.mark.parametrize(
    ("stamped", "ring", "pinion"),
    # the ratios of the trade and their counts: common practice, no source
    [
        ("3.73", 41, 11), ("4.10", 41, 10), ("4.11", 37, 9), ("3.42", 41, 12),
        ("3.58", 43, 12), ("4.09", 45, 11), ("3.55", 39, 11), ("3.07", 43, 14),
    ],
)  # fmt: skip
def test_a_trade_ratio_leads_to_the_usual_counts_first(
    stamped: str, ring: int, pinion: int
) -> None:
    assert counts_for_ratio(stamped)[0] == ToothCounts(ring, pinion)
    assert counts_for_ratio(float(stamped))[0] == ToothCounts(ring, pinion)


@pytest.mark.parametrize(
    ("ring", "pinion", "ratio"),
    # z2/z1 = 39/14, 42/13, 34/9, 49/12 with u as tabulated: ISO 23509:2016 Annex F.2 and F.4, F.5
    [(39, 14, 2.786), (34, 9, 3.778), (49, 12, 4.083)],
)
def test_the_ratio_is_ring_gear_over_pinion(ring: int, pinion: int, ratio: float) -> None:
    assert ToothCounts(ring, pinion).ratio == pytest.approx(ratio, abs=5e-4)


@given(st.sampled_from(RING_TEETH), st.sampled_from(PINION_TEETH))
def test_every_count_is_among_those_its_rounded_ratio_offers(ring: int, pinion: int) -> None:
    if ring / pinion <= 1.01:
        return
    offered = counts_for_ratio(f"{ring / pinion:.2f}")
    assert ToothCounts(ring, pinion) in offered
    assert all(
        round(c.ratio, 2) == pytest.approx(round(ring / pinion, 2), abs=0.0101) for c in offered
    )


def test_a_ratio_is_read_to_two_decimals_even_where_the_last_is_a_nought() -> None:
    # 4.1 typed for 4.10 (41/10, common practice, no source) does not open the door to 4.06 or 4.14
    assert counts_for_ratio(4.1) == counts_for_ratio("4.10") == counts_for_ratio("4.1")
    assert all(abs(counts.ratio - 4.10) <= 0.005 for counts in counts_for_ratio("4.1"))


def test_hunting_sets_come_before_sets_whose_teeth_meet_again_early() -> None:
    offered = counts_for_ratio("4.00")
    assert offered[0].ratio == pytest.approx(4.0, abs=0.005)
    factors = [counts.common_factor for counts in offered]
    assert factors == sorted(factors, key=lambda factor: factor > 1)


def test_turns_to_repeat_is_found_by_turning() -> None:
    for ring, pinion in [(41, 11), (40, 10), (42, 12), (45, 9)]:
        turns = 1
        while (turns * ring) % pinion:
            turns += 1
        assert ToothCounts(ring, pinion).turns_to_repeat == turns


def test_usual_counts_need_no_remark() -> None:
    assert check_counts(41, 11) == ()


def test_counts_that_share_a_factor_and_odd_counts_are_remarked() -> None:
    assert "factor 10" in check_counts(40, 10)[0]
    assert "count again" in check_counts(97, 11)[0]
    assert "9.83" in check_counts(59, 6)[0]


@pytest.mark.parametrize(
    ("ring", "pinion", "field"),
    [
        (11, 41, "pinion_teeth"),
        (0, 11, "ring_teeth"),
        (41, -1, "pinion_teeth"),
        (True, 1, "ring_teeth"),
    ],
)
def test_swapped_or_impossible_counts_name_the_field(ring: int, pinion: int, field: str) -> None:
    with pytest.raises(InvalidAxle) as caught:
        check_counts(ring, pinion)
    assert caught.value.subject == field


@pytest.mark.parametrize("stamped", ["", "three", "0", "-3.73", "1", math.nan, math.inf, "1e999"])
def test_what_is_no_ratio_is_refused(stamped: str | float) -> None:
    with pytest.raises(InvalidAxle) as caught:
        counts_for_ratio(stamped)
    assert caught.value.subject == "ratio"


def test_a_ratio_no_usual_counts_make_says_count_the_teeth() -> None:
    with pytest.raises(InvalidAxle, match="Count the teeth"):
        counts_for_ratio("12.34")


def test_counts_that_do_not_make_the_stamped_ratio_are_refused() -> None:
    check_ratio("3.73", 41, 11)
    with pytest.raises(InvalidAxle, match=r"41/10 is 4\.100"):
        check_ratio("3.73", 41, 10)
