"""Random views of random ring gears for training: what the rasteriser draws, and from where.

Every range is meant to be wider than a shop's. Only right-hand ring gears are drawn: the reader
mirrors the others.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pattern.records import SIDES, Side
from pattern.synthetic.geometry import GearMesh, ring_gear_mesh
from pattern.synthetic.raster import Buffers, Surface, draw, empty_buffers, light_depth, lit, moved
from pattern.synthetic.raster_clutter import (
    FIRST_THING,
    backdrop,
    finger,
    opening,
    placed,
    random_solid,
    seen_from_camera,
    sheet,
)
from pattern.synthetic.ring_spec import RingSpec
from pattern.synthetic.solids import Part, Solid
from pattern.synthetic.tooth_form import flank_points, turn_about_axis

MAX_TEETH = 64
TOOTH_SHARES = ((0.06, 0.16), (0.14, 0.7), (0.6, 1.7))
"""Tooth lengths over the picture's long side: far, usual, near."""
LIGHT_MAP = 352
GRID = (np.linspace(0.0, 1.0, 21), np.linspace(0.05, 0.95, 7))
"""Lengthwise and profile places at which a gear's tooth sides are kept for aiming."""


@dataclass(frozen=True, eq=False)
class Gear:
    """A ring gear to draw; `flanks` (2, 21, 7, 3) are points of tooth 0, drive then coast, mm."""

    teeth: int
    surface: Surface
    flanks: NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class View:
    """One picture before light and paint.

    `lit` (h, w) is the share of the key light that arrives; `towards_light` (3,) in camera space.
    `visible` (64, 2) is the share of each tooth side's pixels that no other thing hides (0 where the
    gear itself shows next to none), `inside` (64, 2) the share that lies in the picture; sides in the order drive, coast. `tooth_px` is the
    length of the aimed-at tooth. A picture without a gear has `tooth_px` 0.
    """

    buffers: Buffers
    lit: NDArray[np.float32]
    backdrop: NDArray[np.uint8]
    towards_light: NDArray[np.float64]
    focal_px: float
    centre_px: tuple[float, float]
    visible: NDArray[np.float32]
    inside: NDArray[np.float32]
    tooth: int
    side: Side
    tooth_px: float


def random_spec(rng: np.random.Generator) -> RingSpec:
    """A ring gear from far beyond the usual range of proportions."""
    uniform = rng.random() < 0.4
    return RingSpec(
        ring_teeth=int(rng.integers(31, 56)) if rng.random() < 0.4 else int(rng.integers(36, 48)),
        pinion_teeth=int(rng.integers(8, 17)),
        ring_diameter_in=float(rng.uniform(6.5, 12.0)),
        tooth_system="uniform" if uniform else "tapered",
        spiral_deg=float(rng.uniform(24.0, 40.0)),
        pressure_drive_deg=float(rng.uniform(15.0, 25.0)),
        pressure_coast_deg=float(rng.uniform(16.0, 27.0)),
        face_share=float(rng.uniform(0.13, 0.19)),
        cutter_ratio=float(rng.uniform(0.6, 0.9) if uniform else rng.uniform(0.7, 1.25)),
        offset_share=float(rng.uniform(0.0, 0.22)),
        addendum_factor=float(rng.uniform(0.16, 0.4)),
        depth_factor=float(rng.uniform(1.6, 2.05)),
        thickness_share=float(rng.uniform(0.34, 0.45)),
        addendum_angle_deg=float(rng.uniform(0.3, 1.8)),
        dedendum_angle_deg=float(rng.uniform(2.5, 5.5)),
    )


def random_gear(rng: np.random.Generator) -> Gear:
    """A ring gear to draw. Draws again where proportions give no sound tooth."""
    lengthwise, profile = np.meshgrid(*GRID, indexing="ij")
    while True:
        spec = random_spec(rng)
        try:
            mesh = ring_gear_mesh(spec, rng, lengthwise_steps=14, profile_steps=6)
        except (ValueError, StopIteration):
            continue
        if np.isfinite(mesh.vertices).all() and np.isfinite(mesh.normals).all():
            flanks = np.stack([flank_points(spec, side, lengthwise, profile) for side in SIDES])
            return Gear(spec.ring_teeth, gear_surface(mesh), flanks)


def gear_surface(mesh: GearMesh) -> Surface:
    """The mesh for the rasteriser; off the teeth the texture is in lengths of 20 mm."""
    corners = mesh.vertices[mesh.triangles]
    plain = (corners[..., :2] + corners[..., 2:] * np.array([0.8, 0.5])) / 20.0
    on_tooth = mesh.tooth >= 0
    texture = np.where(on_tooth[:, None, None], np.nan_to_num(mesh.section), plain)
    return Surface(
        vertices=mesh.vertices.astype(np.float32),
        triangles=mesh.triangles.astype(np.int32),
        normals=mesh.normals.astype(np.float32),
        texture=texture.astype(np.float32),
        part=mesh.part.astype(np.uint8),
        thing=np.where(on_tooth, mesh.tooth, MAX_TEETH + mesh.part).astype(np.uint8),
    )


def random_view(rng: np.random.Generator, gear: Gear, height: int, width: int) -> View:
    """Aim at one tooth side of the gear, put things around and before it, and draw."""
    for attempt in range(4):
        tooth = int(rng.integers(gear.teeth))
        side = SIDES[int(rng.integers(2))]
        pose = _aim(rng, gear, side, tooth, height, width)
        buffers = empty_buffers(height, width)
        seen = moved(gear.surface, pose.rotation, pose.shift)
        draw(seen, buffers, pose.focal_px, pose.centre_px, cull=True)
        part = Part.DRIVE if side == "drive" else Part.COAST
        aimed = (buffers.thing == tooth) & (buffers.part == part)
        if aimed.sum() > 0.04 * pose.tooth_px**2 or attempt == 3:
            break
    before = _counts(buffers)
    _surround(rng, buffers, pose)
    after = _counts(buffers)
    light = _light(rng, pose.rotation)
    shade = lit(
        buffers, light_depth(seen, light, LIGHT_MAP), pose.focal_px, pose.centre_px, bias_mm=1.6
    )
    return View(
        buffers=buffers,
        lit=shade,
        backdrop=backdrop(rng, height, width),
        towards_light=light,
        focal_px=pose.focal_px,
        centre_px=pose.centre_px,
        visible=np.where(before > 12, after / np.maximum(before, 1.0), 0.0).astype(np.float32),
        inside=_inside(gear, pose, height, width),
        tooth=tooth,
        side=side,
        tooth_px=pose.tooth_px,
    )


def gearless_view(rng: np.random.Generator, height: int, width: int) -> View:
    """A picture of anything but ring gear teeth."""
    buffers = empty_buffers(height, width)
    focal, centre = 0.9 * width, (0.5 * width, 0.5 * height)
    for k in range(int(rng.integers(0, 14))):
        depth = rng.uniform(120, 600)
        at = _ray(rng, focal, centre, height, width) * depth
        thing = placed(random_solid(rng, rng.uniform(10, 120)), FIRST_THING + k, rng, at)
        draw(thing, buffers, focal, centre)
    light = rng.normal(size=3) - np.array([0.0, 0.5, 1.0])
    return View(
        buffers=buffers,
        lit=np.ones((height, width), np.float32),
        backdrop=backdrop(rng, height, width),
        towards_light=light / np.linalg.norm(light),
        focal_px=focal,
        centre_px=centre,
        visible=np.zeros((MAX_TEETH, 2), np.float32),
        inside=np.zeros((MAX_TEETH, 2), np.float32),
        tooth=0,
        side=SIDES[int(rng.integers(2))],
        tooth_px=0.0,
    )


# --- camera ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Pose:
    rotation: NDArray[np.float64]
    shift: NDArray[np.float64]
    focal_px: float
    centre_px: tuple[float, float]
    distance_mm: float
    tooth_px: float


def _aim(
    rng: np.random.Generator, gear: Gear, side: Side, tooth: int, height: int, width: int
) -> _Pose:
    """A camera that looks at a tooth side from where its surface shows, at any roll and distance."""
    flank = turn_about_axis(gear.flanks[SIDES.index(side)], 2.0 * np.pi * tooth / gear.teeth)
    i, j = int(rng.integers(3, 17)), int(rng.integers(1, 5))
    point, along, up, toe, heel = flank[[i, i + 1, i, 0, -1], [j, j, j + 1, 3, 3]]
    along, up = _unit(along - point), _unit(up - point)
    normal = np.cross(along, up)
    axis_out = np.array([0.0, 0.0, -1.0])
    normal *= 1.0 if np.dot(normal, _sideways(point, side)) > 0 else -1.0
    if rng.random() < 0.12:
        view = _unit(axis_out + rng.normal(0, 0.5, 3))
    else:
        rise = np.radians(rng.uniform(-5.0, 68.0))
        swing = np.radians(np.clip(rng.normal(0, 20), -52, 52))
        view = _unit(
            np.cos(rise) * normal
            + np.sin(rise) * _unit(up + 0.4 * axis_out)
            + np.tan(swing) * along
        )
    long_side = max(height, width)
    tooth_px = float(np.exp(rng.uniform(*np.log(_size_range(rng))))) * long_side
    distance = float(np.exp(rng.uniform(np.log(55.0), np.log(700.0))))
    face = float(np.linalg.norm(heel - toe))
    seen_length = max(face * float(np.linalg.norm(np.cross(_unit(heel - toe), view))), 0.3 * face)
    focal = tooth_px * distance / seen_length
    turn = rng.uniform(0, 2 * np.pi)
    aside = _unit(np.cross(view, [0.3, 0.5, 0.81]))
    down = np.cross(-view, aside)
    x = np.cos(turn) * aside + np.sin(turn) * down
    rotation = np.stack([x, np.cross(-view, x), -view])
    at = np.array([0.5 * width, 0.5 * height]) + rng.uniform(-0.32, 0.32, 2) * (width, height)
    # A crop of a larger photo has its principal point anywhere; the aimed point goes to `at`.
    off = (
        rng.normal(0, 0.25, 2) * long_side
        if rng.random() < 0.5
        else (at - 0.5 * np.array([width, height]))
    )
    centre = (float(at[0] - off[0]), float(at[1] - off[1]))
    shift = -rotation @ point + distance * np.array([off[0] / focal, off[1] / focal, 1.0])
    return _Pose(rotation, shift, float(focal), centre, distance, tooth_px)


def _size_range(rng: np.random.Generator) -> tuple[float, float]:
    """Tooth length as a share of the long side: far, usual, or a close-up."""
    return TOOTH_SHARES[int(rng.choice(3, p=[0.17, 0.61, 0.22]))]


def _sideways(point: NDArray[np.float64], side: Side) -> NDArray[np.float64]:
    """Where the drive side of right-hand teeth faces: -phi; coast +phi."""
    phi = _unit(np.array([-point[1], point[0], 0.0]))
    return -phi if side == "drive" else phi


def _unit(vector: NDArray[np.float64]) -> NDArray[np.float64]:
    return vector / np.linalg.norm(vector)


def _ray(
    rng: np.random.Generator, focal: float, centre: tuple[float, float], height: int, width: int
) -> NDArray[np.float64]:
    x, y = rng.uniform(-0.05, 1.05, 2) * (width, height)
    return np.array([(x - centre[0]) / focal, (y - centre[1]) / focal, 1.0])


# --- around the gear ----------------------------------------------------------------------------------------


def _surround(rng: np.random.Generator, buffers: Buffers, pose: _Pose) -> None:
    """Put a cover opening, parts behind and between, and things in front into the picture."""
    height, width = buffers.depth.shape
    reach = pose.distance_mm * max(height, width) / pose.focal_px  # mm across the picture
    thing = FIRST_THING

    def put(solid: Solid, nearness: float) -> None:
        nonlocal thing
        at = _ray(rng, pose.focal_px, pose.centre_px, height, width) * pose.distance_mm * nearness
        surface = placed(solid, thing, rng, at)
        draw(surface, buffers, pose.focal_px, pose.centre_px)
        thing += 1

    if rng.random() < 0.10:
        plate = opening(rng, reach * rng.uniform(0.3, 0.6))
        at = _ray(rng, pose.focal_px, pose.centre_px, height, width)
        middle = np.array([(0.5 * width - pose.centre_px[0]) / pose.focal_px,
                           (0.5 * height - pose.centre_px[1]) / pose.focal_px, 1.0])  # fmt: skip
        at = (0.3 * at + 0.7 * middle) * pose.distance_mm * rng.uniform(0.75, 1.0)
        lean = np.eye(3) + 0.35 * np.cross(np.eye(3), rng.normal(0, 0.5, 3))
        lean, _ = np.linalg.qr(lean)
        lean *= np.sign(np.diag(lean))
        plate = Solid(
            plate.vertices @ lean.T + at, plate.triangles, plate.part, plate.normals @ lean.T
        )
        draw(seen_from_camera(plate, thing), buffers, pose.focal_px, pose.centre_px)
        thing += 1
    if rng.random() < 0.5:
        for _ in range(int(rng.integers(1, 6))):
            put(random_solid(rng, reach * rng.uniform(0.1, 0.6)), rng.uniform(1.05, 2.0))
    if rng.random() < 0.22:
        for _ in range(int(rng.integers(1, 3))):
            kind = rng.random()
            if kind < 0.4:
                solid = sheet(rng, reach * rng.uniform(0.1, 0.35), Part.CLOTH)
            elif kind < 0.7:
                solid = finger(rng, reach * rng.uniform(0.02, 0.07))
            else:
                solid = random_solid(rng, reach * rng.uniform(0.05, 0.22))
            put(solid, rng.uniform(0.5, 0.95))


def _light(rng: np.random.Generator, rotation: NDArray[np.float64]) -> NDArray[np.float64]:
    """Direction toward the key light in camera space, from the camera's half of the room."""
    del rotation
    light = rng.normal(size=3)
    light[2] = -abs(light[2]) - rng.uniform(0.0, 1.2)
    return _unit(light)


# --- how much of each tooth side is seen --------------------------------------------------------------------


def _counts(buffers: Buffers) -> NDArray[np.float32]:
    counts = np.zeros((MAX_TEETH, 2), np.float32)
    for column, part in enumerate((Part.DRIVE, Part.COAST)):
        things = buffers.thing[buffers.part == part]
        counts[:, column] = np.bincount(things, minlength=256)[:MAX_TEETH]
    return counts


def _inside(gear: Gear, pose: _Pose, height: int, width: int) -> NDArray[np.float32]:
    share = np.zeros((MAX_TEETH, 2), np.float32)
    turn = 2.0 * np.pi * np.arange(gear.teeth)[:, None] / gear.teeth
    for column in range(2):
        flank = np.repeat(gear.flanks[column, ::4, ::3].reshape(1, -1, 3), gear.teeth, axis=0)
        camera = turn_about_axis(flank, turn) @ pose.rotation.T + pose.shift
        depth = np.maximum(camera[..., 2], 1e-3)
        u = pose.focal_px * camera[..., 0] / depth + pose.centre_px[0]
        v = pose.focal_px * camera[..., 1] / depth + pose.centre_px[1]
        good = (camera[..., 2] > 1.0) & (u > 0) & (v > 0) & (u < width) & (v < height)
        share[: gear.teeth, column] = good.mean(1)
    return share
