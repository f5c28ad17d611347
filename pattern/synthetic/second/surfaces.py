"""What everything but the teeth is made of: cast iron, wood, cloth, skin, as small textures."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from pattern.synthetic.second.arrays import Array, Rng, noise, smooth_step


@dataclass(frozen=True, eq=False)
class Material:
    """Textures of a surface; each an array (rows, columns) or one number, colours linear RGB 0 to 1."""

    colour: Any
    roughness: Any
    metal: Any
    """1 for bare metal, 0 for anything else."""
    bump_mm: Any
    clamped: bool = False
    """The texture stops at its edges instead of going on as its mirror image."""


@dataclass(frozen=True, eq=False)
class _Patch:
    """A square to be coloured, with coarse and fine noise for it."""

    rng: Rng
    size: int
    coarse: Array
    fine: Array

    def flat(self, colour: Sequence[float] | Array) -> Array:
        """The whole square in one colour."""
        return np.ones((self.size, self.size, 3), np.float32) * np.array(colour, np.float32)

    def field(self, across: float, down: float, octaves: int = 4) -> Array:
        """More noise."""
        return noise(self.rng, self.size, self.size, across, down, octaves)

    def level(self, value: float) -> Array:
        """The same number everywhere."""
        return np.full((self.size, self.size), value)

    def one_of(self, colours: Sequence[Sequence[float]]) -> Sequence[float]:
        """One of the colours."""
        return colours[int(self.rng.integers(len(colours)))]


def _cast(p: _Patch) -> Material:
    grey = np.array([0.16, 0.155, 0.15]) * p.rng.uniform(0.5, 1.5)
    colour = p.flat(grey) * (1 + 0.25 * p.coarse + 0.2 * p.fine)[..., None]
    bump = 0.10 * p.fine + 0.05 * p.coarse
    return Material(colour, 0.62 + 0.12 * p.coarse, p.level(0.35), bump)


def _rusty_cast(p: _Patch) -> Material:
    rust = smooth_step(-0.3, 0.6, p.coarse)[..., None]
    brown = np.array([0.15, 0.075, 0.04]) * p.rng.uniform(0.6, 1.1)
    colour = p.flat([0.12, 0.11, 0.10]) * (1 - rust) + p.flat(brown) * rust
    colour = colour * (1 + 0.25 * p.fine)[..., None]
    return Material(colour, 0.8 + 0.1 * p.coarse, p.level(0.1), 0.12 * p.fine)


def _aluminium(p: _Patch) -> Material:
    colour = p.flat([0.55, 0.55, 0.54]) * (1 + 0.12 * p.coarse + 0.08 * p.fine)[..., None]
    return Material(colour, 0.45 + 0.1 * p.coarse, p.level(0.8), 0.06 * p.fine)


def _black_paint(p: _Patch) -> Material:
    black = np.array([0.03, 0.03, 0.032]) * p.rng.uniform(0.6, 2)
    colour = p.flat(black) * (1 + 0.3 * p.coarse)[..., None]
    return Material(colour, 0.35 + 0.15 * p.coarse, p.level(0.0), 0.05 * p.fine)


def _machined(p: _Patch) -> Material:
    lines = 1 + 0.1 * p.coarse + 0.12 * p.field(2, 160, 2)
    colour = p.flat([0.5, 0.49, 0.47]) * lines[..., None]
    return Material(colour, 0.32 + 0.06 * p.coarse, p.level(1.0), 0.004 * p.field(2, 200, 1))


def _bright(p: _Patch) -> Material:
    colour = p.flat([0.62, 0.61, 0.6]) * (1 + 0.05 * p.coarse)[..., None]
    return Material(colour, 0.15 + 0.03 * p.coarse, p.level(1.0), 0.0 * p.fine)


def _black_oxide(p: _Patch) -> Material:
    colour = p.flat([0.03, 0.03, 0.032]) * (1 + 0.3 * p.coarse)[..., None]
    return Material(colour, 0.35 + 0.08 * p.coarse, p.level(0.6), 0.01 * p.fine)


def _wood(p: _Patch) -> Material:
    down = np.linspace(0, 1, p.size, dtype=np.float32)[:, None]
    grain = np.sin(60 * (down + 0.05 * p.field(2, 4, 3))) * 0.5 + p.field(3, 90, 3)
    base = p.one_of([[0.33, 0.20, 0.10], [0.42, 0.30, 0.18], [0.20, 0.13, 0.08]])
    stain = smooth_step(0.5, 1, p.coarse)
    colour = p.flat(base) * (1 + 0.18 * grain)[..., None] * (1 - 0.6 * stain[..., None])
    return Material(colour, 0.6 - 0.2 * stain, p.level(0.0), 0.1 * grain)


def _concrete(p: _Patch) -> Material:
    stain = smooth_step(0.35, 0.8, p.field(5, 5, 4))
    colour = p.flat([0.33, 0.32, 0.30]) * (1 + 0.12 * p.coarse + 0.12 * p.fine)[..., None]
    colour = colour * (1 - 0.65 * stain[..., None])
    return Material(colour, 0.8 - 0.35 * stain, p.level(0.0), 0.15 * p.fine)


def _cardboard(p: _Patch) -> Material:
    flutes = 1 + 0.05 * p.coarse + 0.05 * p.field(2, 90, 2)
    stain = 1 - 0.5 * smooth_step(0.6, 1.0, p.coarse)
    colour = p.flat([0.42, 0.29, 0.17]) * flutes[..., None] * stain[..., None]
    return Material(colour, 0.85 + 0 * p.coarse, p.level(0.0), 0.03 * p.fine)


def _rubber_mat(p: _Patch) -> Material:
    black = np.array([0.03, 0.03, 0.035]) * p.rng.uniform(0.8, 2.5)
    colour = p.flat(black) * (1 + 0.3 * p.coarse + 0.3 * p.fine)[..., None]
    return Material(colour, 0.7 + 0.1 * p.coarse, p.level(0.0), 0.1 * p.fine)


def _sheet_metal(p: _Patch) -> Material:
    lines = 1 + 0.15 * p.coarse + 0.06 * p.field(2, 100, 2)
    colour = p.flat([0.36, 0.37, 0.38]) * lines[..., None]
    return Material(colour, 0.34 + 0.12 * p.coarse, p.level(0.9), 0.01 * p.fine)


def _tiles(p: _Patch) -> Material:
    joint = (np.arange(p.size) % 128) < 4
    joints = (joint[None] | joint[:, None])[..., None]
    tile = p.flat([0.45, 0.42, 0.38]) * (1 + 0.1 * p.coarse)[..., None]
    colour = np.where(joints, p.flat([0.15, 0.14, 0.13]), tile)
    return Material(colour, 0.35 + 0.1 * p.coarse, p.level(0.0), 0.05 * p.fine)


def _cloth(p: _Patch) -> Material:
    dye = p.one_of(
        [
            [0.42, 0.03, 0.03],
            [0.06, 0.12, 0.35],
            [0.55, 0.54, 0.5],
            [0.25, 0.25, 0.26],
            [0.6, 0.42, 0.3],
            [0.1, 0.22, 0.12],
        ]
    )
    thread = np.sin(np.arange(p.size, dtype=np.float32) * 1.6)
    weave = 0.5 + 0.25 * (thread[None] + thread[:, None])
    stain = smooth_step(0.25, 0.9, p.field(4, 4, 4))
    colour = p.flat(dye) * (0.75 + 0.35 * weave + 0.12 * p.coarse)[..., None]
    colour = colour * (1 - 0.75 * stain[..., None])
    return Material(colour, 0.95 - 0.3 * stain, p.level(0.0), 0.05 * weave)


def _skin(p: _Patch) -> Material:
    tone = np.array([0.52, 0.33, 0.24]) * p.rng.choice([0.25, 0.55, 0.85, 1.05])
    colour = p.flat(tone) * (1 + 0.1 * p.coarse + 0.06 * p.fine)[..., None]
    grime = smooth_step(0.3, 1.0, p.field(5, 5, 3))[..., None]
    colour = colour * (1 - 0.5 * grime * p.rng.random())
    return Material(colour, 0.48 + 0.08 * p.coarse, p.level(0.0), 0.08 * p.fine)


def _glove(p: _Patch) -> Material:
    dye = p.one_of(
        [
            [0.02, 0.02, 0.022],
            [0.05, 0.16, 0.5],
            [0.75, 0.33, 0.05],
            [0.55, 0.55, 0.52],
            [0.3, 0.18, 0.4],
        ]
    )
    colour = p.flat(dye) * (1 + 0.12 * p.coarse)[..., None]
    bump = 0.12 * p.fine + 0.25 * p.field(8, 8, 2)
    return Material(colour, 0.4 + 0.1 * p.coarse, p.level(0.0), bump)


_KINDS: dict[str, Callable[[_Patch], Material]] = {
    "cast": _cast,
    "rusty cast": _rusty_cast,
    "aluminium": _aluminium,
    "black paint": _black_paint,
    "machined": _machined,
    "bright": _bright,
    "black oxide": _black_oxide,
    "wood": _wood,
    "concrete": _concrete,
    "cardboard": _cardboard,
    "rubber mat": _rubber_mat,
    "sheet metal": _sheet_metal,
    "tiles": _tiles,
    "cloth": _cloth,
    "skin": _skin,
    "glove": _glove,
}
KINDS = tuple(_KINDS)


def drawn_surface(rng: Rng, kind: str, size_px: int = 384) -> Material:
    """A surface of one of `KINDS`, as a square texture."""
    coarse = noise(rng, size_px, size_px, 6, 6, 5)
    fine = noise(rng, size_px, size_px, 90, 90, 2)
    return _KINDS[kind](_Patch(rng, size_px, coarse, fine))
