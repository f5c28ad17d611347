"""Where the camera is held: as a mechanic would photograph the painted tooth sides."""

from __future__ import annotations

import numpy as np

from pattern.synthetic.second.arrays import Array, Rng, unit
from pattern.synthetic.second.camera import Camera, looking
from pattern.synthetic.second.plan import Order, Spot, Subject
from pattern.synthetic.second.views import Blocked, look_at_sides

_FRAME_MM = 36.0
"""Long side of the frame that equivalent focal lengths refer to."""
_TRIES = 90


def aimed_camera(rng: Rng, order: Order, subject: Subject, blocked: Blocked) -> Camera | None:
    """A camera that sees a painted side well, or small enough for a photo from too far; None if none.

    `blocked` says which rays the gear alone stops.
    """
    spot = subject.spot()
    for _ in range(_TRIES):
        towards = unit(
            spot.outward * rng.uniform(0.3, 1.0)
            + spot.to_tip * rng.uniform(0.25, 1.2)
            + spot.to_heel * rng.normal(0, 0.38)
        )
        if _in_the_way(subject.style, towards):
            continue
        camera = _held(rng, order, subject, spot, towards)
        views = look_at_sides(subject, camera, blocked)
        if order.fault == "too far":
            fits = [v.share > 0.5 and v.length_px < 48 * order.scale for v in views]
        else:
            fits = [
                v.share >= 0.68
                and v.length_px > 72 * order.scale
                and v.height_px > max(0.16 * v.length_px, 24 * order.scale)
                for v in views
            ]
        if any(fits):
            return camera
    return None


def _in_the_way(style: str, towards: Array) -> bool:
    """Whether housing, bench or the gear's own body is where the camera would be."""
    return bool(
        (style == "housing" and towards[0] < 0.22)
        or (style == "bench" and towards[2] < 0.25)
        or towards[2] < -0.05
    )


def _held(rng: Rng, order: Order, subject: Subject, spot: Spot, towards: Array) -> Camera:
    """A camera in the direction `towards` from the spot."""
    gear, wanted = subject.gear, subject.wanted_px
    long_px = subject.long_px
    far = order.fault == "too far"
    distance = rng.uniform(500, 900) if far else rng.uniform(150, 600)
    equivalent_mm = rng.uniform(24, 50)
    up = _rolled(rng, subject.up, towards)
    foreshortened = np.sqrt(max(1 - np.dot(spot.to_heel, towards) ** 2, 0.04))
    length_mm = gear.face_mm / np.cos(gear.spiral_at(gear.mean_mm)) * foreshortened
    focal = wanted * distance / length_mm
    least = equivalent_mm / _FRAME_MM * long_px
    most = equivalent_mm / _FRAME_MM * long_px * rng.choice([1, 1, 2.2])
    if not least <= focal <= most:
        nearest = 110 if wanted > 700 * order.scale else 150
        distance = np.clip(
            distance * np.clip(focal, least, most) / focal, nearest, 1500 if far else 600
        )
        bounds = (24 / _FRAME_MM * long_px, 130 / _FRAME_MM * long_px)
        focal = np.clip(wanted * distance / length_mm, *bounds)
    width, height = subject.size_px
    shift = rng.normal(0, 0.16, 2) * min(1, max(0.12, 1 - wanted / (0.9 * long_px)))
    right = unit(np.cross(-towards, up))
    target = spot.point + (right * shift[0] * width + up * shift[1] * height) / focal * distance
    origin = spot.point + towards * distance
    return looking(origin, target, up, subject.size_px, float(focal))


def _rolled(rng: Rng, up: Array, towards: Array) -> Array:
    """The picture's upward direction: upright, turned by quarters, or any way."""
    level = up - np.dot(up, -towards) * -towards
    if np.linalg.norm(level) < 0.15:
        level = np.cross(towards, [1, 0, 0.2])
    chance = rng.random()
    if chance < 0.45:
        roll_deg = rng.normal(0, 6)
    elif chance < 0.6:
        roll_deg = rng.choice([90, -90, 180]) + rng.normal(0, 8)
    else:
        roll_deg = rng.uniform(0, 360)
    level, roll = unit(level), np.radians(roll_deg)
    return np.asarray(level * np.cos(roll) + np.cross(towards, level) * np.sin(roll))
