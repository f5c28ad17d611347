"""One photo from its order: what is drawn in which step, and when it is drawn again."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np

from pattern.synthetic.second.aim import aimed_camera
from pattern.synthetic.second.arrays import Array, Rng
from pattern.synthetic.second.camera import Camera
from pattern.synthetic.second.develop import Shot, developed, jpeg
from pattern.synthetic.second.light import Light, drawn_light
from pattern.synthetic.second.painting import (
    PaintedGear,
    Surfaced,
    blank_surface,
    drawn_rolled,
    painted_gear,
)
from pattern.synthetic.second.plan import Order, Subject, drawn_subject
from pattern.synthetic.second.props import Thing
from pattern.synthetic.second.surfaces import Material
from pattern.synthetic.second.surroundings import drawn_surfaces, drawn_surroundings
from pattern.synthetic.second.tracer import Loaded, Tracer
from pattern.synthetic.second.truth import can_be_told, photo_truth, tooth_truths
from pattern.synthetic.second.views import SideView, centre_px, look_at_sides

ATTEMPTS = 24


@dataclass(frozen=True, eq=False)
class Photo:
    """A finished photo: its file, its truth and its pixels (height, width, 3) BGR."""

    jpeg: bytes
    truth: dict[str, Any]
    picture: Array
    marks_px: list[Array]
    """Where the marks' middles are, hidden or not."""


@dataclass(frozen=True, eq=False)
class _Set:
    """Everything before the camera, with what is in the hand or not."""

    scene: Loaded
    views: list[SideView]
    with_held: bool


def drawn_photo(order: Order, tracer: Tracer, attempt: int) -> Photo | None:
    """A photo, or None where this attempt does not show what the order asks for."""
    rng, lasting = order.main_rng(attempt), order.lasting_rng(attempt)
    subject = drawn_subject(order, rng, lasting)
    camera = aimed_camera(rng, order, subject, tracer.gear_alone(subject.ring()).blocked)
    if camera is None:
        return None
    rolled = drawn_rolled(rng, lasting, order, subject)
    painted = painted_gear(rng, order.tooth_rng(attempt), order, subject, rolled)
    if order.fault is None and not painted.told_apart:
        return None
    parts = [*painted.parts, (subject.blank.shape, blank_surface(rng, rolled.steel))]
    around = drawn_surroundings(rng, order, subject, camera)
    light = drawn_light(rng, order, subject, camera)
    surfaces = drawn_surfaces(rng, [*around.things, *around.held])
    parts += _surfaced(around.things, surfaces)
    held = _surfaced(around.held, surfaces)
    built = _set_up(order, subject, camera, tracer, light, parts, held)
    if not _as_ordered(order, built.views):
        return None
    return _taken(rng, order, attempt, subject, camera, painted, light, built)


def _surfaced(things: list[Thing], surfaces: dict[str, Material]) -> list[Surfaced]:
    return [(thing.shape, surfaces[thing.surface]) for thing in things]


def _set_up(
    order: Order,
    subject: Subject,
    camera: Camera,
    tracer: Tracer,
    light: Light,
    parts: list[Surfaced],
    held: list[Surfaced],
) -> _Set:
    """The scene; a hand that hides the teeth and was not asked for is taken away."""
    scene = tracer.scene([*parts, *held], light, subject.up)
    views = look_at_sides(subject, camera, scene.blocked)
    in_the_way = max(view.share for view in views) < 0.62
    if held and order.fault != "covered" and in_the_way:
        scene = tracer.scene(parts, light, subject.up)
        return _Set(scene, look_at_sides(subject, camera, scene.blocked), False)
    return _Set(scene, views, bool(held))


def _as_ordered(order: Order, views: list[SideView]) -> bool:
    """Whether the teeth are seen as a readable photo, or the fault, needs it."""
    if order.fault == "covered":
        return max(view.share for view in views) <= 0.25
    if order.fault == "too far":
        return max(view.length_px for view in views) < 50 * order.scale
    return any(
        view.share >= 0.62
        and view.length_px > 64 * order.scale
        and view.height_px > 20 * order.scale
        for view in views
    )


def _taken(
    rng: Rng,
    order: Order,
    attempt: int,
    subject: Subject,
    camera: Camera,
    painted: PaintedGear,
    light: Light,
    built: _Set,
) -> Photo | None:
    """The exposure, the developing and the truth; None where nobody could read the mark."""
    point = subject.spot().point
    focus = np.dot(point - camera.origin, camera.forward) * rng.normal(1, 0.015)
    aperture = min(rng.uniform(0.2, 1.1), 1.6 * focus / camera.focal_px * 6)
    seed = order.index * 131 + attempt + 1
    linear = built.scene.photographed(camera, aperture, focus, order.samples, seed)
    centres = {
        tooth: centre_px(subject, camera, tooth, wiped.centroid)
        for tooth, wiped in painted.marks.items()
        if wiped.centroid is not None
    }
    shot = Shot(
        order=order,
        middle_px=camera.pixels(point),
        wanted_px=subject.wanted_px,
        longest_px=max(view.length_px for view in built.views),
        marks_px=[
            (centres[view.tooth], view.length_px)
            for view in built.views
            if view.share >= 0.15 and view.tooth in centres
        ],
        white_compound=painted.rolled.compound.name == "white",
        white_balance=light.white_balance,
    )
    picture = developed(rng, linear, shot)
    teeth = tooth_truths(subject, painted, built.views, picture)
    if order.fault is None and not can_be_told(order, teeth):
        return None
    scene = {
        "light": light.kind,
        "flash": light.flash_on,
        "work_lamp": light.work_on,
        "hand_or_rag": built.with_held,
        "distance_mm": round(float(np.linalg.norm(camera.origin - point))),
    }
    truth = photo_truth(order, subject, camera, painted, teeth, scene)
    return Photo(jpeg(rng, picture), truth, picture, list(centres.values()))


def with_truth_drawn(photo: Photo) -> Array:
    """The picture with outlines (toe-tip red, toe-root blue) and the marks' middles drawn into it."""
    picture, truth = photo.picture.copy(), photo.truth
    for tooth in truth["teeth"]:
        corners = np.array(tooth["outline"]).astype(np.int32)
        cv2.polylines(picture, [corners], True, (0, 255, 0), 1)
        cv2.circle(picture, tuple(map(int, corners[0])), 4, (0, 0, 255), -1)
        cv2.circle(picture, tuple(map(int, corners[3])), 4, (255, 0, 0), -1)
    for middle in photo.marks_px:
        x, y = (int(v) for v in middle)
        cv2.drawMarker(picture, (x, y), (255, 0, 255), cv2.MARKER_CROSS, 14, 2)
    told = (truth["side"], truth["hand"], truth["lengthwise"], truth["profile"], truth["fault"])
    words = " ".join(str(word) for word in told if word is not None)
    cv2.putText(picture, words, (8, 24), cv2.FONT_HERSHEY_SIMPLEX, 0.6, (0, 255, 255), 2)
    return picture
