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
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

from pattern.gears.blank import Blank, System, blank_from_axle
from pattern.gears.defaults import geometry_of
from pattern.gears.easeoff import LENGTHWISE_MM, PROFILE_MM
from pattern.gears.evaluate import FILM_MM
from pattern.records import MM_PER_IN, Axle

Array = NDArray[np.float64]
Network = tuple[tuple[NDArray[np.float32], NDArray[np.float32]], ...]

REFERENCE_DIAMETER_IN = 8.5
BIAS_UNIT_MM = 0.012
BLANK_SIZE, EASE_SIZE, PLACE_SIZE = 8, 5, 4
_WEIGHTS = files("pattern.gears") / "quick_marks.npz"
_RATIOS, _PINION_TEETH, _DIAMETERS_IN, _OFFSET_SHARE = (2.6, 6.3), (6, 16), (6.4, 12.1), 0.25


@dataclass(frozen=True, eq=False)
class QuickSets:
    """n sets in the networks' own terms.

    `blank` (n, 8): `blank_numbers`. `film` (n,): log of the film over `FILM_MM`. `drive`, `coast` (n, 5):
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
    play = _answer(nets["play"], sets.blank, at)[..., 0] / sets.scale
    drive, coast = seen
    return QuickMarks(
        np.concatenate([drive[..., :2], coast[..., :2]], axis=-1),
        np.concatenate([drive[..., 2:], coast[..., 2:]], axis=-1),
        play,
    )


def blank_numbers(blank: Blank, pinion_spiral_rad: float, pressure_rad: float, depth: float) -> Array:
    """What the networks know of a blank, (8,): shares of the diameter, angles (rad), tooth counts.

    `depth` is the factor of `proportions`, `pressure_rad` the design angle, midway between the sides'.
    """
    return np.array(
        [
            blank.face_width_mm / blank.ring_diameter_mm,
            blank.offset_mm / blank.ring_diameter_mm,
            blank.cutter_radius_mm / blank.ring_diameter_mm,
            pinion_spiral_rad, pressure_rad, math.log(depth),
            1.0 / blank.ratio, blank.pinion_teeth / 10.0,
        ]
    )  # fmt: skip


def _answer(network: Network, own: Array, places: Array) -> Array:
    """Outputs (n, t, k) for what a set is, (n, j), and where it stands, (n, t, 4)."""
    (first, bias), *rest = network
    still = own.astype(np.float32) @ first[: own.shape[1]] + bias
    hidden = np.tanh(still[:, None] + places.astype(np.float32) @ first[own.shape[1] :])
    for weight, bias in rest[:-1]:
        hidden = np.tanh(hidden @ weight + bias)
    weight, bias = rest[-1]
    return np.asarray(hidden @ weight + bias, dtype=np.float64)


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
