"""How the painted tooth sides look to the camera: corners in pixels, what of each side is seen."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from pattern.synthetic.second.arrays import Array
from pattern.synthetic.second.camera import Camera
from pattern.synthetic.second.compound import PROBE_LENGTHWISE, PROBE_PROFILE
from pattern.synthetic.second.plan import Subject

Blocked = Callable[[Array, Array, Array], Array]
"""Which rays meet something: points (n, 3), unit directions (n, 3), reach in mm (n,) to bool (n,)."""

_ABOVE_MM = 0.08
"""Rays start so far above the side, and end so far before the camera, that they meet neither."""
_BEFORE_MM = 4.0


@dataclass(frozen=True, eq=False)
class SideView:
    """The declared side of one painted tooth in the picture."""

    tooth: int
    corners_px: Array
    """(4, 2): toe-tip, heel-tip, heel-root, toe-root."""
    seen: Array
    """Which probed places are seen, bool (n,)."""
    in_frame: float
    """Share of the side within the frame, hidden or not."""
    probes_px: Array
    """Where the probed places are, (n, 2)."""

    @property
    def share(self) -> float:
        """Visible share of the side."""
        return float(self.seen.mean())

    @property
    def length_px(self) -> float:
        """Mean length of tip and root edge."""
        c = self.corners_px
        return float((np.linalg.norm(c[0] - c[1]) + np.linalg.norm(c[3] - c[2])) / 2)

    @property
    def height_px(self) -> float:
        """Area over length."""
        return polygon_area(self.corners_px) / max(self.length_px, 1)


def polygon_area(corners: Sequence[Array] | Array) -> float:
    """Area of a polygon of points (2,)."""
    following = np.roll(np.asarray(corners), -1, axis=0)
    return float(
        0.5 * abs(sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(corners, following, strict=True)))
    )


def look_at_sides(subject: Subject, camera: Camera, blocked: Blocked) -> list[SideView]:
    """One view a painted tooth, in order."""
    gear, side, teeth = subject.gear, subject.side, subject.painted
    points = gear.flank(side, PROBE_LENGTHWISE, PROBE_PROFILE)
    normals = gear.outward(side, PROBE_LENGTHWISE, PROBE_PROFILE)
    starts, facing = [], []
    for tooth in teeth:
        turn = subject.turn(tooth)[:3, :3]
        at, normal = points @ turn.T, normals @ turn.T
        facing.append(np.einsum("ij,ij->i", camera.origin - at, normal) > 0)
        starts.append(at + normal * _ABOVE_MM)
    start = np.concatenate(starts)
    ray = camera.origin - start
    reach = np.linalg.norm(ray, axis=1)
    hit = blocked(start, ray / reach[:, None], reach - _BEFORE_MM).reshape(len(teeth), -1)
    pixels = camera.pixels(start).reshape(len(teeth), -1, 2)
    x, y = pixels[..., 0], pixels[..., 1]
    inside = (x > 1) & (x < camera.width_px - 1) & (y > 1) & (y < camera.height_px - 1)
    seen = np.array(facing) & ~hit & inside
    return [
        SideView(
            tooth=tooth,
            corners_px=side_corners(subject, camera, tooth),
            seen=seen[n],
            in_frame=float(inside[n].mean()),
            probes_px=pixels[n],
        )
        for n, tooth in enumerate(teeth)
    ]


def side_corners(subject: Subject, camera: Camera, tooth: int) -> Array:
    """Corners (4, 2) of the declared side in px: toe-tip, heel-tip, heel-root, toe-root."""
    lengthwise, profile = np.array([0.0, 1, 1, 0]), np.array([1.0, 1, 0, 0])
    return camera.pixels(subject.on_side(tooth, lengthwise, profile))


def centre_px(subject: Subject, camera: Camera, tooth: int, place: tuple[float, float]) -> Array:
    """Pixel (2,) of a place (lengthwise, profile) of the declared side."""
    at = subject.on_side(tooth, np.array([place[0]]), np.array([place[1]]))
    return np.asarray(camera.pixels(at)[0])
