"""Contact analysis in microseconds: small networks that answer as `evaluate_batch` does.

An estimate asks for marks a hundred thousand times, which contact analysis cannot give at the bench. So
two small networks per tooth system, one a side, tell where the mark lies and how far it reaches from what
shapes it: the blank, crowning, film, the housing's errors and where pinion and ring gear stand; a third
tells the play. `pattern.synthetic.quick_train` draws their examples from `evaluate_batch`, trains them
and prints their errors on blanks they never saw (`QUICK_MARKS.md`). Positions are in thousandths of an inch.

Lengths enter as shares of the ring gear's diameter, so one network serves all sizes; what does not grow
with the set (film, crowning, moves) is scaled to `REFERENCE_DIAMETER_IN`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

from pattern.gears.blank import System, make_blank
from pattern.gears.defaults import (
    CUTTER_SHARE,
    CUTTER_SPREAD,
    DEPTH_SPREAD,
    FACE_WIDTH_SPREAD,
    OFFSET_SPREAD,
    PRESSURE_SPREAD,
    RING_SPIRAL_SPREAD,
    geometry_of,
)  # fmt: skip
from pattern.records import Axle

Array = NDArray[np.float64]
Network = tuple[tuple[NDArray[np.float32], NDArray[np.float32]], ...]

REFERENCE_DIAMETER_IN = 8.5
BIAS_UNIT_MM = 0.012
_WEIGHTS = files("pattern.gears") / "quick_marks.npz"
_RATIOS, _PINION_TEETH, _DIAMETERS_IN, _OFFSET_SHARE = (2.6, 6.3), (6, 16), (6.4, 12.1), 0.25
_WITHIN_SPREADS = 3.0


@dataclass(frozen=True, eq=False)
class QuickSets:
    """n sets in the networks' own terms.

    `blank` (n, 8): `middle_blank`. `film` (n,): log of the film over `FILM_MM`. `drive`, `coast` (n, 5):
    logs of lengthwise and profile crowning over their middle, bias in `BIAS_UNIT_MM`, centre lengthwise and
    profile. `scale` is the reference over the ring gear's diameter.
    """

    blank: Array
    film: Array
    drive: Array
    coast: Array
    scale: float


@dataclass(frozen=True, eq=False)
class QuickMarks:
    """Marks as seen, cut by the tooth's edges, at t places of n sets.

    `centre` and `extent` (n, t, 4): drive lengthwise, drive profile, coast lengthwise, coast profile;
    extents hold 5 to 95 %. `play_thou` (n, t) is the normal backlash at the heel up to a constant of the set.
    """

    centre: Array
    extent: Array
    play_thou: Array


def quick_marks(system: System, sets: QuickSets, places: Array) -> QuickMarks:
    """Marks of n sets at places (n, t, 4): pinion deeper, ring gear away, offset (thou), shaft angle (minutes)."""
    nets = _networks(system)
    at = places * np.array([sets.scale, sets.scale, sets.scale, 1.0])
    grown = math.log(sets.scale)
    seen = []
    for side, ease in (("drive", sets.drive), ("coast", sets.coast)):
        shape = ease + np.array([grown, grown, 0.0, 0.0, 0.0])
        shape[:, 2] *= sets.scale
        own = np.column_stack([sets.blank, sets.film + grown, shape])
        seen.append(_answer(nets[side], own, at))
    play = _play(nets["play"], sets.blank, at) / sets.scale
    drive, coast = seen
    return QuickMarks(
        np.concatenate([drive[..., :2], coast[..., :2]], axis=-1),
        np.concatenate([drive[..., 2:], coast[..., 2:]], axis=-1),
        play,
    )


def middle_blank(axle: Axle, system: System) -> tuple[Array, Array]:
    """What the networks know of an axle's blank (8,), and its spread (8,): 0 for what the axle tells.

    Face width, offset and cutter radius as shares of the ring gear's diameter; the pinion's spiral angle and
    the design pressure angle, midway between the sides' (rad); log of the depth factor; inverse ratio;
    pinion teeth over 10. Spreads are those that `draw_blanks` draws from. Raises InvalidAxle.
    """
    geometry, assumed = geometry_of(axle, system)
    blank = make_blank(geometry, axle.ring_teeth, axle.pinion_teeth, axle.hand, system)
    pressures = blank.pressure_drive_rad, blank.pressure_coast_rad
    diameter = geometry.ring_diameter_mm
    cutter = geometry.cutter_radius_mm / diameter
    middle = np.array(
        [
            geometry.face_width_mm / diameter, geometry.offset_mm / diameter, cutter,
            blank.cones.pinion_spiral_rad, sum(pressures) / 2, math.log(geometry.factors.depth),
            1.0 / axle.ratio, axle.pinion_teeth / 10.0,
        ]
    )  # fmt: skip
    spreads = np.array(
        [
            FACE_WIDTH_SPREAD, OFFSET_SPREAD, cutter * CUTTER_SPREAD[system] / CUTTER_SHARE[system],
            RING_SPIRAL_SPREAD, PRESSURE_SPREAD, DEPTH_SPREAD, 0.0, 0.0,
        ]
    )  # fmt: skip
    open_ = [
        "face_width_in" in assumed, "offset_in" in assumed, "cutter_radius_in" in assumed,
        "spiral_angle_deg" in assumed,
        {"pressure_angle_drive_deg", "pressure_angle_coast_deg"} <= set(assumed),
        True, False, False,
    ]  # fmt: skip
    return middle, np.where(open_, spreads, 0.0)


def covers(axle: Axle, system: System) -> bool:
    """The networks were trained on axles like this one: teeth, size, and what is told of its blank."""
    if not (
        _RATIOS[0] <= axle.ratio <= _RATIOS[1]
        and _PINION_TEETH[0] <= axle.pinion_teeth <= _PINION_TEETH[1]
        and _DIAMETERS_IN[0] <= axle.ring_diameter_in <= _DIAMETERS_IN[1]
        and (axle.offset_in or 0.0) <= _OFFSET_SHARE * axle.ring_diameter_in
    ):
        return False
    plain = replace(
        axle, face_width_in=None, cutter_radius_in=None, spiral_angle_deg=None,
        pressure_angle_drive_deg=None, pressure_angle_coast_deg=None,
    )  # fmt: skip
    usual, spread = middle_blank(plain, system)
    told, _ = middle_blank(axle, system)
    return bool(np.all(np.abs(told - usual)[spread > 0] <= _WITHIN_SPREADS * spread[spread > 0]))


def _play(network: Network, blank: Array, places: Array) -> Array:
    """Play (n, t) by its rates, which the blank alone sets: first and second order in the moves."""
    pinion, ring, offset, shaft = np.moveaxis(places, -1, 0)
    terms = np.stack(
        [pinion, ring, offset, shaft, pinion**2 / 25, pinion * ring / 25, ring**2 / 25], axis=-1
    )
    rates = _answer(network, blank, np.zeros((1, 1, 0)))
    return np.asarray(np.sum(rates * terms, axis=-1))


def _answer(network: Network, own: Array, places: Array) -> Array:
    """Outputs (n, t, k) for what a set is, (n, j), and where it stands, (n, t, 4)."""
    (first, bias), *rest = network
    still = own.astype(np.float32) @ first[: own.shape[1]] + bias
    sets, count, numbers = places.shape
    moved = places.astype(np.float32).reshape(sets * count, numbers) @ first[own.shape[1] :]
    hidden = moved.reshape(sets, count, -1) + still[:, None]
    shape = hidden.shape[:2]
    hidden = np.tanh(hidden, out=hidden).reshape(-1, hidden.shape[2])
    for weight, bias in rest[:-1]:
        hidden = hidden @ weight
        hidden += bias
        np.tanh(hidden, out=hidden)
    weight, bias = rest[-1]
    return np.asarray(hidden @ weight + bias, dtype=np.float64).reshape(*shape, -1)


@lru_cache(maxsize=2)
def _networks(system: System) -> dict[str, Network]:
    """The three networks of a tooth system, input and output scales folded into first and last layer."""
    with _WEIGHTS.open("rb") as file:
        held = np.load(file)
        return {
            part: tuple(
                (held[f"{system} {part} {layer} weight"], held[f"{system} {part} {layer} bias"])
                for layer in range(3)
            )
            for part in ("drive", "coast", "play")
        }
