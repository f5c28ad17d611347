"""The truth beside a photo, and whether a person could tell the mark in it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np

from pattern.synthetic.second.arrays import Array
from pattern.synthetic.second.camera import Camera
from pattern.synthetic.second.compound import Wiped
from pattern.synthetic.second.gear import SIDE_NAMES
from pattern.synthetic.second.painting import PaintedGear
from pattern.synthetic.second.plan import Order, Subject
from pattern.synthetic.second.views import SideView

_INSIDE, _RING = 0.85, (1.25, 2.4)
"""Distances in a mark's field that are surely inside it, and in the compound about it."""
_LEAST_CONTRAST = 11.0
_LEAST_SEPARATION = 1.4
_LISTED, _COUNTED = 0.03, 0.3
"""Visible shares from which a side is listed, and counts for the photo's mean if any such is there."""


@dataclass(frozen=True)
class Legibility:
    """How a mark stands out in the finished picture; colour distances in CIELAB."""

    mark_visible: float
    contrast: float | None
    separation: float | None
    """Contrast over the scatter within mark and compound."""


def legibility(lab: Array, view: SideView, wiped: Wiped) -> Legibility:
    """Of one tooth in a picture `lab` (height, width, 3)."""
    height, width = lab.shape[:2]
    at = np.clip(view.probes_px.astype(int), 0, [width - 1, height - 1])
    colour = lab[at[:, 1], at[:, 0]]
    mark = wiped.distance < _INSIDE
    inside = view.seen & mark
    about = view.seen & (wiped.distance > _RING[0]) & (wiped.distance < _RING[1])
    visible = float(inside.sum() / max(mark.sum(), 1))
    if inside.sum() <= 3 or about.sum() <= 3:
        return Legibility(visible, None, None)
    within, around = np.median(colour[inside], 0), np.median(colour[about], 0)
    apart = np.linalg.norm(around - within)
    way = (around - within) / max(apart, 1e-6)
    scatter = sum(
        np.median(np.abs((colour[where] - middle) @ way))
        for where, middle in ((inside, within), (about, around))
    )
    return Legibility(
        mark_visible=visible,
        contrast=float(np.linalg.norm((within - around) * [0.8, 1, 1])),
        separation=float(apart / (1.5 + 1.48 * 0.5 * scatter)),
    )


def tooth_truths(
    subject: Subject,
    painted: PaintedGear,
    views: list[SideView],
    picture: Array,
) -> list[dict[str, Any]]:
    """Each marked side of the declared kind that is in view, as plain JSON data.

    `picture` is the finished one, (height, width, 3) uint8 BGR.
    """
    blur_px = max(0.8, subject.wanted_px / 150)
    smooth = cv2.GaussianBlur(picture, (0, 0), blur_px).astype(np.float32) / 255
    lab = cv2.cvtColor(smooth, cv2.COLOR_BGR2LAB)
    teeth = []
    for view in views:
        wiped = painted.marks.get(view.tooth)
        if view.share < _LISTED or wiped is None or wiped.centroid is None:
            continue
        seen = legibility(lab, view, wiped)
        teeth.append(
            {
                "tooth": view.tooth % subject.gear.teeth,
                "visible": round(view.share, 3),
                "in_frame": round(view.in_frame, 3),
                "outline": [[round(float(v), 1) for v in corner] for corner in view.corners_px],
                "length_px": round(view.length_px, 1),
                "height_px": round(view.height_px, 1),
                "lengthwise": round(wiped.centroid[0], 4),
                "profile": round(wiped.centroid[1], 4),
                "mark_visible": round(seen.mark_visible, 3),
                "contrast": None if seen.contrast is None else round(seen.contrast, 1),
                "separation": None if seen.separation is None else round(seen.separation, 2),
            }
        )
    return teeth


def can_be_told(order: Order, teeth: list[dict[str, Any]]) -> bool:
    """Whether a person could read one of the teeth: large and clear enough, its mark in view."""
    return any(
        tooth["contrast"] is not None
        and tooth["contrast"] >= _LEAST_CONTRAST
        and tooth["separation"] >= _LEAST_SEPARATION
        and tooth["visible"] >= 0.6
        and tooth["mark_visible"] >= 0.5
        and tooth["length_px"] > 60 * order.scale
        for tooth in teeth
    )


def photo_truth(
    order: Order,
    subject: Subject,
    camera: Camera,
    painted: PaintedGear,
    teeth: list[dict[str, Any]],
    scene: dict[str, Any],
) -> dict[str, Any]:
    """The truth of one photo as plain JSON data, in the words that `contact-pattern check` reads.

    The photo's numbers are means over the teeth that are seen well enough; None where no tooth shows
    a mark. A photo with a fault is not readable, whatever its teeth show.
    """
    gear = subject.gear
    counted = [t for t in teeth if t["visible"] >= _COUNTED] or teeth
    means: dict[str, float | None] = {
        axis: round(float(np.mean([t[axis] for t in counted])), 4) if counted else None
        for axis in ("lengthwise", "profile")
    }
    toe = camera.pixels(subject.on_side(subject.middle, np.array([0.0]), np.array([0.5])))[0]
    return {
        "photo": photo_name(order),
        "readable": order.fault is None,
        "fault": order.fault,
        "side": SIDE_NAMES[subject.side],
        "hand": gear.hand,
        "tooth_system": "uniform" if gear.uniform_depth else "tapered",
        "compound": None if order.fault == "not painted" else painted.rolled.compound.name,
        "size": [camera.width_px, camera.height_px],
        **means,
        "teeth": teeth,
        "scene": {
            "style": subject.style,
            **scene,
            "steel": painted.rolled.steel.kind,
            "thickness": round(float(painted.rolled.compound.thickness), 2),
            "ring_teeth": gear.teeth,
            "diameter_mm": round(gear.diameter_mm, 1),
            "spiral_deg": round(float(np.degrees(gear.spiral_at(gear.mean_mm))), 1),
            "painted": 0 if order.fault == "not painted" else len(subject.painted),
            "both_sides": painted.rolled.both,
            "toe_px": [round(float(v), 1) for v in toe],
        },
    }


def photo_name(order: Order) -> str:
    """File name of a photo."""
    return f"look_{order.index:04d}.jpg"
