"""What is expected of a mark, and whether a patch agrees."""

from __future__ import annotations

import numpy as np
import pytest

from pattern.contact.seen import agreement, apart, expected_contact
from pattern.teeth.rectify import COLUMNS, ROWS

ALL = np.ones((ROWS, COLUMNS), bool)


def mark(at: int, chance: float) -> np.ndarray:
    contact = np.zeros((ROWS, COLUMNS))
    contact[20:40, at : at + 30] = chance
    return contact


def test_a_mark_that_all_teeth_show_is_surer_than_one_that_only_one_shows() -> None:
    alike = expected_contact([mark(60, 0.8), mark(60, 0.8)], [ALL, ALL])
    alone = expected_contact([mark(60, 0.8), mark(150, 0.0)], [ALL, ALL])
    assert alike[0].chance.max() == pytest.approx(0.8)
    assert alone[0].chance.max() == pytest.approx(0.85 * 0.8)
    assert alike[0].prior.max() == pytest.approx(1.0)
    assert alone[0].peak == pytest.approx(0.8), "the peak is the tooth's own"
    assert alone[1].peak == 0.0


def test_nothing_is_expected_of_no_teeth() -> None:
    assert expected_contact([], []) == []


def test_agreement_is_high_on_the_expected_mark_and_negative_beside_it() -> None:
    [expected] = expected_contact([mark(60, 0.8)], [ALL])
    here, beside = np.zeros_like(ALL), np.zeros_like(ALL)
    here[20:40, 60:90], beside[20:40, 150:180] = True, True
    assert agreement(expected, here, ALL) == pytest.approx(0.8)
    assert agreement(expected, beside, ALL) < 0.0


def test_a_patch_beside_the_expected_mark_lies_as_far_off_as_it_was_moved() -> None:
    [expected] = expected_contact([mark(60, 0.8)], [ALL])
    patch = np.zeros_like(ALL)
    patch[26:46, 78:108] = True
    assert apart(expected, patch) == pytest.approx((18 / COLUMNS, 6 / ROWS))
    assert apart(expected, np.zeros_like(ALL)) == (1.0, 1.0), "no patch is nowhere near"
