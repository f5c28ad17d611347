"""How a set answers to moves, against service rules and the published depth rule."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pattern.advice.computed_response import computed_response
from pattern.advice.response import (
    BACKLASH,
    HELD_RATIO,
    documented_response,
    ring_backlash_factor,
    turned,
)
from pattern.records import SIDES, Axle, Side
from tests.advice.cases import axle

SOURCES = (computed_response, documented_response)


@given(
    st.floats(18.0, 25.0), st.floats(18.0, 25.0), st.integers(37, 45), st.integers(8, 16)
)  # fmt: skip
def test_the_first_order_backlash_factor_lies_in_the_service_rules_band(
    drive: float, coast: float, ring: int, pinion: int
) -> None:
    # 2·tan φ·sin Γ (Machinery's Handbook and AGMA 2005 form, recalled); TM 9-2320-289-34 p. 6-19:
    # 0.010 in of side shim makes 0.005 to 0.008 in of backlash; 0.5 to 0.9 for 18° to 25°
    known = Axle(ring, pinion, 8.5, pressure_angle_drive_deg=drive, pressure_angle_coast_deg=coast)
    assert 0.5 < ring_backlash_factor(known) < 0.95


@pytest.mark.parametrize("source", SOURCES)
def test_a_deeper_pinion_goes_to_toe_on_drive_and_to_heel_on_coast_of_tapered_teeth(source) -> None:  # type: ignore[no-untyped-def]
    # TM 9-2320-266-34 para 19-5c, backlash held: 0.45 in of ring gear per in of pinion
    held = source(axle(), "tapered").matrix @ np.array([1.0, 0.45])
    drive_length, drive_height, coast_length, coast_height = held
    assert drive_length < 0 and coast_length > 0
    assert drive_height < 0 and coast_height < 0


@pytest.mark.parametrize("source", SOURCES)
def test_uniform_teeth_answer_at_the_other_ends(source) -> None:  # type: ignore[no-untyped-def]
    # common practice, no source; look-alike TM 5-3805-260-24 pp. 3-244/3-245
    held = source(axle(tooth_system="uniform"), "uniform").matrix @ np.array([1.0, 0.45])
    assert held[0] > 0 and held[2] < 0
    assert held[1] < 0 and held[3] < 0


@pytest.mark.parametrize("source", SOURCES)
def test_the_factors_of_the_backlash_are_the_trades(source) -> None:  # type: ignore[no-untyped-def]
    # 0.7 in of backlash per in of ring gear, 0.2 to 0.35 per in of pinion; common practice, no source
    ring, pinion = np.exp(source(axle(), "tapered").mean[BACKLASH][1:])
    assert 0.6 < ring < 0.8
    assert 0.2 < pinion < 0.4


@pytest.mark.parametrize("source", SOURCES)
def test_the_spread_is_a_covariance_and_no_size_is_certain(source) -> None:  # type: ignore[no-untyped-def]
    cov = source(axle(), "tapered").cov
    assert np.allclose(cov, cov.T)
    assert np.linalg.eigvalsh(cov).min() > -1e-9
    assert np.all(np.diag(cov) > 0)


def test_a_larger_ring_gear_answers_less_as_a_share_of_its_tooth() -> None:
    small, large = (
        np.abs(documented_response(axle(ring_diameter_in=d), "tapered").matrix).sum()
        for d in (7.5, 10.5)
    )
    assert large < small


def test_what_does_not_touch_the_teeth_does_not_change_the_computed_answer() -> None:
    plain = computed_response(axle(), "tapered")
    other = computed_response(axle(depth_shim="cartridge", depth_shim_in=0.05), "tapered")
    assert np.array_equal(plain.mean, other.mean)


@pytest.mark.parametrize("side", ["drive", "coast"])
def test_a_turned_side_answers_depth_at_the_other_end_and_nothing_else_changes(side: Side) -> None:
    # published manuals contradict each other lengthwise (TM 9-2320-266-34 para 19-5c against
    # TM 5-3805-260-24 pp. 3-244/3-245), so a set may go against its tooth system's rule; with the
    # backlash held, 0.45 in of ring gear per in of pinion (contact analysis, this project's)
    held = np.array([1.0, HELD_RATIO])
    plain, other = documented_response(axle(), "tapered"), turned(axle(), "tapered", side)
    row = 2 * SIDES.index(side)
    assert (other.matrix @ held)[row] == pytest.approx(-(plain.matrix @ held)[row])
    rest = [r for r in range(4) if r != row]
    assert np.array_equal(other.matrix[rest], plain.matrix[rest])


def test_the_longer_a_mark_the_more_it_moves() -> None:
    # half-length = sqrt(2 film / curvature) and a shift goes with 1 / curvature (contact of a
    # crowned surface, Johnson, Contact Mechanics, from memory), so the gain goes with the square
    cov = documented_response(axle(), "tapered").cov
    for gain, half in zip(range(4, 8), range(16, 20), strict=True):
        assert cov[gain, half] / cov[half, half] == pytest.approx(2.0)
