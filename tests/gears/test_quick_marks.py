"""The quick marks against contact analysis itself, on blanks, crownings and places drawn for this test alone."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from pattern.gears.blank import System, make_blank
from pattern.gears.defaults import draw_geometry, geometry_of
from pattern.gears.easeoff import LENGTHWISE_MM, PROFILE_MM, EaseOff
from pattern.gears.evaluate import FILM_MM, evaluate_batch
from pattern.gears.kinematics import Moves
from pattern.gears.quick_marks import (
    BIAS_UNIT_MM,
    REFERENCE_DIAMETER_IN,
    QuickSets,
    covers,
    middle_blank,
    quick_marks,
)  # fmt: skip
from pattern.records import Axle

_THOU_MM = 0.0254
COUNT = 48

AXLES = {
    "41/11": Axle(41, 11, 8.5),
    "43/16, small": Axle(43, 16, 7.0),
    "37/6, large": Axle(37, 6, 11.0),
    "41/10, no offset": Axle(41, 10, 9.5, offset_in=0.0),
}


def drawn(axle: Axle, system: System, reach: float) -> tuple[np.ndarray, np.ndarray]:
    """Centres and extents (n, 8) by contact analysis and by the networks, for one blank and many states."""
    rng = np.random.default_rng(4)
    geometry, assumed = geometry_of(axle, system)
    made = draw_geometry(geometry, assumed, system, rng)
    blank = make_blank(made, axle.ring_teeth, axle.pinion_teeth, "right", system)
    numbers, _ = middle_blank(axle, system)
    diameter = made.ring_diameter_mm
    numbers[:6] = (
        made.face_width_mm / diameter, made.offset_mm / diameter, made.cutter_radius_mm / diameter,
        blank.cones.pinion_spiral_rad, made.pressure_rad, math.log(made.factors.depth),
    )  # fmt: skip
    places = rng.uniform(-reach, reach, (COUNT, 1, 4)) * np.array([1.0, 1.0, 0.05, 0.03])
    sides = [
        np.array([0.0, 0.0, 0.0, 0.47, 0.50])
        + np.array([0.4, 0.4, 0.8, 0.02, 0.02]) * rng.standard_normal((COUNT, 5))
        for _ in range(2)
    ]
    film = 0.15 * rng.standard_normal(COUNT)
    moves = Moves(*(_THOU_MM * places[:, 0, :3].T), np.radians(places[:, 0, 3] / 60))
    true = evaluate_batch(
        blank, moves, *(ease_off(side) for side in sides), film_mm=FILM_MM * np.exp(film)
    )
    parts = [np.column_stack([m.lengthwise, m.profile]) for m in (true.drive, true.coast)]
    parts += [np.column_stack([m.length, m.width]) for m in (true.drive, true.coast)]
    scale = REFERENCE_DIAMETER_IN / axle.ring_diameter_in
    sets = QuickSets(np.tile(numbers, (COUNT, 1)), film, *sides, scale)
    quick = quick_marks(system, sets, places)
    return np.hstack(parts), np.hstack([quick.centre[:, 0], quick.extent[:, 0]])


def ease_off(side: np.ndarray) -> EaseOff:
    crown, height, bias, along, across = side.T
    return EaseOff(
        LENGTHWISE_MM * np.exp(crown), PROFILE_MM * np.exp(height), BIAS_UNIT_MM * bias, along, across
    )  # fmt: skip


@pytest.mark.parametrize("system", ["tapered", "uniform"])
@pytest.mark.parametrize("name", AXLES)
def test_marks_near_the_right_place_are_those_of_contact_analysis(
    name: str, system: System
) -> None:
    # a set is right within 0.05 of the length and 0.06 of the depth: a fifth of that at most
    true, quick = drawn(replace(AXLES[name], tooth_system=system), system, 5.0)
    missed = np.abs(true - quick)
    assert np.median(missed) < 0.010
    assert np.quantile(missed[:, :4], 0.9) < 0.035


@pytest.mark.parametrize("system", ["tapered", "uniform"])
def test_marks_far_from_the_right_place_are_told_better_than_the_noise_of_a_reading(
    system: System,
) -> None:
    # a reading errs by 0.03 lengthwise and 0.05 in profile (the closed loop's noise)
    true, quick = drawn(AXLES["41/11"], system, 20.0)
    missed = np.sqrt(np.mean((true - quick)[:, :4] ** 2, axis=0))
    assert np.all(missed < [0.03, 0.05, 0.03, 0.05])


def test_play_goes_with_the_moves_as_the_pressure_angle_says() -> None:
    # 2 tan(phi) sin(pitch angle) of the ring gear's move along its axis, to first order (from memory,
    # the form of Machinery's Handbook for bevel gears)
    numbers, _ = middle_blank(AXLES["41/11"], "tapered")
    shape = np.array([[0.0, 0.0, 0.0, 0.47, 0.50]])
    sets = QuickSets(numbers[None], np.zeros(1), shape, shape, 1.0)
    places = np.array([[(0, -1, 0, 0), (0, 1, 0, 0)]], dtype=float)
    play = quick_marks("tapered", sets, places).play_thou[0]
    expected = 2 * math.tan(math.radians(20)) * math.sin(math.atan(41 / 11))
    assert (play[1] - play[0]) / 2 == pytest.approx(expected, rel=0.12)


def test_twice_the_set_in_every_length_shows_the_same_mark() -> None:
    # similarity: film, relief, moves and diameter all grown alike leave every share as it is
    numbers, _ = middle_blank(AXLES["41/11"], "tapered")
    shape = np.array([[0.1, -0.2, 0.5, 0.46, 0.52]])
    places = np.array([[(3.0, -2.0, 0.5, 0.3)]])
    grown = math.log(1.2)
    larger = shape + np.array([grown, grown, 0.0, 0.0, 0.0])
    larger[:, 2] *= 1.2
    one = quick_marks("tapered", QuickSets(numbers[None], np.zeros(1), shape, shape, 1.0), places)
    two = quick_marks(
        "tapered",
        QuickSets(numbers[None], np.full(1, grown), larger, larger, 1.0 / 1.2),
        places * np.array([1.2, 1.2, 1.2, 1.0]),
    )
    assert two.centre == pytest.approx(one.centre, abs=1e-4)
    assert two.extent == pytest.approx(one.extent, abs=1e-4)


def test_what_the_axle_tells_of_its_blank_is_not_spread() -> None:
    open_, told = (
        middle_blank(axle, "tapered")[1]
        for axle in (AXLES["41/11"], replace(AXLES["41/11"], face_width_in=1.3, offset_in=1.25))
    )
    assert np.all(open_[:6] > 0) and np.all(open_[6:] == 0)
    assert np.all(told[:2] == 0) and np.all(told[2:6] > 0)


@pytest.mark.parametrize(
    ("axle", "known"),
    [
        (Axle(41, 11, 8.5), True),
        (Axle(41, 11, 8.5, face_width_in=1.4, pressure_angle_drive_deg=21.0), True),
        (Axle(41, 11, 14.0), False),
        (Axle(41, 23, 8.5), False),
        (Axle(41, 11, 8.5, face_width_in=2.1), False),
        (Axle(41, 11, 8.5, offset_in=2.2), False),
    ],
)
def test_axles_unlike_those_trained_on_are_told(axle: Axle, known: bool) -> None:
    assert covers(axle, "tapered") is known
