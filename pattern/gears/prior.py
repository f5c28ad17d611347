"""Draws of sets that an axle's data allow: blanks and ease-offs within the defaults' spreads."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np

from pattern.errors import InvalidAxle
from pattern.gears.blank import Blank, System, make_blank
from pattern.gears.defaults import draw_geometry, geometry_of
from pattern.gears.easeoff import (
    BIAS_SPREAD_MM,
    LENGTHWISE_MM,
    LENGTHWISE_SPREAD,
    PROFILE_MM,
    PROFILE_SPREAD,
    EaseOff,
)
from pattern.gears.lattice import tooth_lattice
from pattern.records import SIDES, Axle

_TRIES = 20  # draws per blank wanted before giving up on an axle


def draw_blanks(axle: Axle, system: System, count: int, seed: int = 0) -> tuple[Blank, ...]:
    """`count` blanks that this axle could be, the middle one first; repeatable for a seed.

    Only what the axle leaves open varies. A draw that no cutter could make or whose pinion would be
    undercut is drawn again. Raises InvalidAxle when the axle's own data are impossible.
    """
    # what does not touch the blank must not spoil the cache
    bare = replace(axle, target=None, backlash_min_in=0.0, backlash_max_in=0.1, depth_shim_in=None)
    return _draw_blanks(bare, system, count, seed)


@lru_cache(maxsize=64)
def _draw_blanks(axle: Axle, system: System, count: int, seed: int) -> tuple[Blank, ...]:
    rng = np.random.default_rng(seed)
    geometry, assumed = geometry_of(axle, system)
    teeth = axle.ring_teeth, axle.pinion_teeth
    blanks = [make_blank(geometry, *teeth, axle.hand, system, assumed)]
    for _ in range(_TRIES * count):
        if len(blanks) >= count:
            break
        try:
            blank = make_blank(
                draw_geometry(geometry, assumed, system, rng), *teeth, axle.hand, system, assumed
            )
            for side in SIDES:
                tooth_lattice(blank, side, 17, 11)
        except InvalidAxle:
            continue
        blanks.append(blank)
    return tuple(blanks)


def draw_ease_offs(count: int, rng: np.random.Generator) -> EaseOff:
    """Draws (count,) of crowning and bias; log-normal crownings, normal bias."""
    return EaseOff(
        LENGTHWISE_MM * np.exp(rng.normal(0, LENGTHWISE_SPREAD, count)),
        PROFILE_MM * np.exp(rng.normal(0, PROFILE_SPREAD, count)),
        rng.normal(0, BIAS_SPREAD_MM, count),
    )
