"""The truth beside a photo: outlines, visibility, patches in pixels and in tooth coordinates."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from pattern.records import SIDES, Side
from pattern.synthetic.camera_view import Camera, picture_direction, side_size_mm, tooth_frame
from pattern.synthetic.marks import measure_mask
from pattern.synthetic.pair_marks import axle_of, pair_marks
from pattern.synthetic.ring_spec import RingSpec
from pattern.synthetic.scene import Scene
from pattern.synthetic.tooth_form import Floats, flank_points

Hides = Callable[[Floats], NDArray[np.bool_]]
"""Which points (n, 3) something hides from the camera."""

NEEDED = 0.6
"""Visible share from which a painted tooth side must be found."""


def photo_truth(
    scene: Scene,
    camera: Camera,
    contact: dict[int, dict[Side, NDArray[np.bool_]]],
    hides: Hides,
) -> dict[str, Any]:
    """The truth of one photo as plain JSON data; numbers in the words of the reading's contract.

    `teeth` are the painted tooth sides of the declared side that are at least 60 % visible and
    whole in the picture (in a close-up that cuts its only teeth: whole or not); `partly` the painted ones that are less; `other_side` the same of the
    other side. Photo numbers are means over `teeth`.
    """
    records = {side: _sides(scene.spec, side, camera, contact, hides) for side in SIDES}
    mine = records[scene.side]
    shown = [r for r in mine if r["visible"] >= NEEDED]
    full = [r for r in shown if r["whole"]] or shown
    other = next(s for s in SIDES if s != scene.side)
    marked = [r for r in full if "lengthwise" in r]
    frame = tooth_frame(scene.spec, scene.side, _middle_tooth(full, contact))
    heel = frame.middle + 5.0 * frame.lengthwise
    tip = frame.middle + 2.0 * frame.upward
    readable = scene.fault is None and bool(marked)
    return {
        "photo": scene.name,
        "readable": readable,
        "fault": scene.fault,
        "side": scene.side,
        "hand": scene.spec.hand,
        "tooth_system": scene.spec.tooth_system,
        "toe": picture_direction(camera, heel, frame.middle),
        "tip": picture_direction(camera, frame.middle, tip),
        "compound": scene.brush.colour if contact else None,
        "size": [camera.width_px, camera.height_px],
        **(_mean(marked) if readable else {}),
        "teeth": full,
        "partly": [r for r in mine if r not in full and r["visible"] > 0.05],
        "other_side": [r for r in records[other] if r["visible"] >= 0.3],
        "pair": scene.pair,
        **_set_data(scene),
        "camera": _camera_data(camera),
        "scene": asdict(scene),
    }


def _set_data(scene: Scene) -> dict[str, Any]:
    """The set as a shop writes it down, how far it is from right, and its backlash."""
    if scene.computed is None:
        return {}
    axle = axle_of(scene.spec)
    backlash = pair_marks(scene.spec, scene.computed).backlash_in
    names = ("ring_teeth", "pinion_teeth", "ring_diameter_in", "tooth_system", "hand", "rotation")
    return {
        "axle": {name: getattr(axle, name) for name in names},
        "off_by": {
            "pinion_move_in": scene.computed.pinion_move_in,
            "ring_move_in": scene.computed.ring_move_in,
        },
        "story": scene.computed.story,
        "backlash_in": round(backlash, 4),
    }


def _middle_tooth(
    full: list[dict[str, Any]], contact: dict[int, dict[Side, NDArray[np.bool_]]]
) -> int:
    if full:
        return int(max(full, key=lambda r: r["visible"])["tooth"])
    return sorted(contact)[len(contact) // 2] if contact else 0


def _camera_data(camera: Camera) -> dict[str, Any]:
    names = ("origin", "forward", "right", "up")
    return {
        **{name: [round(float(v), 6) for v in getattr(camera, name)] for name in names},
        "fov_deg": camera.fov_deg,
    }


def _sides(
    spec: RingSpec,
    side: Side,
    camera: Camera,
    contact: dict[int, dict[Side, NDArray[np.bool_]]],
    hides: Hides,
) -> list[dict[str, Any]]:
    size = side_size_mm(spec, side)
    found = []
    for tooth in sorted(contact):
        corners = _pixels(spec, side, tooth, camera, [0, 1, 1, 0], [1, 1, 0, 0])
        share = np.linspace(0.0, 1.0, 25)
        record: dict[str, Any] = {
            "tooth": tooth,
            "visible": round(_visible(spec, side, tooth, camera, hides), 3),
            "whole": bool(camera.contains(corners).all()),
            "outline": _rounded(corners),
            "tip_edge": _rounded(_pixels(spec, side, tooth, camera, share, np.ones(25))),
            "root_edge": _rounded(_pixels(spec, side, tooth, camera, share, np.zeros(25))),
        }
        mask = contact[tooth].get(side)
        if mask is not None and mask.any():
            record |= _patch(spec, side, tooth, camera, mask, size)
        found.append(record)
    return found


def _pixels(
    spec: RingSpec, side: Side, tooth: int, camera: Camera, lengthwise: Any, profile: Any
) -> Floats:
    points = flank_points(
        spec, side, np.asarray(lengthwise, float), np.asarray(profile, float), tooth
    )
    return camera.project(points)[0]


def _rounded(pixels: Floats) -> list[list[float]]:
    return [[round(float(x), 2), round(float(y), 2)] for x, y in pixels]


def _visible(spec: RingSpec, side: Side, tooth: int, camera: Camera, hides: Hides) -> float:
    """Share of a grid of points on the side that are in the picture and that nothing hides."""
    share, depth = np.meshgrid(np.linspace(0.03, 0.97, 16), np.linspace(0.05, 0.95, 7))
    points = flank_points(spec, side, share.ravel(), depth.ravel(), tooth)
    pixels, distance = camera.project(points)
    seen = camera.contains(pixels) & (distance > 0) & ~hides(points)
    return float((seen & _faces(spec, side, tooth, camera, share.ravel(), depth.ravel())).mean())


def _faces(
    spec: RingSpec, side: Side, tooth: int, camera: Camera, share: Floats, depth: Floats
) -> NDArray[np.bool_]:
    """Which points of a side are turned to the camera, by 5 degrees at least."""
    step = 0.01
    points = flank_points(spec, side, share, depth, tooth)
    along = flank_points(spec, side, share + step, depth, tooth) - points
    upward = flank_points(spec, side, share, depth + step, tooth) - points
    normal = np.cross(along, upward)
    outward = tooth_frame(spec, side, tooth).normal
    normal *= np.where(normal @ outward < 0, -1.0, 1.0)[:, None]
    toward = camera.origin - points
    cosine = np.einsum("ij,ij->i", normal, toward)
    cosine /= np.linalg.norm(normal, axis=1) * np.linalg.norm(toward, axis=1)
    return np.asarray(cosine > np.sin(np.radians(5.0)))


def _patch(
    spec: RingSpec,
    side: Side,
    tooth: int,
    camera: Camera,
    mask: NDArray[np.bool_],
    size_mm: tuple[float, float],
) -> dict[str, Any]:
    measures = measure_mask(mask, size_mm)
    outlines, _ = cv2.findContours(
        _even(mask),
        cv2.RETR_EXTERNAL,
        cv2.CHAIN_APPROX_NONE,
    )
    polygons = []
    for outline in sorted(outlines, key=cv2.contourArea, reverse=True):
        if cv2.contourArea(outline) < 40:
            continue
        corners = cv2.approxPolyDP(outline, 0.7, True)[:, 0]
        at = (corners.astype(float) + 0.5) / [512, 160]
        polygons.append(_rounded(_pixels(spec, side, tooth, camera, at[:, 0], at[:, 1])))
    return {
        "lengthwise": round(measures.lengthwise, 4),
        "profile": round(measures.profile, 4),
        "extent": {
            "lengthwise": [round(v, 4) for v in measures.lengthwise_range],
            "profile": [round(v, 4) for v in measures.profile_range],
        },
        "tilt_deg": round(measures.tilt_deg, 2),
        "area": round(measures.area, 4),
        "contact": polygons,
    }


def _even(mask: NDArray[np.bool_]) -> NDArray[np.uint8]:
    """The mask on 160 rows and 512 columns."""
    share = cv2.resize(mask.astype(np.float32), (512, 160), interpolation=cv2.INTER_AREA)
    return np.asarray(share > 0.5, np.uint8)


def _mean(teeth: list[dict[str, Any]]) -> dict[str, Any]:
    """The photo's numbers: plain means over its teeth."""

    def mean(values: list[float]) -> float:
        return round(float(np.mean(values)), 4)

    names = ("lengthwise", "profile", "tilt_deg", "area")
    numbers: dict[str, Any] = {name: mean([t[name] for t in teeth]) for name in names}
    numbers["extent"] = {
        axis: [mean([t["extent"][axis][k] for t in teeth]) for k in (0, 1)]
        for axis in ("lengthwise", "profile")
    }
    return numbers
