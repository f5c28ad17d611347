"""What stands about the gear in each setting, and what hides the teeth when it should."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pattern.synthetic.second.arrays import Array, Rng, frame, unit
from pattern.synthetic.second.camera import Camera
from pattern.synthetic.second.plan import Order, Subject
from pattern.synthetic.second.props import (
    Thing,
    bearing_cap,
    differential_case,
    drawn_hand,
    either,
    housing,
    pinion_in_mesh,
    rag,
)
from pattern.synthetic.second.solids import box, plate, turned
from pattern.synthetic.second.surfaces import Material, drawn_surface

_BOXES = ("black paint", "cardboard", "sheet metal", "cloth", "aluminium")
_TINS = ("black paint", "sheet metal", "aluminium", "glove")


@dataclass(frozen=True, eq=False)
class Surroundings:
    """Things that stay, and what a hand or a rag puts before or beside the gear."""

    things: list[Thing]
    held: list[Thing]


def drawn_surroundings(rng: Rng, order: Order, subject: Subject, camera: Camera) -> Surroundings:
    """Everything but the gear."""
    things = _axle_parts(rng, subject)
    ground, middle, across, along = _ground(rng, subject, bool(things))
    things.append(ground)
    things += _clutter(rng, subject, camera, middle, across, along)
    held = _steadying_hand(rng, subject)
    if order.fault == "covered":
        held = _covering(rng, subject, camera)
    return Surroundings(things, held)


def drawn_surfaces(rng: Rng, things: list[Thing]) -> dict[str, Material]:
    """One surface for each kind among the things, in their order."""
    surfaces: dict[str, Material] = {}
    for thing in things:
        if thing.surface not in surfaces:
            surfaces[thing.surface] = drawn_surface(rng, thing.surface)
    return surfaces


def _axle_parts(rng: Rng, subject: Subject) -> list[Thing]:
    gear, style, blank = subject.gear, subject.style, subject.blank
    things: list[Thing] = []
    hub_mm = 0.0
    if style in ("housing", "carrier") or rng.random() < 0.3:
        case = differential_case(rng, gear, blank)
        things += case.things
        hub_mm = case.hub_mm
        if style != "bench":
            azimuth = 0.0 if style == "housing" else rng.uniform(0, 6.28)
            things += bearing_cap(rng, gear, hub_mm, azimuth)
    if style == "housing":
        things += pinion_in_mesh(rng, gear, np.pi + rng.normal(0, 0.35))
        things += housing(rng, gear, subject.opening_mm)
    if style == "carrier":
        azimuth = subject.azimuth_rad + rng.choice([1, -1]) * rng.uniform(1.3, 2.9)
        things += pinion_in_mesh(rng, gear, azimuth)
        things += _carrier(rng, subject, azimuth, hub_mm)
    return things


def _carrier(rng: Rng, subject: Subject, azimuth_rad: float, hub_mm: float) -> list[Thing]:
    """The nose about the pinion and the arms to the bearings."""
    d = subject.gear.diameter_mm
    surface = either(rng, "cast", "rusty cast", "aluminium")
    out = np.array([np.cos(azimuth_rad), np.sin(azimuth_rad), 0])
    nose = turned([(0.16 * d, 0.5 * d), (0.24 * d, 0.22 * d), (0.30 * d, 0.0)], 60)
    things = [Thing(nose.moved(frame(out * (d * 0.56), out)), surface)]
    across = np.cross(out, [0, 0, 1]) * 0.42 * d
    for height in (hub_mm + 0.04 * d, subject.blank.back_mm - 0.16 * d):
        middle = out * 0.42 * d + np.array([0, 0, height])
        arm = box(middle, out * 0.75 * d, across, np.array([0, 0, 0.07 * d]))
        things.append(Thing(arm, surface))
    return things


def _ground(rng: Rng, subject: Subject, with_case: bool) -> tuple[Thing, Array, Array, Array]:
    """Bench or floor, its middle and its two directions."""
    d, up = subject.gear.diameter_mm, subject.up
    surface = either(rng, "wood", "concrete", "cardboard", "rubber mat", "sheet metal", "tiles")
    below = {
        "bench": 0,
        "housing": 2.2 * d,
        "carrier": rng.uniform(0.62, 1.1) * d,
        "held": rng.uniform(0.7, 3) * d,
    }[subject.style]
    middle = np.array([0, 0, 0.0]) + unit(-up) * below
    if subject.style == "bench":
        flange = 0.05 * d if with_case else 0
        middle = np.array([0, 0, (subject.blank.back_mm - flange) - 1.0])
    across = unit(np.cross(up, [0.31, 0.2, 0.7]))
    along = np.cross(up, across)
    shape = plate(middle, across * 16 * d, along * 16 * d, 16 * d / rng.uniform(250, 600))
    return Thing(shape, surface), middle, across, along


def _clutter(
    rng: Rng, subject: Subject, camera: Camera, ground: Array, across: Array, along: Array
) -> list[Thing]:
    """Boxes, tins and a rag on the ground."""
    d, up, style = subject.gear.diameter_mm, subject.up, subject.style
    things: list[Thing] = []
    if style in ("carrier", "held") and rng.random() < 0.7:
        for _ in range(rng.integers(1, 6)):
            foot = ground + across * rng.uniform(-1.6, 1.6) * d + along * rng.uniform(-1.6, 1.6) * d
            height = rng.uniform(0.1, 0.7) * d
            near_camera = np.linalg.norm(foot - camera.origin) < 0.8 * d
            if near_camera or np.linalg.norm(foot + up * height / 2) < 0.9 * d:
                continue
            things.append(_object(rng, foot, across * d, along * d, up * height))
    if rng.random() < (0.35 if style in ("bench", "carrier") else 0.1):
        around = rng.uniform(0, 6.28)
        way = np.cos(around) * across + np.sin(around) * along
        middle = ground + way * rng.uniform(0.0, 0.8) * d + up * 2
        x, y = across * rng.uniform(1, 1.8) * d, along * rng.uniform(0.8, 1.6) * d
        things.append(rag(rng, middle, x, y, 12))
    return things


def _object(rng: Rng, foot: Array, across: Array, along: Array, upward: Array) -> Thing:
    """A box or a tin that stands at `foot`."""
    if rng.random() < 0.6:
        x, y = across * rng.uniform(0.1, 0.6), along * rng.uniform(0.1, 0.6)
        shape = box(foot + upward / 2, x, y, upward)
        return Thing(shape, either(rng, *_BOXES))
    size, height = float(np.linalg.norm(across)), float(np.linalg.norm(upward))
    low, high = rng.uniform(0.08, 0.3) * size, rng.uniform(0.08, 0.3) * size
    shape = turned([(low, 0), (high, height), (0.01, height)], 40)
    return Thing(shape.moved(frame(foot, upward)), either(rng, *_TINS))


def _steadying_hand(rng: Rng, subject: Subject) -> list[Thing]:
    """Sometimes fingers on the rim, away from the painted teeth."""
    style, gear, blank = subject.style, subject.gear, subject.blank
    held = style == "held" and rng.random() < 0.65
    if not held and not (style != "housing" and rng.random() < 0.1):
        return []
    azimuth = subject.azimuth_rad + rng.choice([1, -1]) * rng.uniform(0.55, 1.2)
    out, axis = np.array([np.cos(azimuth), np.sin(azimuth), 0]), np.array([0, 0, 1.0])
    hand = drawn_hand(rng, rng.uniform(0.88, 1.05))
    rim = out * (gear.diameter_mm / 2) + axis * (blank.back_mm + subject.thickness_mm * 0.9)
    upward = unit(axis + 0.5 * out + rng.normal(0, 0.15, 3))
    inward = -out + np.cross(out, axis) * rng.uniform(-0.6, 0.6)
    return hand.things(rng, frame(rim + out * 8 + np.array([0, 0, 16]), upward, inward))


def _covering(rng: Rng, subject: Subject, camera: Camera) -> list[Thing]:
    """A hand or a rag between the camera and the painted teeth."""
    point = subject.spot().point
    towards = unit(camera.origin - point)
    if rng.random() < 0.55:
        hand = drawn_hand(rng, rng.uniform(0.95, 1.1))
        aside = unit(camera.right * rng.choice([1, -1]) + camera.up * rng.uniform(-0.8, 0.4))
        at = point + towards * rng.uniform(26, 40) + aside * rng.uniform(15, 35)
        return hand.things(rng, frame(at, towards, -aside))
    teeth = len(subject.painted)
    size = rng.uniform(1.6, 2.4) * subject.gear.face_mm * (1 + 0.25 * teeth)
    return [rag(rng, point + towards * 30, camera.right * size * 1.3, camera.up * size, 10)]
