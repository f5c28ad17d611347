"""The records refuse what cannot exist and name the field."""

from __future__ import annotations

import math

import pytest

from pattern.errors import InvalidAxle
from pattern.records import Axle, Roll, SideReading


def axle(**changes: object) -> Axle:
    return Axle(**({"ring_teeth": 41, "pinion_teeth": 11, "ring_diameter_in": 8.5} | changes))  # type: ignore[arg-type]


def test_tooth_counts_and_diameter_are_enough() -> None:
    # 41/11 = 3.727 is sold as "3.73" (common practice, no source)
    assert round(axle().ratio, 2) == 3.73


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("ring_teeth", 0), ("ring_teeth", 41.0), ("pinion_teeth", 0), ("pinion_teeth", 41), ("ring_diameter_in", -8.5),
        ("ring_diameter_in", math.nan), ("tooth_system", "conical"), ("hand", "up"), ("depth_shim", "somewhere"),
        ("backlash_min_in", 0.02), ("offset_in", -1.0), ("face_width_in", "wide"), ("rotation", "backwards"),
    ],
)  # fmt: skip
def test_impossible_axle_data_name_the_field(field: str, value: object) -> None:
    with pytest.raises(InvalidAxle) as caught:
        axle(**{field: value})
    assert caught.value.subject == field
    assert caught.value.remedy


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("lengthwise", math.inf),
        ("profile", 3.0),
        ("lengthwise_sd", 0.0),
        ("width", -0.1),
        ("tilt_deg", 120.0),
    ],
)
def test_impossible_readings_name_the_field(field: str, value: float) -> None:
    with pytest.raises(InvalidAxle) as caught:
        SideReading(**({"lengthwise": 0.5, "profile": 0.5} | {field: value}))
    assert caught.value.subject == field


def test_a_move_of_four_inches_is_taken_for_thousandths_forgotten() -> None:
    with pytest.raises(InvalidAxle, match="thousandths"):
        Roll(pinion_move_in=4.0)


def test_swapped_counts_are_said_to_be_swapped() -> None:
    with pytest.raises(InvalidAxle, match="in that order") as caught:
        axle(ring_teeth=11, pinion_teeth=41)
    assert caught.value.subject == "pinion_teeth"
