"""A phone's camera: projection, and views from which a tooth side is seen well.

Pixels as everywhere: (x, y), x right, y down, the centre of the first pixel is (0, 0). mm.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pattern.records import Side
from pattern.synthetic.geometry import GearMesh, tooth_mesh
from pattern.synthetic.ring_spec import RingSpec
from pattern.synthetic.tooth_form import Floats, flank_points, tooth_angle_rad, turn_about_axis


@dataclass(frozen=True, eq=False)
class Camera:
    """A pinhole at `origin` (3,), looking along `forward`; `right` and `up` span the picture.

    `fov_deg` is the angle of view across the picture's width.
    """

    origin: Floats
    forward: Floats
    right: Floats
    up: Floats
    fov_deg: float
    width_px: int
    height_px: int

    @property
    def focal_px(self) -> float:
        """Focal length in pixels."""
        return float(0.5 * self.width_px / np.tan(np.radians(self.fov_deg) / 2.0))

    def project(self, points: Floats) -> tuple[Floats, Floats]:
        """Pixels (..., 2) of points (..., 3), and their depth (...,) along the view, mm."""
        offset = points - self.origin
        depth = offset @ self.forward
        x = (self.width_px - 1) / 2.0 + self.focal_px * (offset @ self.right) / depth
        y = (self.height_px - 1) / 2.0 - self.focal_px * (offset @ self.up) / depth
        return np.stack([x, y], -1), depth

    def contains(self, pixels: Floats, margin_px: float = 0.0) -> NDArray[np.bool_]:
        """Which pixels lie in the picture, at least a margin from its border."""
        x, y = pixels[..., 0], pixels[..., 1]
        inside_x = (x >= margin_px) & (x <= self.width_px - 1 - margin_px)
        return inside_x & (y >= margin_px) & (y <= self.height_px - 1 - margin_px)


def look(
    origin: Floats, target: Floats, up: Floats, fov_deg: float, size_px: tuple[int, int]
) -> Camera:
    """A camera at `origin` that looks at `target` with `up` upward in the picture."""
    forward = _unit(target - origin)
    right = _unit(np.cross(forward, up))
    return Camera(origin, forward, right, np.cross(right, forward), fov_deg, *size_px)


def _unit(vector: Floats) -> Floats:
    return np.asarray(vector / np.linalg.norm(vector))


@dataclass(frozen=True, eq=False)
class ToothFrame:
    """At the middle of a tooth side: position, outward normal, lengthwise (to the heel), to the tip."""

    middle: Floats
    normal: Floats
    lengthwise: Floats
    upward: Floats
    length_mm: float
    depth_mm: float


def tooth_frame(spec: RingSpec, side: Side, tooth: int) -> ToothFrame:
    """The local frame that views are chosen in."""

    def at(lengthwise: float, profile: float) -> Floats:
        return flank_points(spec, side, np.array(lengthwise), np.array(profile), tooth)

    middle = at(0.5, 0.5)
    along, upward = at(0.6, 0.5) - at(0.4, 0.5), at(0.5, 0.9) - at(0.5, 0.1)
    normal = _unit(np.cross(along, upward))
    around = np.cross(np.array([0.0, 0.0, 1.0]), middle)
    faces = -1.0 if (side == "drive") == (spec.hand == "right") else 1.0
    if np.dot(normal, around) * faces < 0:
        normal = -normal
    along = _unit(along)
    upward = _unit(upward - np.dot(upward, along) * along)
    length, depth = side_size_mm(spec, side)
    return ToothFrame(middle, normal, along, upward, length, depth)


def side_size_mm(spec: RingSpec, side: Side) -> tuple[float, float]:
    """True length along the middle of a tooth side, and its mean depth along the surface."""
    share = np.linspace(0.0, 1.0, 41)
    middle = flank_points(spec, side, share, np.full(41, 0.5))
    tip = flank_points(spec, side, share, np.ones(41))
    root = flank_points(spec, side, share, np.zeros(41))
    length = np.linalg.norm(np.diff(middle, axis=0), axis=1).sum()
    return float(length), float(np.linalg.norm(tip - root, axis=1).mean())


def neighbour_triangles(spec: RingSpec, tooth: int, reach: int = 4) -> Floats:
    """Coarse triangles (n, 3, 3) of a tooth and its neighbours, which may hide it."""
    one = tooth_mesh(spec, 12, 2)
    corners = one.vertices[one.triangles]
    near = [
        turn_about_axis(corners, tooth_angle_rad(spec, tooth + step))
        for step in range(-reach, reach + 1)
    ]
    return np.concatenate(near)


def hidden(points: Floats, origin: Floats, triangles: Floats) -> NDArray[np.bool_]:
    """Which points (n, 3) a triangle hides from the origin (Moeller and Trumbore's test)."""
    a = triangles[:, 0]
    edge1, edge2 = triangles[:, 1] - a, triangles[:, 2] - a
    result = np.zeros(len(points), bool)
    for k, point in enumerate(points):
        ray = origin - point
        p = np.cross(ray[None], edge2)
        det = np.einsum("ij,ij->i", edge1, p)
        det = np.where(np.abs(det) < 1e-12, 1e-12, det)
        s = point - a
        u = np.einsum("ij,ij->i", s, p) / det
        q = np.cross(s, edge1)
        v = q @ ray / det
        t = np.einsum("ij,ij->i", edge2, q) / det
        hits = (u >= 0) & (v >= 0) & (u + v <= 1) & (t > 1e-6) & (t < 1)
        result[k] = bool(hits.any())
    return result


def visible_share(spec: RingSpec, side: Side, tooth: int, origin: Floats) -> float:
    """Share of a tooth side that no tooth hides from the origin, on a 7 by 4 grid."""
    share = np.linspace(0.06, 0.94, 7)
    depth = np.linspace(0.08, 0.92, 4)
    grid = np.meshgrid(share, depth)
    points = flank_points(spec, side, grid[0].ravel(), grid[1].ravel(), tooth)
    frame = tooth_frame(spec, side, tooth)
    # Chords of a concave side stand off the true surface by up to 0.05 mm.
    lifted = points + 0.2 * frame.normal
    faces = np.einsum("ij,ij->i", origin - points, np.broadcast_to(frame.normal, points.shape)) > 0
    return float((faces & ~hidden(lifted, origin, neighbour_triangles(spec, tooth))).mean())


@dataclass(frozen=True)
class ViewWish:
    """What a photographer wants: tooth length in pixels, angle of view, tilt and roll limits, how
    much of the side must show, and where in the picture it sits (shares of the half size).

    `shift_lengthwise` moves the aim along the tooth, in tooth lengths, + to the heel.
    """

    tooth_px: float = 380.0
    fov_deg: float = 45.0
    raise_deg: tuple[float, float] = (30.0, 62.0)
    yaw_deg: tuple[float, float] = (-30.0, 30.0)
    roll_deg: tuple[float, float] = (-30.0, 30.0)
    visible: float = 0.9
    off_centre: tuple[float, float] = (0.15, 0.12)
    nearest_mm: float = 85.0
    shift_lengthwise: float = 0.0


def choose_view(
    spec: RingSpec,
    side: Side,
    tooth: int,
    wish: ViewWish,
    size_px: tuple[int, int],
    rng: np.random.Generator,
    tries: int = 60,
) -> Camera:
    """A view of a tooth side within the wish; of all tries, the first that shows enough of it.

    `raise_deg` turns from the side's normal toward the tip, `yaw_deg` toward the heel. Raises
    ValueError if no try shows 70 % of what is wished.
    """
    frame = tooth_frame(spec, side, tooth)
    best: tuple[float, Camera] | None = None
    for _ in range(tries):
        camera = _draw_view(frame, wish, size_px, rng)
        seen = visible_share(spec, side, tooth, camera.origin)
        if best is None or seen > best[0]:
            best = (seen, camera)
        if seen >= wish.visible:
            break
    if best is None or best[0] < 0.7 * wish.visible:
        raise ValueError(f"no view shows tooth {tooth}: {wish}")
    return best[1]


def _draw_view(
    frame: ToothFrame, wish: ViewWish, size_px: tuple[int, int], rng: np.random.Generator
) -> Camera:
    rise = np.radians(rng.uniform(*wish.raise_deg))
    yaw = np.radians(rng.uniform(*wish.yaw_deg))
    level = np.cos(rise) * frame.normal + np.sin(rise) * frame.upward
    outward = np.cos(yaw) * level + np.sin(yaw) * frame.lengthwise
    fov = wish.fov_deg
    focal = 0.5 * size_px[0] / np.tan(np.radians(fov) / 2.0)
    distance = frame.length_mm * np.cos(yaw) * focal / wish.tooth_px
    if distance < wish.nearest_mm:
        # A phone does not focus nearer: it crops instead.
        focal *= wish.nearest_mm / distance
        distance = wish.nearest_mm
        fov = float(np.degrees(2.0 * np.arctan(0.5 * size_px[0] / focal)))
    middle = frame.middle + wish.shift_lengthwise * frame.length_mm * frame.lengthwise
    origin = middle + distance * outward
    up = frame.upward - np.dot(frame.upward, outward) * outward
    roll = np.radians(rng.uniform(*wish.roll_deg))
    side_axis = np.cross(up, outward)
    up = np.cos(roll) * _unit(up) + np.sin(roll) * _unit(side_axis)
    straight = look(origin, middle, up, fov, size_px)
    shift = [rng.uniform(-1, 1) * share * half for share, half in
             zip(wish.off_centre, (size_px[0] / 2, size_px[1] / 2), strict=True)]  # fmt: skip
    aim = origin + distance * (
        straight.forward
        + straight.right * shift[0] / straight.focal_px
        + straight.up * shift[1] / straight.focal_px
    )
    return look(origin, aim, up, fov, size_px)


def picture_direction(camera: Camera, start: Floats, end: Floats) -> str:
    """left, right, up or down: the main direction in the picture from one point to another."""
    (a, b), _ = camera.project(np.stack([start, end]))
    step = b - a
    if abs(step[0]) >= abs(step[1]):
        return "right" if step[0] > 0 else "left"
    return "down" if step[1] > 0 else "up"


def extents_mm(mesh: GearMesh) -> tuple[float, float, float]:
    """Outer radius, lowest and highest z of the teeth."""
    points = mesh.vertices[np.unique(mesh.triangles[mesh.tooth >= 0])]
    radius = np.hypot(points[:, 0], points[:, 1]).max()
    return float(radius), float(points[:, 2].min()), float(points[:, 2].max())
