"""Invented axles and rolls that the advice tests share."""

from __future__ import annotations

from typing import Any

from pattern.advice.correction import correct
from pattern.records import Advice, Axle, Roll, SideReading
from pattern.settings import Settings


def axle(**changes: Any) -> Axle:
    known = {
        "ring_teeth": 41, "pinion_teeth": 11, "ring_diameter_in": 8.5, "tooth_system": "tapered",
        "depth_shim": "pinion_head", "depth_shim_in": 0.030, "left_shim_in": 0.250, "right_shim_in": 0.265,
    }  # fmt: skip
    return Axle(**(known | changes))


def mark(lengthwise: float, profile: float, **more: Any) -> SideReading:
    return SideReading(lengthwise, profile, **({"lengthwise_sd": 0.02, "profile_sd": 0.03} | more))


def roll(
    drive: tuple[float, float] | None,
    coast: tuple[float, float] | None,
    backlash_in: float | None = 0.008,
    **moves: Any,
) -> Roll:
    return Roll(
        drive=None if drive is None else mark(*drive),
        coast=None if coast is None else mark(*coast),
        backlash_in=backlash_in,
        **moves,
    )


def advise(axle_: Axle, *rolls: Roll, **more: Any) -> Advice:
    return correct(axle_, rolls, settings=Settings(), **more)
