"""Shop light as an environment picture: ceiling tubes, windows, lamps, dim and lit walls."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from pattern.synthetic.noise import Field, layered_noise

LightKind = Literal[
    "tubes", "window", "flash", "side_lamp", "overcast", "inspection", "ring", "panel"
]


@dataclass(frozen=True)
class Light:
    """`kind` of the main light, its colour temperature, the level of the room around it, and how
    strong the local lamp is (0: none). Levels are relative; the camera meters."""

    kind: LightKind = "tubes"
    kelvin: float = 5000.0
    ambient: float = 0.25
    lamp: float = 0.0
    seed: int = 0


def white_of(kelvin: float) -> Field:
    """Linear RGB of a light of a colour temperature, green 1: a plain interpolated table."""
    table = np.array(
        [
            [2700, 1.75, 1.0, 0.42],
            [3500, 1.42, 1.0, 0.60],
            [4500, 1.15, 1.0, 0.80],
            [5500, 1.0, 1.0, 1.0],
            [7000, 0.88, 1.0, 1.22],
        ]
    )
    channels = [np.interp(kelvin, table[:, 0], table[:, k]) for k in (1, 2, 3)]
    return np.asarray(channels, np.float32)


def room(light: Light, rows: int = 192) -> Field:
    """(rows, 2 * rows, 3) float32 latitude-longitude picture; row 0 is straight up."""
    rng = np.random.default_rng(light.seed)
    columns = 2 * rows
    height = np.cos(np.linspace(0.0, np.pi, rows))[:, None]
    white = white_of(light.kelvin)
    clutter = np.clip(1.0 + 0.55 * layered_noise((rows, columns), (4, 9), rng, 5), 0.08, 3.0)
    blocks = rng.uniform(0.25, 1.4, (8, 18)).astype(np.float32)
    shelf = np.kron(blocks, np.ones((rows // 8, columns // 18 + 1), np.float32))[:rows, :columns]
    wall = clutter * (0.55 + 0.45 * shelf) * (0.5 + 0.5 * (height + 1.0) / 2.0)
    tint = white * rng.uniform(0.85, 1.15, 3).astype(np.float32)
    sky = light.ambient * wall[..., None] * tint
    _LIGHTS[light.kind](sky, white, light, rng)
    return np.asarray(sky, np.float32)


def _patch(
    sky: Field,
    centre_deg: tuple[float, float],
    size_deg: tuple[float, float],
    level: Field,
    turn: float = 0.0,
) -> None:
    """Add a bright rectangle at (azimuth, elevation), with a soft edge, in place."""
    rows, columns = sky.shape[:2]
    elevation = 90.0 - 180.0 * (np.arange(rows) + 0.5)[:, None] / rows
    azimuth = 360.0 * (np.arange(columns) + 0.5)[None, :] / columns
    across = (azimuth - centre_deg[0] + 180.0) % 360.0 - 180.0
    across = across * np.cos(np.radians(elevation))
    up = elevation - centre_deg[1]
    angle = np.radians(turn)
    x = np.abs(np.cos(angle) * across + np.sin(angle) * up) / (0.5 * size_deg[0])
    y = np.abs(-np.sin(angle) * across + np.cos(angle) * up) / (0.5 * size_deg[1])
    inside = 1.0 / (1.0 + np.exp(np.clip((np.maximum(x, y) - 1.0) * 14.0, -40, 40)))
    sky += inside[..., None] * level


def _tubes(sky: Field, white: Field, light: Light, rng: np.random.Generator) -> None:
    for k in range(int(rng.integers(2, 5))):
        azimuth = rng.uniform(0, 360)
        elevation = rng.uniform(35, 75)
        _patch(sky, (azimuth + 15 * k, elevation), (rng.uniform(40, 80), 4.0), 26.0 * white,
               rng.uniform(-25, 25))  # fmt: skip


def _window(sky: Field, white: Field, light: Light, rng: np.random.Generator) -> None:
    azimuth, low = rng.uniform(0, 360), rng.uniform(12, 30)
    for k in range(int(rng.integers(2, 5))):
        _patch(sky, (azimuth + 16.0 * k, low), (13.0, rng.uniform(22, 34)), 9.0 * white)


def _overcast(sky: Field, white: Field, light: Light, rng: np.random.Generator) -> None:
    rows = sky.shape[0]
    height = np.cos(np.linspace(0.0, np.pi, rows))[:, None, None]
    sky += np.clip(height + 0.15, 0, None) * 1.6 * white


def _small_lamp(sky: Field, white: Field, light: Light, rng: np.random.Generator) -> None:
    _patch(sky, (rng.uniform(0, 360), rng.uniform(25, 70)), (12.0, 10.0), 14.0 * white)


def _panel(sky: Field, white: Field, light: Light, rng: np.random.Generator) -> None:
    _patch(sky, (rng.uniform(0, 360), rng.uniform(50, 80)), (58.0, 40.0), 5.0 * white)
    _patch(sky, (rng.uniform(0, 360), rng.uniform(10, 40)), (25.0, 30.0), 2.0 * white)


_LIGHTS = {
    "tubes": _tubes,
    "window": _window,
    "flash": _small_lamp,
    "side_lamp": _small_lamp,
    "overcast": _overcast,
    "inspection": _small_lamp,
    "ring": _small_lamp,
    "panel": _panel,
}
