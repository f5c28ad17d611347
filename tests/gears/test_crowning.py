"""Crowning found back from the marks it leaves."""

from __future__ import annotations

import math

import numpy as np
import pytest

from pattern.gears.crowning import FILM_SPREAD, crowning_from_mark
from pattern.gears.easeoff import LENGTHWISE_MM, PROFILE_MM, EaseOff
from pattern.gears.evaluate import FILM_MM, evaluate
from pattern.gears.kinematics import Moves
from pattern.gears.predict import side_reading
from pattern.records import SIDES, SideReading
from tests.gears.sets import blank

SD = (0.02, 0.03)


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("name", ["tapered", "uniform"])
@pytest.mark.parametrize(("lengthwise", "profile"), [(0.018, 0.028), (0.03, 0.02), (0.06, 0.03)])
def test_length_and_width_give_the_crowning_back(name, side, lengthwise, profile):
    """Round trip through the contact analysis, with the film known."""
    one, ease = blank(name), EaseOff(lengthwise, profile)
    reading = side_reading(evaluate(one, Moves(), ease, ease).side(side), SD)
    found = crowning_from_mark(one, side, reading, film_log_sd=1e-3)
    # the prior pulls a far value toward its middle, by less than the stated spread
    assert abs(math.log(found.lengthwise_mm / lengthwise)) < found.lengthwise_log_sd
    assert abs(math.log(found.profile_mm / profile)) < found.profile_log_sd
    assert found.lengthwise_log_sd < 0.4
    assert abs(found.length_misfit) < 0.03


def test_the_elementary_relation_is_a_lower_bound():
    """half-length = √(2δ/κ), κ = 8·crown/b² (Litvin & Fuentes 2004, ch. 9).

    The mark also runs on along the path of contact, so the same length takes more crowning than that.
    """
    found = crowning_from_mark(
        blank("tapered"), "drive", SideReading(0.5, 0.5, length=0.36, width=0.5), film_log_sd=1e-3
    )
    elementary = FILM_MM / (0.36 / 0.81) ** 2
    assert elementary < found.lengthwise_mm < 2 * elementary


def test_a_thicker_film_means_more_crowning_for_the_same_mark():
    """Gap and film scale alike at the drawing position: twice the film, twice the crowning less the prior's pull."""
    reading = SideReading(0.5, 0.5, length=0.45, width=0.5, tilt_deg=4.0)
    thin, thick = (
        crowning_from_mark(blank("tapered"), "drive", reading, film_mm=film, film_log_sd=1e-3)
        for film in (0.006, 0.012)
    )
    assert 1.5 < thick.lengthwise_mm / thin.lengthwise_mm < 2.0


def test_an_unknown_film_stays_in_the_spread():
    reading = SideReading(0.5, 0.5, length=0.45, width=0.5)
    found = crowning_from_mark(blank("tapered"), "drive", reading)
    assert found.lengthwise_log_sd > FILM_SPREAD
    assert found.film_log_sd == FILM_SPREAD


def test_a_shorter_mark_means_more_crowning():
    found = [
        crowning_from_mark(
            blank("uniform"), "coast", SideReading(0.5, 0.5, length=length, width=0.5)
        ).lengthwise_mm
        for length in (0.3, 0.45, 0.65)
    ]
    assert found[0] > found[1] > found[2]


def test_without_extents_the_prior_stands():
    found = crowning_from_mark(blank("tapered"), "drive", SideReading(0.5, 0.5))
    assert found.lengthwise_mm == pytest.approx(LENGTHWISE_MM, rel=1e-6)
    assert found.profile_mm == pytest.approx(PROFILE_MM, rel=1e-6)


def test_a_mark_cut_by_the_edge_counts_for_less():
    whole = SideReading(0.5, 0.5, length=0.4, width=0.5)
    cut = SideReading(0.8, 0.5, length=0.4, width=0.5, edges=("heel",))
    spread = [
        crowning_from_mark(blank("tapered"), "drive", r, film_log_sd=1e-3).lengthwise_log_sd
        for r in (whole, cut)
    ]
    assert spread[1] > 1.3 * spread[0]


def test_draws_have_the_stated_spread():
    found = crowning_from_mark(
        blank("tapered"), "drive", SideReading(0.5, 0.5, length=0.4, width=0.5)
    )
    drawn = found.draw(4000, np.random.default_rng(3))
    assert np.log(drawn.lengthwise_mm).std() == pytest.approx(found.lengthwise_log_sd, rel=0.05)
    assert float(np.asarray(found.ease_off().profile_mm)) == found.profile_mm
