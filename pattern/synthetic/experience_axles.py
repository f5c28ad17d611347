"""Axles for the training of `pattern.advice.experience`: the ring gears and pinions its drawn sets belong to.

Tooth counts as they occur in axles, ring gears of 6.6 to 12 in, some with an offset or a cutter told, backlash
limits from 0.002 to 0.005 in wide about 0.006 to 0.010 in. Three of ten are the plain axle of the closed loop:
the commonest job must be learnt best. Takes three seconds.
Needs torch.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor

from pattern.errors import InvalidAxle
from pattern.gears.blank import System
from pattern.gears.quick_marks import REFERENCE_DIAMETER_IN, covers, middle_blank
from pattern.records import Axle
from pattern.synthetic.quick_draw import TEETH

Array = NDArray[np.float64]

SYSTEMS: tuple[System, ...] = ("tapered", "uniform")
PLAIN = Axle(41, 11, REFERENCE_DIAMETER_IN, tooth_system="unknown")
PLAIN_LIMITS_THOU = (6.0, 10.0)
_PLAIN_SHARE = 0.3
_DIAMETERS_IN = (6.6, 12.0)
_OFFSET_TOLD, _OFFSETS_IN = 0.25, (0.0, 1.0, 1.25, 1.5)  # the offsets at the reference diameter
_CUTTER_TOLD, _CUTTER_SHARES = 0.15, (0.38, 0.55)
_LIMITS_TOLD, _MIDDLES_THOU, _WIDTHS_THOU = 0.6, (6.0, 10.0), (2.0, 3.0, 4.0, 4.0, 5.0)
_DESIGN_SDS = (0.02, 0.024, 0.028)
# spreads for what the plain axle tells: one number for all, as wide as axles differ
_SPREAD_IF_TOLD = np.array([1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 0.06, 0.25])


@dataclass(frozen=True, eq=False)
class DrawnAxles:
    """n axles. By tooth system `middle`, `spread` (n, 8): `gears.quick_marks.middle_blank`.

    `scale` (n,): reference over ring gear diameter. `limits_thou` (n, 2): backlash limits. `design_sd` (n,): how
    far makers place the marks from the usual place, one standard deviation, share of the tooth.
    """

    middle: dict[System, Array]
    spread: dict[System, Array]
    scale: Array
    limits_thou: Array
    design_sd: Array


def draw_axles(count: int = 900, seed: int = 4) -> DrawnAxles:
    """Draw axles that the quick marks cover in both tooth systems; impossible ones are left out."""
    rng = np.random.default_rng(seed)
    blanks: list[list[tuple[Array, Array]]] = []
    rest: list[tuple[float, tuple[float, float], float]] = []
    while len(rest) < count:
        axle, limits = _axle(rng)
        try:
            if not all(covers(axle, system) for system in SYSTEMS):
                continue
            blanks.append([middle_blank(axle, system) for system in SYSTEMS])
        except InvalidAxle:
            continue
        scale = REFERENCE_DIAMETER_IN / axle.ring_diameter_in
        rest.append((scale, limits, float(rng.choice(_DESIGN_SDS))))
    scales, limits_thou, design_sds = (np.array(part) for part in zip(*rest, strict=True))
    middle, spread = (
        {system: np.array([of[k][part] for of in blanks]) for k, system in enumerate(SYSTEMS)}
        for part in range(2)
    )
    return DrawnAxles(middle, spread, scales, limits_thou, design_sds)


def _axle(rng: np.random.Generator) -> tuple[Axle, tuple[float, float]]:
    """An axle and its backlash limits in thousandths."""
    if rng.random() < _PLAIN_SHARE:
        return PLAIN, PLAIN_LIMITS_THOU
    teeth = TEETH[int(rng.integers(len(TEETH)))]
    axle = Axle(*teeth, round(float(rng.uniform(*_DIAMETERS_IN)), 2), tooth_system="unknown")
    if rng.random() < _OFFSET_TOLD:
        offset = float(rng.choice(_OFFSETS_IN)) * axle.ring_diameter_in / REFERENCE_DIAMETER_IN
        axle = replace(axle, offset_in=round(offset, 3))
    if rng.random() < _CUTTER_TOLD:
        cutter = float(rng.uniform(*_CUTTER_SHARES)) * axle.ring_diameter_in
        axle = replace(axle, cutter_radius_in=round(cutter, 3))
    middle, width = rng.uniform(*_MIDDLES_THOU), rng.choice(_WIDTHS_THOU)
    if rng.random() < _LIMITS_TOLD:
        return axle, (middle - width / 2, middle + width / 2)
    return axle, PLAIN_LIMITS_THOU


def reference_blank() -> tuple[Array, Array]:
    """Middle and spread (8,) of the plain axle's blank, by which every job's blank is measured."""
    middle, spread = middle_blank(PLAIN, "tapered")
    return middle, np.where(spread > 0.0, spread, _SPREAD_IF_TOLD)


@dataclass(frozen=True, eq=False)
class Axles:
    """`DrawnAxles` of one tooth system on a device; `blank`, `open_` (n, 8) as the network is told them."""

    middle: Tensor
    spread: Tensor
    scale: Tensor
    limits_thou: Tensor
    design_sd: Tensor
    blank: Tensor
    open_: Tensor


def axles_on(drawn: DrawnAxles, system: System, device: torch.device) -> Axles:
    """Put drawn axles on a device. A job's blank is told as if tapered: its system may be unknown."""
    middle, spread = reference_blank()
    blank = np.clip((drawn.middle[SYSTEMS[0]] - middle) / spread, -3.0, 3.0)
    parts = (
        drawn.middle[system], drawn.spread[system], drawn.scale, drawn.limits_thou, drawn.design_sd,
        blank, drawn.spread[SYSTEMS[0]] > 0.0,
    )  # fmt: skip
    return Axles(*(torch.as_tensor(p, dtype=torch.float32, device=device) for p in parts))
