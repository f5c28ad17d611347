"""Things around and in front of the ring gear in training pictures, and flat backdrops.

None is copied from a photograph: turned parts, plates, ribbed cones, sheets and spheres in camera
space, and backdrops drawn from noise, strokes and words. They teach the network what is *not* a tooth.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from pattern.synthetic.raster import Surface
from pattern.synthetic.solids import Part, Solid, box, join_solids, prism, revolve

FIRST_THING = 96
"""Numbers below this in `Surface.thing` are teeth (0 to 63) and parts of the gear (64 + part)."""


def surface_of(solid: Solid, thing: int, scale_mm: float = 20.0) -> Surface:
    """A solid to draw; its texture coordinates are its own x + z and y."""
    xyz = solid.vertices[solid.triangles]
    texture = np.stack([xyz[..., 0] + 0.7 * xyz[..., 2], xyz[..., 1] + 0.4 * xyz[..., 2]], -1)
    count = len(solid.triangles)
    return Surface(
        vertices=solid.vertices.astype(np.float32),
        triangles=solid.triangles.astype(np.int32),
        normals=solid.normals.astype(np.float32),
        texture=(texture / scale_mm).astype(np.float32),
        part=solid.part.astype(np.uint8),
        thing=np.full(count, thing, np.uint8),
    )


def random_rotation(rng: np.random.Generator) -> NDArray[np.float64]:
    """A rotation drawn evenly from all."""
    q, r = np.linalg.qr(rng.normal(size=(3, 3)))
    q = q * np.sign(np.diag(r))
    if np.linalg.det(q) < 0:
        q[:, 0] = -q[:, 0]
    return q


def turned_part(rng: np.random.Generator, size_mm: float) -> Solid:
    """A shaft, cup, washer or cone: a random outline turned about z."""
    steps = int(rng.integers(3, 7))
    radii = size_mm * rng.uniform(0.15, 1.0, steps)
    z = np.sort(rng.uniform(-1.0, 1.0, steps)) * size_mm * rng.uniform(0.3, 1.5)
    outline = [
        (0.0, float(z[0])),
        *zip(radii.tolist(), z.tolist(), strict=True),
        (0.0, float(z[-1])),
    ]
    return revolve(outline, Part.CASE, steps=36)


def ribbed_cone(rng: np.random.Generator, size_mm: float) -> Solid:
    """A pinion-like or spur-like wheel: ribs that turn along a cone. A decoy for teeth."""
    around, along = 144, 14
    ribs = int(rng.integers(7, 30))
    twist = rng.uniform(-1.6, 1.6) if rng.random() < 0.75 else 0.0
    angle, z = np.meshgrid(np.linspace(0, 2 * np.pi, around + 1), np.linspace(0, 1, along + 1))
    wave = np.cos(ribs * (angle + twist * z))
    depth = min(rng.uniform(0.5, 1.3) * np.pi / ribs, 0.35)
    radius = (1 + depth * np.tanh(2.0 * wave)) * (1 - rng.uniform(0.0, 0.6) * z)
    xyz = np.stack([radius * np.cos(angle), radius * np.sin(angle), z * rng.uniform(0.4, 1.5)], -1)
    return _sheet_solid(xyz * size_mm, Part.PINION)


def sheet(rng: np.random.Generator, size_mm: float, part: Part) -> Solid:
    """A rag or a flap: a waved sheet with a random outline in x and y."""
    n = 26
    u, v = np.meshgrid(np.linspace(-1, 1, n), np.linspace(-1, 1, n))
    height = np.zeros_like(u)
    for _ in range(5):
        k = rng.normal(size=2) * rng.uniform(1, 5)
        height += rng.uniform(0.03, 0.12) * np.sin(k[0] * u + k[1] * v + rng.uniform(0, 6.3))
    around = np.arctan2(v, u)
    edge = 1 + 0.25 * sum(
        rng.uniform(0, 1) / k * np.cos(k * around + rng.uniform(0, 6.3)) for k in range(2, 6)
    )
    xyz = np.stack([u * edge, v * edge * rng.uniform(0.4, 1.0), height], -1)
    return _sheet_solid(xyz * size_mm, part)


def finger(rng: np.random.Generator, size_mm: float) -> Solid:
    """A finger or a rod: a round-ended tube along z."""
    t = np.linspace(0, np.pi / 2, 5)
    tip = [(float(np.sin(a)) + 1e-4, float(1 - np.cos(a))) for a in t]
    outline = [(r * size_mm, z * size_mm) for r, z in tip] + [(size_mm * 1.1, 9.0 * size_mm)]
    return revolve(outline, Part.GLOVE, steps=28)


def opening(rng: np.random.Generator, size_mm: float) -> Solid:
    """A housing's cover opening seen from outside: a plate with a rounded hole, with its rim."""
    n = 48
    angle = np.linspace(0, 2 * np.pi, n + 1)
    power = rng.uniform(2.0, 5.0)
    hole = (np.abs(np.cos(angle)) ** power + np.abs(np.sin(angle)) ** power) ** (-1 / power)
    x, y = hole * np.cos(angle), hole * np.sin(angle) * rng.uniform(0.7, 1.1)
    wide, deep = rng.uniform(1.15, 1.6), rng.uniform(0.1, 0.5)
    rings = [(wide * 3, 0.0), (wide, 0.0), (wide, -0.06), (1.0, -0.06), (1.0, deep)]
    xyz = np.stack([np.stack([x * k, y * k, np.full(n + 1, z)], -1) for k, z in rings])
    solids = [_sheet_solid(xyz[i : i + 2] * size_mm, Part.HOUSING) for i in range(len(rings) - 1)]
    for k in range(int(rng.integers(0, 13))):
        a = 2 * np.pi * k / 12
        at = np.array([np.cos(a), np.sin(a), 0.0]) * size_mm * 0.5 * (1 + wide) * 1.02
        solids.append(prism(at, 0.05 * size_mm, -0.06 * size_mm, 6, Part.HOUSING))
    return join_solids(solids)


def _sheet_solid(xyz: NDArray[np.float64], part: Part) -> Solid:
    rows, columns = xyz.shape[:2]
    index = np.arange(rows * columns).reshape(rows, columns)
    quad = np.stack([index[:-1, :-1], index[1:, :-1], index[1:, 1:], index[:-1, 1:]], -1)
    quad = quad.reshape(-1, 4)
    triangles = np.concatenate([quad[:, [0, 1, 2]], quad[:, [0, 2, 3]]]).astype(np.int32)
    across, down = np.gradient(xyz, axis=1), np.gradient(xyz, axis=0)
    normal = np.cross(down, across)
    normal /= np.maximum(np.linalg.norm(normal, axis=-1, keepdims=True), 1e-9)
    return Solid(
        xyz.reshape(-1, 3),
        triangles,
        np.full(len(triangles), part, np.int8),
        normal.reshape(-1, 3)[triangles],
    )


def random_solid(rng: np.random.Generator, size_mm: float) -> Solid:
    """Any one thing."""
    kind = rng.choice(6, p=[0.3, 0.2, 0.18, 0.12, 0.1, 0.1])
    if kind == 0:
        return turned_part(rng, size_mm)
    if kind == 1:
        return box(np.zeros(3), size_mm * rng.uniform(0.15, 1.6, 3), Part.BENCH)
    if kind == 2:
        return ribbed_cone(rng, size_mm)
    if kind == 3:
        return sheet(rng, size_mm, Part.CLOTH)
    if kind == 4:
        return finger(rng, 0.3 * size_mm)
    return prism(np.zeros(3), 0.4 * size_mm, 0.5 * size_mm, 6, Part.BOLT)


def placed(
    solid: Solid, thing: int, rng: np.random.Generator, at_mm: NDArray[np.float64]
) -> Surface:
    """The solid at a place in camera space, turned at random, its normals toward the camera."""
    turn = random_rotation(rng)
    return seen_from_camera(
        Solid(solid.vertices @ turn.T + at_mm, solid.triangles, solid.part, solid.normals @ turn.T),
        thing,
    )


def seen_from_camera(solid: Solid, thing: int) -> Surface:
    """A surface whose normals all face the camera, so that thin sheets have no dark side."""
    away = (solid.normals * solid.vertices[solid.triangles]).sum(-1, keepdims=True) > 0
    normals = np.where(away, -solid.normals, solid.normals)
    return surface_of(Solid(solid.vertices, solid.triangles, solid.part, normals), thing)


# --- backdrops ---------------------------------------------------------------------------------------


def backdrop(rng: np.random.Generator, height: int, width: int) -> NDArray[np.uint8]:
    """What lies far behind: black, white, grey, a bench, a cluttered shop. (h, w, 3) uint8."""
    kind = rng.random()
    base = _shade(rng)
    if kind < 0.22:
        base = np.full(3, rng.choice([0.0, 0.02, 0.06]))
    elif kind < 0.36:
        base = np.full(3, rng.uniform(0.8, 1.0)) * rng.uniform(0.93, 1.0, 3)
    small = np.empty((height // 4, width // 4, 3), np.float32)
    small[:] = 255.0 * base
    _add_noise(small, rng, 255.0 * rng.uniform(0.0, 0.12))
    picture8 = _sized(np.clip(small, 0, 255).astype(np.uint8), height, width)
    if kind >= 0.28:
        for _ in range(int(rng.integers(0, 14))):
            _stroke(picture8, rng)
    if rng.random() < 0.5:
        half = cv2.GaussianBlur(picture8[::2, ::2], (0, 0), rng.uniform(0.3, 6.0))
        picture8 = _sized(np.asarray(half, np.uint8), height, width)
    return picture8


def _sized(picture: NDArray[np.uint8], height: int, width: int) -> NDArray[np.uint8]:
    return np.asarray(cv2.resize(picture, (width, height)), np.uint8)


def _shade(rng: np.random.Generator) -> NDArray[np.float64]:
    grey = rng.beta(1.2, 1.2)
    return np.clip(grey + rng.normal(0, rng.choice([0.02, 0.15]), 3), 0, 1)


def _add_noise(picture: NDArray[np.float32], rng: np.random.Generator, amount: float) -> None:
    height, width = picture.shape[:2]
    for cells in (3, 8, 24, 80):
        coarse = rng.normal(0, amount * cells**-0.3, (cells, cells, 1)).astype(np.float32)
        picture += cv2.resize(coarse, (width, height), interpolation=cv2.INTER_CUBIC)[..., None]


def _stroke(picture: NDArray[np.uint8], rng: np.random.Generator) -> None:
    height, width = picture.shape[:2]
    colour = tuple(float(255.0 * c) for c in _shade(rng))
    x, y = rng.uniform(-0.1, 1.1, 2) * (width, height)
    kind = rng.random()
    if kind < 0.35:
        corners = (x, y) + rng.normal(0, 0.25, (int(rng.integers(3, 7)), 2)) * width
        cv2.fillPoly(picture, [cv2.convexHull(corners.astype(np.int32))], colour)
    elif kind < 0.55:
        axes = tuple(int(a) for a in rng.uniform(0.02, 0.3, 2) * width)
        thick = -1 if rng.random() < 0.5 else int(rng.integers(1, 14))
        cv2.ellipse(picture, (int(x), int(y)), axes, rng.uniform(0, 180), 0, 360, colour, thick)
    elif kind < 0.75:
        end = (int(x + rng.normal(0, 0.5) * width), int(y + rng.normal(0, 0.5) * width))
        cv2.line(picture, (int(x), int(y)), end, colour, int(rng.integers(1, 20)), cv2.LINE_AA)
    elif kind < 0.88:
        words = "".join(rng.choice(list("ABCDEHKLMNRSTXZ0123456789 .-"), int(rng.integers(3, 14))))
        size = rng.uniform(0.4, 3.0)
        font = int(rng.choice([cv2.FONT_HERSHEY_SIMPLEX, cv2.FONT_HERSHEY_TRIPLEX]))
        cv2.putText(picture, words, (int(x - 100), int(y)), font, size, colour, int(size) + 1)
    else:
        period, turn = rng.uniform(4, 60), rng.uniform(0, np.pi)
        rows, columns = np.mgrid[:height, :width].astype(np.float32)
        wave = np.sin((columns * np.cos(turn) + rows * np.sin(turn)) * (2 * np.pi / period))
        inside = ((columns - x) ** 2 + (rows - y) ** 2) < (rng.uniform(0.1, 0.5) * width) ** 2
        share = 0.5 + 0.5 * wave[inside][:, None]
        picture[inside] = (picture[inside] * (1 - share) + np.array(colour) * share).astype(
            np.uint8
        )
