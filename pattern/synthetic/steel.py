"""Bare steel and compound as surface textures: colour, roughness, metal share, wetness, height."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pattern.synthetic.noise import Field, layered_noise, ramp, streaks
from pattern.synthetic.paint import COLOURS, Brush

Rgb = tuple[float, float, float]


@dataclass(frozen=True)
class Finish:
    """A steel surface. `colour` is linear RGB reflectance; `oil` 0 to 1 is a wet film on it."""

    name: str
    colour: Rgb
    roughness: float
    metal: float
    scratch_um: float
    oil: float = 0.0
    stain: float = 0.0


FINISHES: dict[str, Finish] = {
    "machined": Finish("machined", (0.55, 0.53, 0.50), 0.33, 1.0, 1.6),
    "lapped": Finish("lapped", (0.47, 0.46, 0.45), 0.42, 1.0, 0.9),
    "phosphate": Finish("phosphate", (0.075, 0.075, 0.08), 0.50, 0.55, 0.8),
    "oily": Finish("oily", (0.36, 0.33, 0.28), 0.34, 1.0, 1.0, oil=0.8, stain=0.25),
    "used": Finish("used", (0.34, 0.29, 0.23), 0.42, 0.95, 1.4, oil=0.35, stain=0.5),
    "bright": Finish("bright", (0.68, 0.66, 0.63), 0.24, 1.0, 1.0),
    "shot": Finish("shot", (0.42, 0.42, 0.43), 0.55, 0.95, 2.2),
    "blued": Finish("blued", (0.10, 0.11, 0.15), 0.36, 0.85, 0.9, oil=0.2),
}


@dataclass(frozen=True, eq=False)
class SurfaceFields:
    """Textures of one tooth, (section, lengthwise): colour (..., 3), the rest (...,); height in mm."""

    colour: Field
    roughness: Field
    metal: Field
    wet: Field
    height_mm: Field


def tooth_surface(
    finish: Finish, brush: Brush, thickness_um: Field, wiped: Field, rng: np.random.Generator
) -> SurfaceFields:
    """Steel under compound: thin compound lets the steel through; the mark's steel is rubbed bright."""
    shape = thickness_um.shape
    cutter = streaks((shape[1], shape[0]), 240, 0.004, 0.0, rng).T
    mottle = layered_noise(shape, (5, 7), rng)
    fine = layered_noise(shape, (shape[0] / 8, shape[1] / 8), rng, layers=2)
    steel = (
        np.asarray(finish.colour, np.float32)
        * (1.0 + 0.05 * cutter + 0.05 * mottle + 0.03 * fine)[..., None]
    )
    stain = ramp(layered_noise(shape, (4, 5), rng), 0.2, 1.6) * np.float32(finish.stain)
    steel = steel * (1.0 - stain[..., None] * np.array([0.35, 0.5, 0.7], np.float32))
    rubbed = wiped * np.float32(0.25 if finish.metal > 0.9 else 0.45)
    bright = np.array([0.5, 0.48, 0.45], np.float32)
    steel = steel + (bright - steel) * (rubbed * 0.5)[..., None]
    hidden = 1.0 - np.exp(-((thickness_um / np.float32(brush.hiding_um)) ** 1.3))
    tint = np.asarray(COLOURS[brush.colour], np.float32) * np.asarray(brush.tint, np.float32)
    thick = 1.0 - np.exp(-thickness_um / 45.0)
    paste = tint * (1.06 + 0.06 * mottle - 0.32 * (1.0 - thick) + 0.07 * fine)[..., None]
    colour = steel + (paste - steel) * hidden[..., None]
    steel_rough = finish.roughness * (1.0 + 0.12 * cutter + 0.10 * mottle) - 0.06 * rubbed
    paste_rough = 0.52 - 0.25 * brush.wet + 0.08 * fine + 0.05 * mottle
    roughness = steel_rough + (paste_rough - steel_rough) * hidden
    height = 1e-3 * (
        thickness_um + (1.0 - 0.8 * hidden) * finish.scratch_um * (cutter + 0.4 * fine)
    )
    return SurfaceFields(
        colour=np.clip(colour, 0.01, 0.95).astype(np.float32),
        roughness=np.clip(roughness, 0.12, 0.95).astype(np.float32),
        metal=(finish.metal * (1.0 - hidden)).astype(np.float32),
        wet=np.clip(finish.oil * (1 - hidden) + brush.wet * hidden, 0, 1).astype(np.float32),
        height_mm=height.astype(np.float32),
    )
