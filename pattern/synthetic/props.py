"""What else is in the picture: bench, housing, pinion, bearing caps, rag, gloved finger.

A `Prop` is a solid with linear RGB colour, roughness and metal share for each of its corners.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pattern.synthetic.camera_view import Camera
from pattern.synthetic.geometry import GearMesh
from pattern.synthetic.noise import layered_noise
from pattern.synthetic.solids import Floats, Part, Solid, box, flat_solid, prism, revolve
from pattern.synthetic.steel import Finish, Rgb


@dataclass(frozen=True, eq=False)
class Prop:
    """Corner soup: `points` and `normals` (n, 3, 3), `colour` (n, 3, 3), `rough` and `metal` (n, 3)."""

    points: Floats
    normals: Floats
    colour: Floats
    rough: Floats
    metal: Floats


def dressed(solid: Solid, colour: Rgb, rough: float, metal: float) -> Prop:
    """A solid in one plain surface."""
    count = len(solid.triangles)
    return Prop(
        solid.vertices[solid.triangles],
        solid.normals,
        np.broadcast_to(np.asarray(colour, float), (count, 3, 3)).copy(),
        np.full((count, 3), rough),
        np.full((count, 3), metal),
    )


def join_props(props: Sequence[Prop]) -> Prop:
    """One prop of several."""
    return Prop(*(np.concatenate([getattr(p, name) for p in props])
                  for name in ("points", "normals", "colour", "rough", "metal")))  # fmt: skip


def gear_body(mesh: GearMesh, finish: Finish, case: Rgb, rng: np.random.Generator) -> Prop:
    """Everything of the ring gear's mesh that is not tooth surface, and the case it sits on."""
    rows = np.flatnonzero(mesh.part >= Part.TOE_END)
    part = mesh.part[rows]
    colour = np.empty((len(rows), 3, 3))
    steel = np.asarray(finish.colour) * rng.uniform(0.8, 1.1)
    colour[:] = steel
    colour[part == Part.CASE] = case
    colour[part == Part.BOLT] = np.asarray([0.05, 0.05, 0.055]) * rng.uniform(0.7, 3.0)
    rough = np.full((len(rows), 3), finish.roughness + 0.08)
    rough[part == Part.CASE] = 0.6
    metal = np.full((len(rows), 3), finish.metal)
    metal[part == Part.CASE] = rng.choice([0.25, 0.6])
    points = mesh.vertices[mesh.triangles[rows]]
    # Cast and sawn surfaces are never even: a little tone by place.
    tone = 1.0 + 0.12 * np.sin(points @ rng.normal(0, 0.25, 3) + rng.uniform(0, 6))
    return Prop(points, mesh.normals[rows].astype(float), colour * tone[..., None], rough, metal)


def bench(
    centre: Floats, across: Floats, along: Floats, up: Floats, colour: Rgb, size_mm: float,
    rng: np.random.Generator, grain: float = 0.3,
) -> Prop:  # fmt: skip
    """A worn table top or cloth: a square sheet with uneven colour, normal `up`."""
    steps = 72
    axis = np.linspace(-0.5, 0.5, steps + 1) * size_mm
    wave = layered_noise((steps + 1, steps + 1), (3, 3), rng, 3) * 0.004 * size_mm * grain
    grid = (
        centre + axis[:, None, None] * across + axis[None, :, None] * along + wave[..., None] * up
    )
    tone = np.clip(1.0 + grain * layered_noise((steps + 1, steps + 1), (5, 7), rng, 4), 0.15, 2.0)
    # Black cloth has no sheen: as dark metal it reflects its colour and nothing more.
    metal = 1.0 if max(colour) < 0.01 else 0.0
    return _sheet_prop(grid, np.asarray(colour) * tone[..., None], 0.7, metal)


def _sheet_prop(grid: Floats, colour: Floats, rough: float, metal: float) -> Prop:
    """A smooth sheet from a grid of points (rows, columns, 3) with colours of the same shape."""
    rows, columns = grid.shape[:2]
    index = np.arange(rows * columns).reshape(rows, columns)
    quads = np.stack([index[:-1, :-1], index[1:, :-1], index[1:, 1:], index[:-1, 1:]], -1)
    quads = quads.reshape(-1, 4)
    triangles = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
    points = grid.reshape(-1, 3)
    face = np.cross(
        points[triangles[:, 1]] - points[triangles[:, 0]],
        points[triangles[:, 2]] - points[triangles[:, 0]],
    )
    total = np.zeros_like(points)
    for k in range(3):
        np.add.at(total, triangles[:, k], face)
    normal = total / np.maximum(np.linalg.norm(total, axis=1, keepdims=True), 1e-12)
    shape = (len(triangles), 3)
    return Prop(
        points[triangles],
        normal[triangles],
        np.broadcast_to(colour, grid.shape).reshape(-1, 3)[triangles],
        np.full(shape, rough),
        np.full(shape, metal),
    )


def capsule(start: Floats, end: Floats, radius_mm: float, colour: Rgb, rough: float) -> Prop:
    """A rounded rod: one joint of a gloved finger."""
    axis = end - start
    length = float(np.linalg.norm(axis))
    axis = axis / length
    helper = np.array([1.0, 0.0, 0.0]) if abs(axis[0]) < 0.8 else np.array([0.0, 1.0, 0.0])
    across = np.cross(axis, helper)
    across = across / np.linalg.norm(across)
    other = np.cross(axis, across)
    bow = np.linspace(-np.pi / 2, 0.0, 9)
    radial = np.concatenate([np.cos(bow), np.cos(bow[::-1])]) * radius_mm
    along = np.concatenate([np.sin(bow) * radius_mm, length - np.sin(bow[::-1]) * radius_mm])
    angle = np.linspace(0.0, 2 * np.pi, 33)
    crease = 1.0 + 0.03 * np.sin(along / radius_mm * 9.0)[:, None]
    grid = (
        start
        + along[:, None, None] * axis
        + (radial[:, None] * crease * np.cos(angle))[..., None] * across
        + (radial[:, None] * crease * np.sin(angle))[..., None] * other
    )
    return _sheet_prop(grid, np.asarray(colour, float), rough, 0.0)


def gloved_finger(target: Floats, away: Floats, colour: Rgb, rng: np.random.Generator) -> Prop:
    """A finger in a glove whose tip lies on `target` and which comes from the direction `away`."""
    away = away / np.linalg.norm(away)
    bend = away + rng.normal(0, 0.25, 3)
    bend = bend / np.linalg.norm(bend)
    radius = rng.uniform(8.0, 10.5)
    tip = target + away * radius
    knuckle = tip + 27.0 * away
    hand = knuckle + 45.0 * bend
    return join_props(
        [
            capsule(tip, knuckle, radius, colour, 0.45),
            capsule(knuckle, hand, radius * 1.08, colour, 0.45),
            capsule(hand, hand + 60.0 * bend, radius * 1.9, colour, 0.5),
        ]
    )


def rag(centre: Floats, across: Floats, along: Floats, up: Floats, size_mm: float, colour: Rgb,
        rng: np.random.Generator) -> Prop:  # fmt: skip
    """A crumpled cloth."""
    steps = 64
    axis = np.linspace(-0.5, 0.5, steps + 1) * size_mm
    shape = (steps + 1, steps + 1)
    folds = layered_noise(shape, (4, 3), rng, 4) * 0.075 * size_mm
    pull = [layered_noise(shape, (3, 3), rng, 2) * 0.10 * size_mm for _ in range(2)]
    grid = (
        centre
        + (axis[:, None] + pull[0])[..., None] * across
        + (axis[None, :] + pull[1])[..., None] * along
    )
    grid = grid + folds[..., None] * up
    tone = np.clip(1.0 + 0.2 * layered_noise((steps + 1, steps + 1), (6, 6), rng, 3), 0.3, 1.6)
    return _sheet_prop(grid, np.asarray(colour) * tone[..., None], 0.9, 0.0)


def pinion(mesh: GearMesh, angle_rad: float, finish: Finish) -> Prop:
    """A bevel pinion near its place in mesh at a polar angle: spiral teeth on a cone, and a stem.

    Only looks: it is drawn slightly clear of the ring gear so that nothing is cut.
    """
    shape, spec = mesh.proportions, mesh.spec
    teeth = spec.pinion_teeth
    cone = np.linspace(shape.inner_cone_mm * 0.99, shape.outer_cone_mm * 1.005, 18)
    half = np.pi / 2.0 - shape.pitch_angle_rad
    turn = np.linspace(0.0, 2 * np.pi, teeth * 20 + 1)
    radius = cone[:, None] * np.sin(half)
    lean = (cone[:, None] - cone[0]) / radius * np.tan(np.radians(42.0)) * 0.9
    hand = -1.0 if spec.hand == "right" else 1.0
    wave = np.clip(1.6 * np.cos(teeth * (turn[None, :] + hand * lean)), -1.0, 1.0)
    height = shape.mean_module_mm * cone[:, None] / shape.mean_cone_mm
    r = radius + height * (0.75 * wave - 1.15)
    # Local frame: pinion axis toward +x (radially outward), apex at the origin.
    local = np.stack(
        [
            np.broadcast_to(cone[:, None] * np.cos(half), r.shape),
            r * np.cos(turn),
            r * np.sin(turn),
        ],
        -1,
    )
    sheet = _sheet_prop(
        _stand(local, angle_rad), np.asarray(finish.colour), finish.roughness, finish.metal
    )
    reach = float(cone[-1] * np.cos(half))
    wide, narrow = float(r[-1].min()), float(r[0].min())
    stem = revolve(
        [(wide, reach), (0.62 * wide + 8, reach + 2), (0.62 * wide + 8, reach + 60)], Part.PINION
    )
    nose = revolve([(0.0, cone[0] * np.cos(half)), (narrow, cone[0] * np.cos(half))], Part.PINION)
    plain = [dressed(s, finish.colour, finish.roughness, finish.metal) for s in (stem, nose)]
    upright = [_turned(p, angle_rad) for p in plain]
    return join_props([sheet, *upright])


def _stand(local: Floats, angle_rad: float) -> Floats:
    """From the pinion's frame (axis +x) to the ring gear's frame at a polar angle."""
    x, y, z = np.moveaxis(local, -1, 0)
    cosine, sine = np.cos(angle_rad), np.sin(angle_rad)
    return np.stack([cosine * x - sine * y, sine * x + cosine * y, z], -1)


def _turned(prop: Prop, angle_rad: float) -> Prop:
    """A prop turned about z made into one about the pinion's axis at a polar angle."""

    def move(a: Floats) -> Floats:
        return _stand(np.stack([a[..., 2], a[..., 0], a[..., 1]], -1), angle_rad)

    return Prop(move(prop.points), move(prop.normals), prop.colour, prop.rough, prop.metal)


def housing_opening(
    camera: Camera, aim: Floats, radius_mm: float, distance_mm: float, colour: Rgb,
    rng: np.random.Generator,
) -> Prop:  # fmt: skip
    """A plate with a cover opening between camera and gear, its gasket face and bolt holes, and
    dark walls behind it. The opening has `radius_mm` and lies `distance_mm` before the aim."""
    outward = -camera.forward
    spin = rng.uniform(0, 2 * np.pi)
    across = np.cos(spin) * camera.right + np.sin(spin) * camera.up
    along = np.cross(outward, across)
    lean = rng.normal(0, 0.12, 2)
    outward = outward + lean[0] * across + lean[1] * along
    outward = outward / np.linalg.norm(outward)
    centre = aim + distance_mm * -camera.forward + rng.normal(0, 6.0, 2) @ np.stack([across, along])
    angle = np.linspace(0.0, 2 * np.pi, 181)
    oval = radius_mm * (1.0 + 0.05 * np.cos(2 * angle) + 0.012 * np.cos(10 * angle))

    def loop(scale: float, depth: float) -> Floats:
        ring = np.stack([np.cos(angle), np.sin(angle)], -1) * (oval * scale)[:, None]
        return np.asarray(centre + ring @ np.stack([across, along]) + depth * outward)

    machined = np.array([0.42, 0.40, 0.37])
    rings = [(1.0, -90.0, 0.35), (1.0, 0.0, 0.6), (1.0, 0.01, 1.0), (1.16, 0.0, 1.0),
             (1.16, -4.0, 0.9), (2.6, -18.0, 0.9)]  # fmt: skip
    paint = np.asarray(colour)
    tints = [0.35 * paint, 0.6 * paint, machined, machined, paint, paint]
    grid = np.stack([loop(scale, depth) for scale, depth, _ in rings])
    tint = np.stack([np.broadcast_to(t, (len(angle), 3)) for t in tints])
    # Doubled rings keep the colour edge between machined face and paint crisp.
    plate = _sheet_prop(np.repeat(grid, 2, 0), np.repeat(tint, 2, 0), 0.5, 0.15)
    holes = [
        _hole(centre, across, along, outward, 1.08 * radius_mm * 1.0, k * np.pi / 5)
        for k in range(10)
    ]
    return join_props([plate, *holes])


def _hole(
    centre: Floats, across: Floats, along: Floats, outward: Floats, radius: float, angle: float
) -> Prop:
    spot = centre + radius * (np.cos(angle) * across + np.sin(angle) * along) + 0.3 * outward
    turn = np.linspace(0, 2 * np.pi, 25)[:-1]
    rim = spot + 4.2 * (np.cos(turn)[:, None] * across + np.sin(turn)[:, None] * along)
    vertices = np.concatenate([rim, spot[None]])
    k = np.arange(24)
    triangles = np.stack([np.full(24, 24), k, (k + 1) % 24], -1)
    return dressed(flat_solid(vertices, triangles, Part.HOUSING), (0.01, 0.01, 0.01), 0.8, 0.0)


def bearing_cap(mesh: GearMesh, angle_rad: float, colour: Rgb, z_mm: float) -> Prop:
    """A main bearing cap over the case's journal: a half hoop with two bolt heads."""
    radius = 0.30 * mesh.proportions.outer_cone_mm
    turn = np.linspace(-np.pi / 2, np.pi / 2, 33) + angle_rad
    profile = [(0.98, -11.0), (1.42, -11.0), (1.42, 11.0), (0.98, 11.0)]
    loops = [
        np.stack([s * radius * np.cos(turn), s * radius * np.sin(turn), np.full(33, z_mm + dz)], -1)
        for s, dz in [*profile, profile[0]]
    ]
    grid = np.repeat(np.stack(loops), 2, 0)[1:-1]
    hoop = _sheet_prop(grid, np.asarray(colour, float), 0.55, 0.3)
    heads = []
    for sign in (-1.0, 1.0):
        at = angle_rad + sign * np.pi / 2
        foot = np.array([1.2 * radius * np.cos(at), 1.2 * radius * np.sin(at), z_mm])
        ears = box(foot, np.array([0.5 * radius, 0.5 * radius, 24.0]), Part.BEARING)
        heads.append(dressed(ears, colour, 0.6, 0.3))
        heads.append(
            dressed(prism(foot - [0, 0, 22.0], 8.0, 10.0, 6, Part.BOLT), (0.08,) * 3, 0.4, 0.8)
        )
    return join_props([hoop, *heads])
