"""Backlash around the ring gear: runout, scatter and the maker's limits."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pattern.errors import InvalidAxle
from pattern.setup.backlash import BacklashAround, backlash_around, check_backlash, mean_window


def eccentric(count: int, mean: float, amplitude: float, high_at_deg: float) -> list[float]:
    places = 2 * np.pi * np.arange(count) / count
    return list(mean + amplitude * np.cos(places - math.radians(high_at_deg)))


@given(
    count=st.integers(3, 12),
    mean=st.floats(0.005, 0.015),
    amplitude=st.floats(0.0002, 0.004),
    high_at_deg=st.floats(0.0, 359.9),
)
def test_a_pure_once_per_turn_wave_is_found_exactly(
    count: int, mean: float, amplitude: float, high_at_deg: float
) -> None:
    # c = mean, a = 2/N sum(y cos), b = 2/N sum(y sin), A = sqrt(a^2 + b^2): discrete Fourier sums
    readings = eccentric(count, mean, amplitude, high_at_deg)
    found = backlash_around(readings)
    places = 2 * np.pi * np.arange(count) / count
    a, b = (2 / count * np.sum(readings * wave) for wave in (np.cos(places), np.sin(places)))
    assert found.runout is not None
    assert found.mean_in == pytest.approx(mean, abs=1e-9)
    assert found.runout.amplitude_in == pytest.approx(amplitude, abs=1e-9)
    assert found.runout.amplitude_in == pytest.approx(math.hypot(a, b), abs=1e-9)
    turn = (found.runout.high_at_deg - high_at_deg + 180) % 360 - 180
    assert turn == pytest.approx(0.0, abs=1e-3)


def test_an_eccentricity_moves_the_dial_by_twice_its_size() -> None:
    # full indicator movement of a pure eccentricity e is 2e: ASME Y14.5-2018 (from memory)
    found = backlash_around(eccentric(8, 0.008, 0.001, 30.0))
    assert found.runout is not None
    assert found.runout.full_movement_in == pytest.approx(0.002)


@pytest.mark.parametrize("count", [3, 5, 8, 12])
def test_the_spread_of_the_amplitude_is_that_of_equal_places(count: int) -> None:
    # Var(a) = Var(b) = 2 s^2 / N for equally spaced places (mathematical), s the dial's own spread
    found = backlash_around(eccentric(count, 0.010, 0.002, 77.0), reading_sd_in=0.0005)
    assert found.runout is not None
    assert found.runout.amplitude_sd_in == pytest.approx(0.0005 * math.sqrt(2 / count))
    assert found.mean_sd_in == pytest.approx(0.0005 / math.sqrt(count))


def test_scatter_beyond_the_dials_own_widens_every_spread() -> None:
    quiet = backlash_around(eccentric(8, 0.010, 0.002, 77.0))
    jumpy = backlash_around([y + 0.001 * (-1) ** n for n, y in enumerate(quiet.readings_in)])
    assert quiet.runout is not None
    assert jumpy.runout is not None
    assert jumpy.runout.amplitude_in == pytest.approx(0.002)
    # the jumping is all that the fit leaves: 8 x 0.001^2 over 8 - 3 degrees of freedom
    assert jumpy.runout.scatter_sd_in == pytest.approx(0.001 * math.sqrt(8 / 5))
    assert jumpy.runout.amplitude_sd_in > 1.5 * quiet.runout.amplitude_sd_in
    assert jumpy.mean_sd_in > 1.5 * quiet.mean_sd_in
    assert jumpy.runout.noise_chance > quiet.runout.noise_chance


def test_places_unequally_far_apart_are_fitted_where_they_were_taken() -> None:
    places = [0.0, 40.0, 100.0, 170.0, 260.0]
    readings = [0.008 + 0.002 * math.cos(math.radians(p - 120.0)) for p in places]
    found = backlash_around(readings, places)
    assert found.runout is not None
    assert found.runout.amplitude_in == pytest.approx(0.002)
    assert found.runout.high_at_deg == pytest.approx(120.0)
    # taken as equally spaced, the same numbers would tell another story
    wrong = backlash_around(readings)
    assert wrong.runout is not None
    assert abs(wrong.runout.amplitude_in - 0.002) > 0.0001


@pytest.mark.parametrize("count", [4, 6, 8])
def test_the_stated_intervals_cover_the_truth(count: int) -> None:
    rng = np.random.default_rng(20 + count)
    noise, trials = 0.0005, 1500
    within_mean = within_amplitude = 0
    for _ in range(trials):
        amplitude = rng.uniform(0.0015, 0.004)
        truth = eccentric(count, 0.010, amplitude, rng.uniform(0, 360))
        found = backlash_around(list(np.abs(np.array(truth) + rng.normal(0, noise, count))))
        assert found.runout is not None
        within_mean += abs(found.mean_in - 0.010) <= 2 * found.mean_sd_in
        within_amplitude += (
            abs(found.runout.amplitude_in - amplitude) <= 2 * found.runout.amplitude_sd_in
        )
    assert 0.94 <= within_mean / trials <= 0.995
    assert 0.93 <= within_amplitude / trials <= 0.995


@pytest.mark.parametrize("count", [3, 4, 6, 8])
def test_scatter_alone_is_seldom_called_runout_and_real_runout_is_seen(count: int) -> None:
    rng = np.random.default_rng(40 + count)
    trials = 1500
    false_alarms = sum(
        _seen(backlash_around(list(0.010 + rng.normal(0, 0.0005, count)))) for _ in range(trials)
    )
    hits = sum(
        _seen(
            backlash_around(
                list(np.array(eccentric(count, 0.010, 0.003, 200.0)) + rng.normal(0, 0.0005, count))
            )
        )
        for _ in range(trials)
    )
    assert false_alarms / trials <= 0.065
    assert hits / trials >= 0.80


def _seen(around: BacklashAround) -> bool:
    assert around.runout is not None
    return around.runout.seen


@pytest.mark.parametrize(
    ("readings", "places"),
    [
        ([0.008], None),
        ([0.008, 0.010], None),
        ([0.008, 0.009, 0.010], [0.0, 0.0, 0.0]),
        ([0.008] * 4, [0, 180, 0, 180]),
    ],
)
def test_too_few_places_give_no_runout_rather_than_a_number(
    readings: list[float], places: list[float] | None
) -> None:
    found = backlash_around(readings, places)
    assert found.runout is None
    assert found.mean_in == pytest.approx(np.mean(readings))
    assert found.mean_sd_in > 0


def test_limits_apply_to_the_tightest_and_the_loosest_place() -> None:
    # makers apply the limit to the smallest reading: common practice, no source
    around = backlash_around([0.005, 0.007, 0.008, 0.0065])
    assert [f.code for f in check_backlash(around, 0.006, 0.010)] == ["too_tight"]
    around = backlash_around([0.009, 0.011, 0.010, 0.0095])
    assert [f.code for f in check_backlash(around, 0.006, 0.010)] == ["too_loose"]


def test_a_set_that_binds_at_one_place_is_not_to_be_rolled() -> None:
    findings = check_backlash(backlash_around([0.0, 0.001, 0.002, 0.001]), 0.006, 0.010)
    assert findings[0].code == "bound"
    assert "Do not roll" in findings[0].remedy
    assert "away from the pinion" in findings[0].remedy


@pytest.mark.parametrize(
    ("spread", "found"), [(0.002, False), (0.003, False), (0.0031, True), (0.005, True)]
)
def test_variation_is_held_against_its_limit(spread: float, found: bool) -> None:
    # at most about 0.003 in around the ring gear: common practice, no source
    around = backlash_around([0.007, 0.007 + spread, 0.007, 0.007 + spread])
    codes = [finding.code for finding in check_backlash(around, 0.006, 0.015)]
    assert codes == (["variation"] if found else [])


def test_variation_that_repeats_once_a_turn_points_at_the_case() -> None:
    once = check_backlash(backlash_around(eccentric(8, 0.010, 0.003, 0.0)), 0.005, 0.015)
    jumping = check_backlash(backlash_around([0.007, 0.013] * 4), 0.005, 0.015)
    assert "runout of the case" in once[0].remedy
    assert "runout of the case" not in jumping[0].remedy


def test_where_no_place_serves_the_ring_gear_is_not_moved() -> None:
    # 0.006 in of variation cannot fit between limits 0.004 in apart, wherever the ring gear sits
    findings = check_backlash(backlash_around([0.004, 0.010, 0.0075]), 0.006, 0.010)
    assert [finding.code for finding in findings] == ["too_tight", "variation"]
    assert "do not move the ring gear" in findings[0].remedy


def test_the_mean_window_keeps_every_place_inside() -> None:
    around = backlash_around([0.008, 0.009, 0.010, 0.009])
    window = mean_window(around, 0.006, 0.010)
    assert window == pytest.approx((0.007, 0.009))
    assert mean_window(backlash_around([0.004, 0.010, 0.006]), 0.006, 0.010) is None


@settings(max_examples=60)
@given(st.lists(st.floats(0.0, 0.1), min_size=1, max_size=12))
def test_any_readings_give_finite_numbers(readings: list[float]) -> None:
    found = backlash_around(readings)
    numbers = [found.mean_in, found.mean_sd_in, found.variation_in]
    if found.runout is not None:
        numbers += [found.runout.amplitude_in, found.runout.amplitude_sd_in]
        assert 0.0 <= found.runout.noise_chance <= 1.0
    assert all(math.isfinite(number) for number in numbers)
    check_backlash(found, 0.006, 0.010)


@pytest.mark.parametrize(
    ("call", "field", "says"),
    [
        (lambda: backlash_around([]), "readings_in", "three places"),
        (lambda: backlash_around([0.008, 8.0]), "readings_in", "thousandths"),
        (lambda: backlash_around([0.008, math.nan]), "readings_in", "reading 2"),
        (lambda: backlash_around([-0.001]), "readings_in", "reading 1"),
        (lambda: backlash_around([0.008, 0.009], [0.0]), "places_deg", "1 places for 2"),
        (lambda: backlash_around([0.008], reading_sd_in=0.0), "reading_sd_in", ""),
        (
            lambda: check_backlash(backlash_around([0.008]), 0.010, 0.006),
            "backlash_min_in",
            "upper",
        ),
    ],
)
def test_impossible_readings_and_limits_name_the_field(call: object, field: str, says: str) -> None:
    with pytest.raises(InvalidAxle) as caught:
        call()  # type: ignore[operator]
    assert caught.value.subject == field
    assert says in caught.value.message
