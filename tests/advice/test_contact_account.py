"""The account by contact analysis of this very set: what it shows, what it knows besides, where it stops."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pattern.advice.contact_account import ContactAccount, contact_account
from pattern.advice.correction import fits
from pattern.advice.evidence import gather
from pattern.advice.marks import centres
from pattern.records import Axle, Roll
from tests.advice.cases import advise, axle, mark, roll


def account(known: Axle | None = None) -> ContactAccount:
    known = known or axle()
    return contact_account(known, "tapered", gather(known, [roll((0.5, 0.5), (0.5, 0.5))]))


def draws(found: ContactAccount, count: int = 60) -> np.ndarray:
    rng = np.random.default_rng(3)
    mean, cov = found.prior()
    return mean + np.sqrt(np.diag(cov)) * rng.standard_normal((count, len(mean)))


def test_at_rest_in_a_true_housing_the_mark_lies_at_its_design_place() -> None:
    found = account()
    own = found.prior()[0][None]
    view = found.view(own, np.zeros((1, 1)), np.zeros((1, 1)))
    assert view.place[0, 0] == pytest.approx(view.design[0], abs=1e-6)
    assert view.away == pytest.approx(0.0, abs=1e-6)
    assert view.backlash_thou[0, 0] == pytest.approx(8.0, abs=1e-6)


def test_a_tapered_set_answers_as_the_trade_says() -> None:
    # TM 9-2320-266-34 para 19-5c: pinion deeper takes the drive mark to the toe and the coast mark to
    # the heel, both lower; 0.45 of it with the ring gear holds the backlash
    found = account()
    own = found.prior()[0][None]
    view = found.view(own, np.array([[0.0, 5.0]]), np.array([[0.0, 2.25]]))
    drive_along, drive_up, coast_along, coast_up = view.place[0, 1] - view.place[0, 0]
    assert drive_along < 0 < coast_along
    assert drive_up < 0 and coast_up < 0
    assert view.backlash_thou[0, 1] == pytest.approx(view.backlash_thou[0, 0], abs=0.5)


def test_the_parabola_handed_on_follows_the_marks_near_the_right_place() -> None:
    found = account()
    own = draws(found)
    answers = found.answers(own)
    at = np.full((len(own), 1), 2.0)
    seen = found.view(own, at, -at).place[:, 0]
    told = centres(answers.response, answers.design, at[:, 0], -at[:, 0])
    missed = np.abs(seen - told)
    assert np.median(missed) < 0.006
    assert np.quantile(missed, 0.9) < 0.025  # half of what counts as right


def test_a_design_place_that_is_told_is_held_to() -> None:
    # a used set aims at its pattern as found
    told = replace(axle(), condition="used", target=(mark(0.60, 0.40), None))
    found = account(told)
    own = found.prior()[0][None]
    view = found.view(own, np.zeros((1, 1)), np.zeros((1, 1)))
    assert view.design[0, :2] == pytest.approx([0.60, 0.40], abs=0.06)
    elsewhere = own.copy()
    elsewhere[0, 12] = 0.45  # the drive crowning's middle
    beside = found.view(elsewhere, np.zeros((1, 1)), np.zeros((1, 1))).beside
    assert np.abs(beside).max() > 3.0


def test_a_mark_much_longer_than_new_sets_show_is_held_against_a_draw() -> None:
    # about 75 % of the length at most (TM 10-3930-653-14&P p. 4-181)
    found = account()
    own = np.repeat(found.prior()[0][None], 2, axis=0)
    own[1, [9, 14]] = -2.5  # hardly any crowning
    beside = found.view(own, np.zeros((2, 1)), np.zeros((2, 1))).beside
    assert np.abs(beside[0]).max() == 0.0
    assert np.abs(beside[1]).max() > 2.0


@pytest.mark.parametrize("diameter", [8.5, 14.0])
def test_an_axle_the_networks_do_not_cover_is_advised_on_as_well(diameter: float) -> None:
    known = axle(ring_diameter_in=diameter)
    advice = advise(known, roll((0.30, 0.30), (0.62, 0.30), 0.008))
    assert advice.verdict == "adjust"
    assert advice.pinion_move_in is not None and advice.pinion_move_in < 0


def test_three_moves_and_missing_numbers_do_not_disturb_it() -> None:
    rolls = [
        roll((0.62, 0.70), (0.34, 0.70), 0.008),
        roll((0.55, 0.62), None, None, pinion_move_in=0.003, ring_move_in=0.001),
        Roll(None, mark(0.45, 0.52), 0.0075, 0.002, 0.0),
    ]
    for fitted in fits(axle(), gather(axle(), rolls)):
        assert np.isfinite(fitted.log_evidence)
        assert np.isfinite(fitted.response).all() and np.isfinite(fitted.pinion_thou).all()
