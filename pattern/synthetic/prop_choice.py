"""Which props a scene asks for, and where they go."""

from __future__ import annotations

import numpy as np

from pattern.synthetic.camera_view import Camera, ToothFrame, extents_mm
from pattern.synthetic.geometry import GearMesh
from pattern.synthetic.props import (
    Prop,
    bearing_cap,
    bench,
    gear_body,
    gloved_finger,
    housing_opening,
    join_props,
    pinion,
    rag,
)
from pattern.synthetic.scene import Scene
from pattern.synthetic.steel import FINISHES
from pattern.synthetic.tooth_form import Floats

GLOVES = ((0.02, 0.02, 0.025), (0.03, 0.08, 0.30), (0.55, 0.20, 0.03), (0.35, 0.36, 0.38))
RAGS = ((0.45, 0.08, 0.06), (0.55, 0.55, 0.52), (0.10, 0.20, 0.42))


def chosen_props(
    scene: Scene, mesh: GearMesh, camera: Camera, frame: ToothFrame, up: Floats,
    rng: np.random.Generator,
) -> Prop:  # fmt: skip
    """Gear body and case, the surroundings of the setting, then each prop the scene names."""
    finish = FINISHES[scene.finish]
    radius, front, back = extents_mm(mesh)
    parts = [gear_body(mesh, finish, scene.case, rng)]
    phi = float(np.arctan2(frame.middle[1], frame.middle[0]))
    if scene.setting == "bench":
        floor = np.array([0.0, 0.0, back + 0.42 * radius])
        x, y = np.eye(3)[0], np.eye(3)[1]
        # A table where the gear fills the picture, a whole floor where it is far away.
        size = (14 if scene.wish.tooth_px > 60 else 60) * radius
        parts.append(bench(floor, y, x, up, scene.background, size, rng))
    elif scene.setting == "stand":
        wall = frame.middle + camera.forward * rng.uniform(1.5, 3.0) * radius
        parts.append(
            bench(
                wall, camera.right, camera.up, -camera.forward, scene.background, 16 * radius, rng
            )
        )
    else:
        distance = float((frame.middle - camera.origin) @ camera.forward)
        before = min(0.55 * distance, 0.35 * radius + 12.0)
        half = (distance - before) * np.tan(np.radians(camera.fov_deg) / 2.0)
        opening = float(rng.uniform(0.72, 0.98)) * half
        aim = frame.middle + 0.15 * half * (
            rng.uniform(-1, 1) * camera.right + rng.uniform(-1, 1) * camera.up
        )
        parts.append(housing_opening(camera, aim, opening, before, scene.background, rng))
        wall = frame.middle + camera.forward * 0.9 * radius
        parts.append(
            bench(
                wall, camera.right, camera.up, -camera.forward, (0.10, 0.085, 0.07), 8 * radius, rng
            )
        )
        parts.append(
            bearing_cap(mesh, phi + rng.uniform(-0.5, 0.5), scene.case, front - 0.12 * radius)
        )
    for name in scene.props:
        parts += _named(name, scene, mesh, camera, frame, phi, rng)
    return join_props(parts)


def _named(
    name: str, scene: Scene, mesh: GearMesh, camera: Camera, frame: ToothFrame, phi: float,
    rng: np.random.Generator,
) -> list[Prop]:  # fmt: skip
    """One prop by name; hiding ones lie over the photographed tooth, others beside it."""
    finish = FINISHES[scene.finish]
    length = frame.length_mm
    toward = -camera.forward
    if name == "pinion":
        return [pinion(mesh, phi + rng.choice([-1, 1]) * rng.uniform(0.75, 1.25), finish)]
    if name == "pinion_near":
        return [pinion(mesh, phi + rng.choice([-1, 1]) * rng.uniform(0.55, 0.7), finish)]
    if name == "finger":
        side = rng.choice([-1, 1])
        spot = frame.middle + 1.2 * length * side * np.cross(frame.upward, frame.normal)
        away = 0.6 * toward + side * np.cross(frame.upward, frame.normal) + 0.3 * camera.up
        return [gloved_finger(spot, away, GLOVES[rng.integers(len(GLOVES))], rng)]
    if name == "finger_over":
        colour = GLOVES[rng.integers(len(GLOVES))]
        away = 0.35 * toward + 0.8 * camera.right * rng.choice([-1, 1]) + 0.2 * camera.up
        spots = (-0.45, -0.1, 0.25, 0.6)
        return [
            gloved_finger(frame.middle + s * length * camera.up + 3.0 * toward, away, colour, rng)
            for s in spots
        ]
    if name == "rag":
        shift = rng.choice([-1, 1]) * 1.9 * length * camera.right + rng.normal(0, 8) * camera.up
        return [_cloth(frame.middle + shift + 6 * toward, camera, 1.5 * length, rng)]
    if name == "rag_over":
        return [_cloth(frame.middle + 16 * toward, camera, 3.2 * length, rng)]
    raise ValueError(f"no prop called {name!r}")


def _cloth(centre: Floats, camera: Camera, size_mm: float, rng: np.random.Generator) -> Prop:
    colour = RAGS[rng.integers(len(RAGS))]
    return rag(centre, camera.right, camera.up, -camera.forward, size_mm, colour, rng)
