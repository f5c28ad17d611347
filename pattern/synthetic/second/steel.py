"""The steel of the teeth: machined, lapped, phosphated, oily, rusty or used."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pattern.synthetic.second.arrays import Array, Rng, noise, smooth_step
from pattern.synthetic.second.surfaces import Material
from pattern.synthetic.second.tooth_solid import LAND_FROM, LAND_TO, ROOT_SHARE

_FINISHES: dict[str, tuple[tuple[float, float, float], float, float]] = {
    "machined": ((0.56, 0.55, 0.53), 0.30, 1.0),
    "lapped": ((0.43, 0.43, 0.42), 0.42, 0.97),
    "phosphate": ((0.11, 0.11, 0.115), 0.5, 0.75),
    "oily": ((0.40, 0.39, 0.36), 0.24, 1.0),
    "rusty": ((0.42, 0.39, 0.36), 0.42, 0.95),
    "used": ((0.34, 0.33, 0.31), 0.3, 0.98),
}
"""Colour, roughness and metal share of each finish."""
_ODDS = [0.22, 0.24, 0.2, 0.16, 0.08, 0.1]


@dataclass(frozen=True, eq=False)
class Steel:
    """How the steel of one gear looks; `oil` and `rust` are about the share that has it."""

    kind: str
    colour: Array
    roughness: float
    metal: float
    oil: float
    rust: float
    lines: float
    """Strength of the cutting lines."""
    lines_tilt: float
    lines_count: float
    bright_land: bool
    grain: float


def drawn_steel(rng: Rng) -> Steel:
    """Any finish."""
    kind = str(rng.choice(list(_FINISHES), p=_ODDS))
    colour, roughness, metal = _FINISHES[kind]
    shade = rng.uniform(0.8, 1.15)
    return Steel(
        kind=kind,
        colour=np.array(colour) * shade * (1 + rng.uniform(-0.03, 0.03, 3)),
        roughness=roughness * rng.uniform(0.8, 1.25),
        metal=metal,
        oil=rng.uniform(0.2, 0.9)
        if kind in ("oily", "used")
        else rng.uniform(0, 0.4) * (rng.random() < 0.5),
        rust=rng.uniform(0.3, 0.8)
        if kind == "rusty"
        else rng.uniform(0, 0.2) * (rng.random() < 0.25),
        lines=rng.uniform(0.2, 1),
        lines_tilt=rng.uniform(-0.5, 0.5),
        lines_count=rng.uniform(14, 45),
        bright_land=bool(rng.random() < 0.5),
        grain=rng.uniform(0.5, 1.2),
    )


def lapped_instead(rng: Rng) -> Steel:
    """A lapped gear, where the steel drawn first would hide its compound."""
    colour, roughness, metal = _FINISHES["lapped"]
    return replace(
        drawn_steel(rng), kind="lapped", colour=np.array(colour), roughness=roughness, metal=metal
    )


def steel_strip(rng: Rng, steel: Steel, height: int, width: int) -> Material:
    """The bare steel of one tooth, in the strip that `tooth_solid` lays over it."""
    down = (np.arange(height, dtype=np.float32) + 0.5)[:, None] / height
    across = (np.arange(width, dtype=np.float32) + 0.5)[None] / width
    blotches = noise(rng, height, width, 5, 6, 4)
    fine = noise(rng, height, width, 60, 25, 2)
    lines = noise(rng, height, width, 2.5, 120, 2)
    colour: Array = np.ones((height, width, 3), np.float32) * np.asarray(steel.colour, np.float32)
    colour *= (1 + 0.10 * blotches + 0.06 * fine + 0.07 * steel.lines * lines)[..., None]
    roughness: Array = steel.roughness * (1 + 0.18 * blotches + 0.12 * fine)
    metal: Array = np.full((height, width), steel.metal, np.float32)
    sides, land, root = _regions(down, (height, width))
    if steel.bright_land and steel.kind != "phosphate":
        roughness = np.where(land, 0.28, roughness)
        colour = np.where(land[..., None], np.maximum(colour, 0.42), colour)
    colour = np.where(root[..., None], colour * 0.75, colour)
    roughness = np.where(root, roughness + 0.1, roughness)
    if steel.rust > 0:
        patches = noise(rng, height, width, 7, 9, 5) * 0.9 + 0.1
        rust = smooth_step(0.55 - steel.rust, 1.1 - steel.rust, patches) * 0.9
        brown = np.array([0.17, 0.075, 0.035], np.float32) * (1 + 0.3 * fine[..., None])
        colour = colour * (1 - rust[..., None]) + brown * rust[..., None]
        roughness = roughness * (1 - rust) + 0.8 * rust
        metal = metal * (1 - 0.9 * rust)
    if steel.oil > 0:
        oil = smooth_step(0.3 - steel.oil, 0.9 - steel.oil, noise(rng, height, width, 3, 5, 3))
        roughness = roughness * (1 - oil) + 0.13 * oil
        colour = colour * (1 - oil[..., None] * np.array([0.15, 0.22, 0.4], np.float32))
    phase = (down * 7 + across * steel.lines_tilt * 1.2) * min(steel.lines_count, height / 50)
    wave = np.sin(2 * np.pi * phase + 2 * noise(rng, height, width, 3, 3, 2))
    bump = 0.0013 * steel.lines * wave * sides + 0.004 * fine * steel.grain + 0.003 * lines
    return Material(colour, roughness, metal, bump.astype(np.float32), clamped=True)


def _regions(down: Array, shape: tuple[int, int]) -> tuple[Array, Array, Array]:
    """Masks of the two sides, the top land and the roots in a strip."""
    sides = ((down > ROOT_SHARE) & (down < LAND_FROM)) | (
        (down > LAND_TO) & (down < 1 - ROOT_SHARE)
    )
    land = (down > LAND_FROM) & (down < LAND_TO)
    root = ~(sides | land)
    return tuple(np.broadcast_to(mask, shape) for mask in (sides, land, root))  # type: ignore[return-value]
