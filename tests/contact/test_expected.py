"""What the network expects of a mark, and when it is heard."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pattern.contact.seen import SeenTooth, agreement, expected_contact, seen_on_tooth
from pattern.records import ToothSide
from pattern.teeth.fields import PixelFields
from pattern.teeth.rectify import COLUMNS, ROWS, lay_flat
from pattern.teeth.surface import ToothSurface

ALL = np.ones((ROWS, COLUMNS), bool)


def seen(at: int, chance: float) -> SeenTooth:
    contact = np.zeros((ROWS, COLUMNS))
    contact[20:40, at : at + 30] = chance
    return SeenTooth(ALL, contact, None)


def test_a_mark_that_all_teeth_show_is_surer_than_one_that_only_one_shows() -> None:
    alike = expected_contact([seen(60, 0.8), seen(60, 0.8)], [ALL, ALL])
    alone = expected_contact([seen(60, 0.8), seen(150, 0.0)], [ALL, ALL])
    assert alike[0] is not None and alone[0] is not None
    assert alike[0].peak == pytest.approx(0.8)
    assert alone[0].peak == pytest.approx(0.6)
    assert alike[0].prior.max() == pytest.approx(1.0)


def test_nothing_is_expected_where_the_network_was_not_asked() -> None:
    assert expected_contact([SeenTooth(ALL, None, None)], [ALL]) == [None]


def test_agreement_is_high_on_the_expected_mark_and_negative_beside_it() -> None:
    [expected] = expected_contact([seen(60, 0.8)], [ALL])
    mark, beside = np.zeros_like(ALL), np.zeros_like(ALL)
    mark[20:40, 60:90], beside[20:40, 150:180] = True, True
    assert agreement(expected, mark, ALL) == pytest.approx(0.8)
    assert agreement(expected, beside, ALL) < 0.0
    assert agreement(None, mark, ALL) == 0.0


@pytest.mark.parametrize(("stretch", "turned", "slip"), [(1.0, False, 0.0), (1.0, True, 0.0),
                                                         (1.4, False, 0.1)])  # fmt: skip
def test_an_outline_drawn_past_the_tooth_shows_as_a_slip_a_turned_toe_does_not(
    stretch: float, turned: bool, slip: float
) -> None:
    tooth = np.array([[10.0, 10], [90, 10], [90, 30], [10, 30]])
    columns = np.arange(120.0)[None, :].repeat(40, axis=0)
    on = ((columns >= 10) & (columns <= 90)).astype(np.float32)
    flat_map = np.zeros_like(on)
    along = np.asarray((columns - 10) / 80, np.float32)
    fields = PixelFields(
        side=on, other=flat_map, painted=flat_map, compound=flat_map, contact=flat_map,
        edge=flat_map, lengthwise=1.0 - along if turned else along, profile=flat_map,
        lengthwise_sd=flat_map, profile_sd=flat_map, quality={},
        to_photo=np.array([[1.0, 0, 0], [0, 1.0, 0]]),
    )  # fmt: skip
    corners = tooth.copy()
    corners[1:3, 0] = 10 + 80 * stretch
    drawn = ToothSide(corners, corners[:2], corners[[3, 2]], 1.0, 1.0, "given")
    surface = ToothSurface.of(drawn)
    flat = lay_flat(np.zeros((40, 120, 3), np.uint8), surface)
    found = seen_on_tooth((fields,), surface, flat)
    assert found.slip == pytest.approx(slip, abs=0.02) if slip == 0.0 else found.slip > slip
    unsure = replace(fields, side=0.3 * on)
    assert seen_on_tooth((unsure,), surface, flat).slip == 1.0
