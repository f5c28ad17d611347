"""From the dial to backlash normal to the tooth at the heel."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pattern.errors import InvalidAxle
from pattern.setup.dial import normal_backlash, rotation_to_normal


@pytest.mark.parametrize(
    ("askew", "factor"), [(10, 0.985), (20, 0.940), (30, 0.866), (45, 0.707), (60, 0.5)]
)
def test_cosine_error(askew: float, factor: float) -> None:
    # the cosine correction table of lever indicators: common practice, from memory
    found = normal_backlash(0.010, "normal", askew_deg=askew)
    assert found.backlash_in == pytest.approx(0.010 * factor, abs=5e-6)


def test_a_dial_square_to_the_tooth_at_the_heel_is_taken_as_it_reads() -> None:
    assert normal_backlash(0.008, "normal").backlash_in == 0.008


@pytest.mark.parametrize(
    ("withdrawal_to_normal", "withdrawal_to_rotation", "spiral", "pressure"),
    # normal and circumferential backlash for one in of ring gear withdrawal, from the blanks of
    # ISO 23509:2016 Annex F.2 (0.644, 0.836), F.3 (0.636, 0.866, wheel spiral angle) and a usual set
    [(0.644, 0.836, 35.0, 20.0), (0.636, 0.866, 38.609, 20.0), (0.658, 0.808, 30.0, 20.0)],
)
def test_direction_agrees_with_the_first_order_geometry_of_published_blanks(
    withdrawal_to_normal: float, withdrawal_to_rotation: float, spiral: float, pressure: float
) -> None:
    assert rotation_to_normal(spiral, pressure) == pytest.approx(
        withdrawal_to_normal / withdrawal_to_rotation, abs=1.5e-3
    )


def test_along_the_rotation_reads_about_one_point_three_times_normal() -> None:
    # 1.3: common practice, no source; 36.846 deg is the heel spiral angle of ISO 23509:2016 Annex F.2
    known = normal_backlash(0.010, "rotation", heel_spiral_angle_deg=36.846)
    assert 0.010 / known.backlash_in == pytest.approx(1.3, abs=0.05)
    unknown = normal_backlash(0.010, "rotation")
    assert 0.010 / unknown.backlash_in == pytest.approx(1.3)
    assert unknown.backlash_sd_in > known.backlash_sd_in


@given(st.floats(0.001, 0.02), st.floats(30.0, 45.0))
def test_the_stated_spread_covers_the_usual_heel_spiral_angles(
    reading: float, spiral: float
) -> None:
    known = normal_backlash(reading, "rotation", heel_spiral_angle_deg=spiral)
    unknown = normal_backlash(reading, "rotation")
    assert abs(known.backlash_in - unknown.backlash_in) <= 2 * unknown.backlash_sd_in


def test_the_same_turn_swings_a_dial_farther_out_by_more() -> None:
    # arc = angle x radius
    turn_rad = 0.002
    found = normal_backlash(turn_rad * 3.5, "normal", dial_radius_in=3.5, heel_radius_in=4.25)
    assert found.backlash_in == pytest.approx(turn_rad * 4.25)


@pytest.mark.parametrize(
    ("field", "changes"),
    [
        ("reading_in", {"reading_in": 8.0}),
        ("reading_in", {"reading_in": -0.001}),
        ("reading_in", {"reading_in": math.nan}),
        ("direction", {"direction": "sideways"}),
        ("askew_deg", {"askew_deg": 80.0}),
        ("heel_radius_in", {"dial_radius_in": 4.0}),
        ("dial_radius_in", {"heel_radius_in": 4.0}),
        ("dial_radius_in", {"dial_radius_in": 0.0, "heel_radius_in": 4.0}),
        ("heel_spiral_angle_deg", {"direction": "rotation", "heel_spiral_angle_deg": 90.0}),
    ],
)
def test_impossible_dials_name_the_field(field: str, changes: dict[str, object]) -> None:
    with pytest.raises(InvalidAxle) as caught:
        normal_backlash(**({"reading_in": 0.008, "direction": "normal"} | changes))  # type: ignore[arg-type]
    assert caught.value.subject == field
    assert caught.value.remedy
