"""What one photo is of: the gear, the painted teeth, the setting and the size of the picture."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pattern.synthetic.second.arrays import Array, Rng, tooth_turn, unit
from pattern.synthetic.second.gear import DRIVE, Gear, drawn_gear
from pattern.synthetic.second.solids import Shape
from pattern.synthetic.second.tooth_solid import (
    Blank,
    blank_behind,
    ring_of_teeth,
    tooth_solid,
)

FAULTS = ("not rolled", "not painted", "motion blur", "dark", "glare", "too far", "covered")
STYLES = ("bench", "housing", "carrier", "held")
_LASTING = 6
"""After so many attempts a photo may be of another side, hand, setting or size."""


@dataclass(frozen=True)
class Order:
    """Which photo is asked for; `fault` is one of FAULTS, or None for a readable photo."""

    index: int
    fault: str | None
    seed: int
    scale: float = 1.0
    """Factor on the picture's size, below 1 for quick looks."""
    samples: int = 64
    """Samples a pixel."""

    def main_rng(self, attempt: int) -> Rng:
        """Draws everything that may differ when a photo is tried again."""
        return np.random.default_rng([self.seed, self.index, attempt])

    def tooth_rng(self, attempt: int) -> Rng:
        """Draws what differs from tooth to tooth."""
        return np.random.default_rng([self.seed, self.index, attempt, 77])

    def lasting_rng(self, attempt: int) -> Rng:
        """Draws side, hand, place and size, which stay, so that hard photos are not thinned out."""
        return np.random.default_rng([self.seed, self.index, 555 + attempt // _LASTING])


@dataclass(frozen=True, eq=False)
class Subject:
    """The gear as it lies before the camera; painted teeth are numbered from the one at azimuth 0."""

    gear: Gear
    side: int
    style: str
    painted: tuple[int, ...]
    azimuth_rad: float
    wanted_px: float
    """Length of a tooth side in the picture."""
    size_px: tuple[int, int]
    long_px: float
    """The long side of the picture, before it is rounded."""
    tooth: Shape
    blank: Blank
    thickness_mm: float
    """Of the blank behind the heel."""
    up: Array
    """Away from the ground, in the gear's frame."""
    opening_mm: float
    """Where on the axis the housing's cover opening has its middle."""

    @property
    def middle(self) -> int:
        """The painted tooth in the middle."""
        return self.painted[len(self.painted) // 2]

    def turn(self, tooth: int) -> Array:
        """Matrix (4, 4) that brings tooth 0 to the tooth."""
        return tooth_turn(tooth, self.gear.teeth)

    def on_side(self, tooth: int, lengthwise: Array, profile: Array) -> Array:
        """Points (n, 3) of the declared side of a tooth."""
        linear = self.turn(tooth)[:3, :3]
        return np.asarray(self.gear.flank(self.side, lengthwise, profile) @ linear.T)

    def ring(self) -> Shape:
        """All teeth and the body behind them."""
        shape = ring_of_teeth(self.gear, self.tooth, [self.turn(i) for i in range(self.gear.teeth)])
        shape.add(self.blank.shape)
        return shape

    def spot(self) -> Spot:
        """The middle of the middle painted side."""
        turn, half = self.turn(self.middle)[:3, :3], np.array([0.5])
        flank = self.gear.flank
        upward = flank(self.side, half, half + 0.45) - flank(self.side, half, half - 0.45)
        along = flank(self.side, half + 0.4, half) - flank(self.side, half - 0.4, half)
        return Spot(
            point=turn @ flank(self.side, half, half)[0],
            outward=turn @ self.gear.outward(self.side, half, half)[0],
            to_tip=unit(turn @ upward[0]),
            to_heel=unit(turn @ along[0]),
        )


@dataclass(frozen=True, eq=False)
class Spot:
    """A point (3,) on a tooth side with the directions there."""

    point: Array
    outward: Array
    to_tip: Array
    to_heel: Array


def drawn_subject(order: Order, rng: Rng, lasting: Rng) -> Subject:
    """Gear, teeth, setting and picture size."""
    gear = drawn_gear(rng)
    side = int(lasting.random() < 0.47)
    gear = replace(gear, hand="right" if lasting.random() < 0.78 else "left")
    style = str(lasting.choice(STYLES, p=[0.2, 0.36, 0.28, 0.16]))
    thickness = rng.uniform(0.06, 0.12) * gear.diameter_mm
    count = int(rng.choice([1, 2, 3, 4, 5, 11], p=[0.09, 0.17, 0.27, 0.24, 0.15, 0.08]))
    wanted = _wanted_px(lasting)
    if order.fault == "too far":
        wanted = rng.uniform(22, 44)
    wanted *= order.scale
    long_px, size = _size_px(rng, order.scale)
    azimuth = _azimuth(rng, gear, side, style)
    first = round(azimuth / (2 * np.pi) * gear.teeth) - count // 2
    tooth = tooth_solid(gear, 44 if wanted > 500 else 30, 14 if wanted > 500 else 9)
    blank = blank_behind(gear, rng, thickness)
    up = _up(rng, style)
    return Subject(
        gear=gear,
        side=side,
        style=style,
        painted=tuple(first + i for i in range(count)),
        azimuth_rad=azimuth,
        wanted_px=wanted,
        size_px=size,
        long_px=long_px,
        tooth=tooth,
        blank=blank,
        thickness_mm=thickness,
        up=up,
        opening_mm=rng.uniform(-0.02, 0.16) * gear.diameter_mm,
    )


def _wanted_px(lasting: Rng) -> float:
    if lasting.random() < 0.75:
        return float(np.exp(lasting.uniform(np.log(85), np.log(1150))))
    return float(lasting.uniform(180, 520))


def _size_px(rng: Rng, scale: float) -> tuple[float, tuple[int, int]]:
    """Long side, and width and height; about 1500 px on the long side, lying or upright."""
    long_px = int(round(rng.uniform(1350, 1620) / 4) * 4)
    shape = rng.choice([4 / 3, 16 / 9, 1.0, 1.5], p=[0.6, 0.22, 0.08, 0.1])
    short_px = int(long_px / shape)
    width, height = (long_px, short_px) if rng.random() < 0.6 else (short_px, long_px)
    size = int(width * scale) // 2 * 2, int(height * scale) // 2 * 2
    return long_px * scale, size


def _azimuth(rng: Rng, gear: Gear, side: int, style: str) -> float:
    """Where the painted teeth are; in a housing where the opening shows the side."""
    if style != "housing":
        return float(rng.uniform(0, 2 * np.pi))
    towards = 1 if (side == DRIVE) == (gear.hand == "right") else -1
    return float((rng.uniform(-75, 60) * towards) * np.pi / 180)


def _up(rng: Rng, style: str) -> Array:
    axis = np.array([0, 0, 1.0])
    if style == "bench":
        return unit(axis)
    if style == "housing":
        level = np.array([0, rng.choice([1, -1, 1]), 0]) * 1.0
        return unit(level + np.array([rng.normal(0, 0.15), 0, 0]))
    around = rng.uniform(0, 6.28)
    up = unit(np.array([np.cos(around), np.sin(around), rng.uniform(-0.1, 0.9)]))
    if style == "held":
        up = unit(up + axis * rng.uniform(-0.2, 1.2))
    return unit(up)
