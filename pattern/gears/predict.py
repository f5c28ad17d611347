"""Predict what the shop would see: both marks and the backlash after given moves."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pattern.errors import InvalidInput
from pattern.gears.blank import Blank, System, blank_from_axle
from pattern.gears.crowning import Crowning, crowning_from_mark
from pattern.gears.easeoff import EaseOff
from pattern.gears.evaluate import COARSE, FILM_MM, Marks, SideMark, evaluate, evaluate_batch
from pattern.gears.kinematics import Moves
from pattern.gears.prior import draw_blanks, draw_ease_offs
from pattern.records import MM_PER_IN, Axle, Side, SideReading

Array = NDArray[np.float64]
Crown = EaseOff | SideReading | None
_BLANKS, _EASE_OFFS = 10, 6
_LEAST_SD = 0.005


@dataclass(frozen=True, eq=False)
class Prediction:
    """What moves away from a right set-up leave. Inches; a side is None when nothing would mark.

    The readings' spreads cover what is not known of the set (dimensions, cutter, crowning, bias).
    `backlash_in` is normal to the tooth at the heel, `backlash_rotation_in` along the direction of
    rotation there. `marks` holds masks, paths and motion error of the middle case. `other` is the same
    for the other tooth system when the axle does not say which it has. `assumed` names the fields of
    the axle that were filled from defaults. `depth_ratio` is the tooth's depth at the toe over that at
    the heel, for drawings.
    """

    pinion_move_in: float
    ring_move_in: float
    system: System
    drive: SideReading | None
    coast: SideReading | None
    backlash_in: float
    backlash_sd_in: float
    backlash_rotation_in: float
    marks: Marks
    depth_ratio: float
    assumed: tuple[str, ...]
    other: Prediction | None = None


def predict(
    axle: Axle,
    pinion_move_in: float = 0.0,
    ring_move_in: float = 0.0,
    *,
    system: System | None = None,
    drive: Crown = None,
    coast: Crown = None,
    film_mm: float = FILM_MM,
    backlash_in: float | None = None,
) -> Prediction:
    """Marks and backlash when a set that stood right is moved: pinion + deeper, ring gear + away.

    "Right" is the drawing position with both marks in the middle and `backlash_in` (middle of the
    axle's limits when None). `system` overrides the axle's tooth system. `drive` and `coast` tell each
    side's crowning: an ease-off, or a mark seen on this set whose length, width and tilt give it
    (`pattern.gears.crowning`), or None for the default and its spread. Raises InvalidAxle, and
    InvalidInput for moves the computation does not hold for or that would leave no backlash.
    """
    unknown = system is None and axle.tooth_system == "unknown"
    chosen: System = system or ("uniform" if axle.tooth_system == "uniform" else "tapered")
    for name, value in (("pinion_move_in", pinion_move_in), ("ring_move_in", ring_move_in)):
        if not math.isfinite(value) or abs(value) > 0.05:
            raise InvalidInput(
                f"{value!r} is not a move between -0.05 and 0.05", subject=name,
                remedy="Inches are meant: 0.004 for four thousandths",
            )  # fmt: skip
    start = (
        (axle.backlash_min_in + axle.backlash_max_in) / 2 if backlash_in is None else backlash_in
    )
    state = _State(pinion_move_in * MM_PER_IN, ring_move_in * MM_PER_IN, start * MM_PER_IN, film_mm)
    blank = blank_from_axle(axle, chosen)
    crowns = _crowning(blank, "drive", drive, film_mm), _crowning(blank, "coast", coast, film_mm)
    marks = evaluate(
        blank, Moves(state.pinion_mm, state.ring_mm), *(_middle(crown) for crown in crowns),
        film_mm=film_mm, drawing_backlash_mm=state.backlash_mm,
    )  # fmt: skip
    if marks.backlash_mm <= 0:
        raise InvalidInput(
            f"these moves leave no backlash ({marks.backlash_mm / MM_PER_IN:+.4f} in): the teeth would bind",
            subject="ring_move_in" if ring_move_in < 0 else "pinion_move_in",
            remedy="Move the ring gear away as the pinion goes deeper",
        )
    drive_sd, coast_sd, backlash_sd = _spreads(axle, chosen, state, crowns)
    other: Prediction | None = None
    if unknown:
        other = predict(
            axle, pinion_move_in, ring_move_in, system="uniform", drive=drive, coast=coast,
            film_mm=film_mm, backlash_in=backlash_in,
        )  # fmt: skip
    assumed = ("tooth_system", *blank.assumed) if unknown else blank.assumed
    return Prediction(
        pinion_move_in, ring_move_in, chosen, side_reading(marks.drive, drive_sd),
        side_reading(marks.coast, coast_sd), marks.backlash_mm / MM_PER_IN, backlash_sd / MM_PER_IN,
        marks.backlash_rotation_mm / MM_PER_IN, marks, blank.depth_ratio, assumed, other,
    )  # fmt: skip


def side_reading(mark: SideMark, sd: tuple[float, float]) -> SideReading | None:
    """A computed mark as the reading a photo of it would give; None where nothing marks."""
    if not mark.area > 0:
        return None
    edges: tuple[str, ...] = mark.edges
    return SideReading(
        lengthwise=mark.lengthwise,
        profile=mark.profile,
        lengthwise_sd=sd[0],
        profile_sd=sd[1],
        length=max(mark.extent_lengthwise[1] - mark.extent_lengthwise[0], 1e-3),
        width=max(mark.extent_profile[1] - mark.extent_profile[0], 1e-3),
        tilt_deg=mark.tilt_deg,
        edges=edges,  # type: ignore[arg-type]
        bands=max(1, mark.bands),  # a sliver narrower than the lattice counts none
    )


@dataclass(frozen=True)
class _State:
    pinion_mm: float
    ring_mm: float
    backlash_mm: float
    film_mm: float


def _crowning(blank: Blank, side: Side, crown: Crown, film_mm: float) -> EaseOff | Crowning | None:
    """A mark seen becomes the crowning behind it."""
    if isinstance(crown, SideReading):
        return crowning_from_mark(blank, side, crown, film_mm=film_mm)
    return crown


def _middle(crown: EaseOff | Crowning | None) -> EaseOff:
    if isinstance(crown, Crowning):
        return crown.ease_off()
    return crown or EaseOff()


def _draws(crown: EaseOff | Crowning | None, rng: np.random.Generator) -> EaseOff:
    if isinstance(crown, Crowning):
        return crown.draw(_EASE_OFFS, rng)
    return crown or draw_ease_offs(_EASE_OFFS, rng)


def _spreads(
    axle: Axle, system: System, state: _State, crowns: tuple[EaseOff | Crowning | None, ...]
) -> tuple[tuple[float, float], tuple[float, float], float]:
    """Spread of both centres and of the backlash over sets the axle could be.

    Each draw is compared with its own place at rest: a right set-up is right for every draw.
    """
    rng = np.random.default_rng(1)
    shifts = [
        _shift(blank, state, *(_draws(crown, rng) for crown in crowns))
        for blank in draw_blanks(axle, system, _BLANKS)
    ]
    spread = np.nanstd(np.concatenate(shifts, axis=1), axis=1)
    places = np.maximum(np.nan_to_num(spread[:4], nan=0.25), _LEAST_SD)
    return (
        (float(places[0]), float(places[1])),
        (float(places[2]), float(places[3])),
        float(spread[4]),
    )


def _shift(blank: Blank, state: _State, drive: EaseOff, coast: EaseOff) -> Array:
    """Change of the four centre coordinates and the backlash with the moves: (5, draws)."""
    still = evaluate_batch(blank, Moves(), drive, coast, film_mm=state.film_mm, resolution=COARSE)
    moved = evaluate_batch(
        blank,
        Moves(state.pinion_mm, state.ring_mm),
        drive,
        coast,
        film_mm=state.film_mm,
        resolution=COARSE,
    )
    return np.stack(
        [
            moved.drive.lengthwise - still.drive.lengthwise,
            moved.drive.profile - still.drive.profile,
            moved.coast.lengthwise - still.coast.lengthwise,
            moved.coast.profile - still.coast.profile,
            moved.backlash_mm - still.backlash_mm,
        ]
    )
