"""Examples for the quick marks: sets of many axles, their places, and what contact analysis says of them.

Drawn a little wider than an estimate needs. Everything stands at the reference diameter; sets of other
sizes are drawn by films and crownings that are thinner or thicker for their tooth.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pattern.errors import InvalidAxle
from pattern.gears.blank import Blank, System, make_blank
from pattern.gears.defaults import Geometry, draw_geometry, geometry_of
from pattern.gears.easeoff import (
    LENGTHWISE_MM,
    LENGTHWISE_SPREAD,
    PROFILE_MM,
    PROFILE_SPREAD,
    EaseOff,
)
from pattern.gears.evaluate import FILM_MM, BatchMarks, evaluate_batch
from pattern.gears.kinematics import Moves
from pattern.gears.quick_marks import BIAS_UNIT_MM, REFERENCE_DIAMETER_IN
from pattern.records import MM_PER_IN, Axle

Array = NDArray[np.float64]

COMMON_TEETH = (41, 11)
TEETH = (
    (41, 15), (43, 14), (40, 13), (41, 13), (37, 12), (39, 12), (41, 12), (37, 11), (39, 11), (41, 11),
    (43, 11), (41, 10), (43, 10), (37, 10), (39, 10), (41, 9), (43, 9), (37, 9), (39, 9), (40, 8), (41, 8),
    (43, 8), (37, 8), (39, 8), (43, 7), (41, 7), (39, 7), (37, 7), (37, 6), (43, 16), (46, 13), (47, 14),
    (35, 8), (47, 9), (46, 9), (37, 13), (43, 13),
)  # fmt: skip
"""Tooth counts as they occur in axles (common practice, no source), ratios 2.7 to 6.2."""
_WIDER = 1.15
_TOLD_OFFSET, _NO_OFFSET, _LEAST_OFFSET = 0.4, 0.3, 0.02
_SIZE = 0.35  # of the log of the reference over the diameter: 6 to 12 in
_BIAS_SD, _PLACE_SD, _FILM_SD, _HOUSING_SD = 1.04, 0.032, 0.22, (1.0, 0.65)
_REACH_THOU = (5.0, 5.0, 5.0, 15.0, 15.0, 15.0, 15.0, 15.0, 25.0, 25.0)
_THOU_MM = 0.001 * MM_PER_IN
_SOUND_PLAY_THOU = 60.0


@dataclass(frozen=True, eq=False)
class Examples:
    """m examples: `own` (m, 2, 14) of drive and coast (blank 8, film, ease-off 5), `place` (m, 4),
    `shown` (m, 2, 4) centres and extents, `play_thou` (m,), `blank_of` (m,) numbers the blanks.
    """

    own: Array
    place: Array
    shown: Array
    play_thou: Array
    blank_of: NDArray[np.intp]


def draw_examples(system: System, blanks: int, each: int, seed: int) -> Examples:
    """Draw `each` sets and places of every one of about `blanks` blanks; impossible ones are left out."""
    rng = np.random.default_rng(seed)
    parts = []
    for number in range(blanks):
        try:
            blank, numbers = _blank(system, rng)
            parts.append(_of_blank(blank, numbers, each, number, rng))
        except InvalidAxle:
            continue
    joined = (np.concatenate(part) for part in zip(*parts, strict=True))
    own, place, shown, play, blank_of = joined
    whole = np.isfinite(shown).all(axis=(1, 2)) & (np.abs(play) < _SOUND_PLAY_THOU)
    return Examples(own[whole], place[whole], shown[whole], play[whole], blank_of[whole])


def _blank(system: System, rng: np.random.Generator) -> tuple[Blank, Array]:
    teeth = COMMON_TEETH if rng.random() < 0.2 else TEETH[int(rng.integers(len(TEETH)))]
    axle = Axle(*teeth, REFERENCE_DIAMETER_IN, tooth_system=system)
    if rng.random() < _TOLD_OFFSET:
        share = 0.0 if rng.random() < _NO_OFFSET else rng.uniform(_LEAST_OFFSET, 0.25)
        axle = replace(axle, offset_in=share * axle.ring_diameter_in)
    middle, assumed = geometry_of(axle, system)
    drawn = _wider(middle, draw_geometry(middle, assumed, system, rng))
    blank = make_blank(drawn, *teeth, "right", system)
    diameter = drawn.ring_diameter_mm
    numbers = np.array(
        [
            drawn.face_width_mm / diameter, drawn.offset_mm / diameter, drawn.cutter_radius_mm / diameter,
            drawn.pinion_spiral_rad or 0.0, drawn.pressure_rad, math.log(drawn.factors.depth),
            teeth[1] / teeth[0], teeth[1] / 10.0,
        ]
    )  # fmt: skip
    return blank, numbers


def _wider(middle: Geometry, drawn: Geometry) -> Geometry:
    """The draw a little further from the middle: the edge of what is asked for is learnt too."""

    def out(name: str) -> float:
        here, there = getattr(middle, name), getattr(drawn, name)
        return float(here + _WIDER * (there - here))

    depth = middle.factors.depth * (drawn.factors.depth / middle.factors.depth) ** _WIDER
    lengths = {name: out(name) for name in ("face_width_mm", "cutter_radius_mm", "pressure_rad")}
    lengths["pinion_spiral_rad"] = out("pinion_spiral_rad")
    return replace(drawn, factors=replace(drawn.factors, depth=depth), **lengths)  # type: ignore[arg-type]


def _of_blank(
    blank: Blank, numbers: Array, each: int, number: int, rng: np.random.Generator
) -> tuple[Array, Array, Array, Array, NDArray[np.intp]]:
    grown = rng.uniform(-_SIZE, _SIZE)
    film = grown + _FILM_SD * rng.standard_normal(each)
    eases = [_eases(each, grown, rng) for _ in range(2)]
    reach = rng.choice(_REACH_THOU, each)[:, None]
    place = np.column_stack(
        [
            reach * rng.uniform(-1.0, 1.0, (each, 2)),
            np.array(_HOUSING_SD) * rng.standard_normal((each, 2)),
        ]
    )
    pinion, ring, offset = _THOU_MM * place[:, :3].T
    moves = Moves(pinion, ring, offset, np.radians(place[:, 3] / 60.0))
    drive, coast = (_ease_off(ease) for ease in eases)
    found = evaluate_batch(blank, moves, drive, coast, film_mm=FILM_MM * np.exp(film))
    known = np.column_stack([np.tile(numbers, (each, 1)), film])
    own = np.stack([np.column_stack([known, ease]) for ease in eases], axis=1)
    return own, place, _shown(found), found.backlash_mm / _THOU_MM, np.full(each, number)


def _eases(count: int, grown: float, rng: np.random.Generator) -> Array:
    """Logs of both crownings over their middle, bias in its unit, centre: (count, 5)."""
    spread = np.array(
        [_WIDER * LENGTHWISE_SPREAD, _WIDER * PROFILE_SPREAD, math.exp(grown) * _BIAS_SD, _PLACE_SD, _PLACE_SD]
    )  # fmt: skip
    return np.array([grown, grown, 0.0, 0.47, 0.50]) + spread * rng.standard_normal((count, 5))


def _ease_off(ease: Array) -> EaseOff:
    crown, height, bias, along, across = ease.T
    return EaseOff(
        LENGTHWISE_MM * np.exp(crown), PROFILE_MM * np.exp(height), BIAS_UNIT_MM * bias, along, across
    )  # fmt: skip


def _shown(found: BatchMarks) -> Array:
    sides = [
        np.stack([m.lengthwise, m.profile, m.length, m.width], axis=-1)
        for m in (found.drive, found.coast)
    ]
    return np.stack(sides, axis=1)
