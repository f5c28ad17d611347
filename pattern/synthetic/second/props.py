"""What stands about the ring gear: case, caps, pinion, housing, a hand, a rag. Lengths in mm."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pattern.synthetic.second.arrays import Array, Rng, frame, noise, turn_about_axis, unit
from pattern.synthetic.second.gear import Gear
from pattern.synthetic.second.solids import Shape, box, tube, turned
from pattern.synthetic.second.tooth_solid import Blank, ring_of_teeth, tooth_solid


@dataclass(frozen=True, eq=False)
class Thing:
    """A shape and the kind of its surface, one of `surfaces.KINDS`."""

    shape: Shape
    surface: str


def either(rng: Rng, *kinds: str) -> str:
    """One of the kinds."""
    return str(rng.choice(kinds))


def bolt(across_flats_mm: float, head_mm: float) -> Shape:
    """A hexagon head on its washer, standing on z 0."""
    corner = across_flats_mm * 0.577
    head = [(corner, 0), (corner, head_mm * 0.8), (across_flats_mm * 0.5, head_mm), (0.01, head_mm)]
    shape = turned(head, 6)
    washer = across_flats_mm * 0.72
    shape.add(turned([(washer, 0), (washer, head_mm * 0.18), (0.01, head_mm * 0.18)], 24))
    return shape


@dataclass(frozen=True, eq=False)
class Case:
    """The differential case; `hub_mm` is the height of its bearing seat on the axis."""

    things: list[Thing]
    hub_mm: float


def differential_case(rng: Rng, gear: Gear, blank: Blank) -> Case:
    """A case through the bore, its flange behind the gear, the bearing, the ring gear's bolts."""
    d, back, bore = gear.diameter_mm, blank.back_mm, blank.bore_mm
    surface = either(rng, "cast", "rusty cast", "cast")
    flange = [(0.43 * d, -0.045 * d), (0.49 * d, -0.045 * d), (0.495 * d, -0.03 * d)]
    flange += [(0.495 * d, 0.0), (bore * 0.9, 0.0)]
    body = turned([(r, back + z) for r, z in flange], 120)
    radius, height = bore * rng.uniform(0.80, 0.93), rng.uniform(0.12, 0.34) * d
    top = back + height
    dome = [
        (bore * 0.97, back + 1),
        (bore * 0.97, back + 0.02 * d),
        (radius, back + 0.045 * d),
        (radius * 0.99, top),
        (radius * 0.85, top + 0.03 * d),
        (radius * 0.5, top + 0.06 * d),
        (0.14 * d, top + 0.065 * d),
        (0.13 * d, top + 0.085 * d),
    ]
    body.add(turned(dome[::-1], 96))
    things = [Thing(body, surface)]
    begin = rng.uniform(0, 3)
    for half in (0, np.pi):
        window = [
            (radius + 0.4, back + 0.045 * d + 0.25 * height),
            (radius + 0.4, top - 0.2 * height),
        ]
        arc = (begin + half, begin + half + rng.uniform(0.5, 0.9))
        things.append(Thing(turned(window, 30, arc_rad=arc), "black paint"))
    hub = top + 0.085 * d
    bearing = [
        (0.16 * d, hub - 2),
        (0.185 * d, hub),
        (0.185 * d, hub + 0.018 * d),
        (0.125 * d, hub + 0.1 * d),
        (0.11 * d, hub + 0.105 * d),
        (0.085 * d, hub + 0.105 * d),
        (0.085 * d, hub - 10),
    ]
    things.append(Thing(turned(bearing, 72), "bright"))
    things.append(_ring_bolts(rng, d, back))
    return Case(things, float(hub))


def _ring_bolts(rng: Rng, diameter_mm: float, back_mm: float) -> Thing:
    count = int(rng.choice([8, 10, 12]))
    bolts, one = Shape(), bolt(0.075 * diameter_mm, 0.04 * diameter_mm)
    radius = 0.43 * diameter_mm
    for i in range(count):
        angle = 6.283 * i / count
        at = [radius * np.cos(angle), radius * np.sin(angle), back_mm - 0.045 * diameter_mm]
        bolts.add(one, frame(at, [0, 0, -1]))
    return Thing(bolts, either(rng, "black oxide", "machined"))


def bearing_cap(rng: Rng, gear: Gear, hub_mm: float, azimuth_rad: float) -> list[Thing]:
    """The arched cap over the bearing, on the side of the azimuth, with two bolts."""
    d = gear.diameter_mm
    inner, outer = 0.20 * d, 0.255 * d
    low, high = hub_mm + 0.005 * d, hub_mm + 0.085 * d
    arc = (azimuth_rad - 1.57, azimuth_rad + 1.57)
    cap, bolts = Shape(), Shape()
    cap.add(turned([(outer, low), (outer, high)], 48, arc_rad=arc))
    cap.add(turned([(outer, high), (inner, high)], 48, arc_rad=arc))
    cap.add(turned([(inner, low), (outer, low)], 48, arc_rad=arc))
    out = np.array([np.cos(azimuth_rad), np.sin(azimuth_rad), 0])
    across = np.array([-np.sin(azimuth_rad), np.cos(azimuth_rad), 0])
    for sign in (1, -1):
        foot = across * sign * 0.265 * d + np.array([0, 0, (low + high) / 2])
        cap.add(box(foot, out * 0.09 * d, across * 0.075 * d, np.array([0, 0, 0.08 * d])))
        bolts.add(bolt(0.075 * d, 0.045 * d), frame(foot + out * 0.045 * d, out))
    surface = either(rng, "cast", "machined", "cast")
    return [Thing(cap, surface), Thing(bolts, either(rng, "black oxide", "machined"))]


def pinion_in_mesh(rng: Rng, gear: Gear, azimuth_rad: float) -> list[Thing]:
    """The pinion's head at the azimuth, of the other hand than the ring gear, and its stem."""
    pinion = Gear(
        teeth=gear.pinion_teeth,
        diameter_mm=float(2 * gear.heel_mm * np.sin(np.pi / 2 - gear.pitch_angle_rad)),
        pitch_angle_rad=np.pi / 2 - gear.pitch_angle_rad,
        face_mm=gear.face_mm * 1.03,
        spiral_rad=np.radians(36),
        cutter_ratio=1.0,
        depth_mm=gear.depth_mm * 0.97,
        addendum_share=0.72,
        drive_pressure_rad=np.radians(19),
        coast_pressure_rad=np.radians(19),
        uniform_depth=gear.uniform_depth,
        hand="left" if gear.hand == "right" else "right",
        land_share=0.3,
    )
    turns = [turn_about_axis(6.28318 * (i + 0.5) / pinion.teeth) for i in range(pinion.teeth)]
    head = ring_of_teeth(pinion, tooth_solid(pinion, 16, 8), turns)
    (heel_radius, heel_z), (toe_radius, toe_z) = (
        _below_root(pinion, cone) for cone in (pinion.heel_mm, pinion.toe_mm)
    )
    head.add(turned([(toe_radius, toe_z), (0.01, toe_z)], 48))
    d = gear.diameter_mm
    stem = [
        (heel_radius * 0.62, heel_z - 0.5 * d),
        (heel_radius * 0.62, heel_z - 0.04 * d),
        (heel_radius * 0.9, heel_z - 0.03 * d),
        (heel_radius * 0.9, heel_z),
    ]
    # An offset was drawn here once and never used; without this draw a seed gave other pictures.
    rng.uniform(0.05, 0.14)
    out = np.array([np.cos(azimuth_rad), np.sin(azimuth_rad), 0])
    place = frame([0, 0, rng.uniform(0.5, 1.5)], -out, [0, 0, 1])
    return [
        Thing(head.moved(place), "machined"),
        Thing(turned(stem, 48).moved(place), "cast"),
    ]


def _below_root(gear: Gear, cone_mm: float) -> tuple[float, float]:
    """Radius and height of the blank's edge at toe or heel."""
    height = -gear.rows_at(np.array(cone_mm)).dedendum_mm - 0.12 * gear.depth_mm
    sine, cosine = np.sin(gear.pitch_angle_rad), np.cos(gear.pitch_angle_rad)
    return cone_mm * sine + height * cosine, -cone_mm * cosine + height * sine


@dataclass(frozen=True, eq=False)
class Hand:
    """A hand with its sleeve: fingers along +x, the palm's back looks to +z."""

    skin: Shape
    sleeve: Shape

    def things(self, rng: Rng, place: Array) -> list[Thing]:
        """The hand at a place (4, 4), bare or gloved."""
        skin = Thing(self.skin.moved(place), either(rng, "skin", "glove"))
        return [skin, Thing(self.sleeve.moved(place), "cloth")]


def drawn_hand(rng: Rng, size: float) -> Hand:
    """A hand with more or less bent fingers; size 1 is a grown man's."""
    shape = Shape()
    curl = rng.uniform(0.2, 0.8)
    for number, (side_mm, length_mm) in enumerate(((-30, 72), (-10, 82), (10, 77), (29, 60))):
        shape.add(_finger(rng, side_mm, length_mm, curl, number == 3))
    t = np.linspace(0, 1, 24)
    thumb = np.stack([-70 + 62 * t, -28 - 26 * np.sin(t * 2.2), -8 - 14 * t], -1)
    tip = np.sqrt(np.clip(1 - np.clip((t - 0.88) / 0.12, 0, 1) ** 2, 0.0001, 1))
    shape.add(tube(thumb, (14 - 5 * t) * tip, 18))
    _add_palm(shape)
    arm = np.stack([np.linspace(-75, -330, 12), np.zeros(12), np.linspace(0, -20, 12)], -1)
    scale = np.eye(4) * size
    scale[3, 3] = 1
    sleeve = tube(arm, np.linspace(27, 45, 12), 24)
    return Hand(shape.moved(scale), sleeve.moved(scale))


def _finger(rng: Rng, side_mm: float, length_mm: float, curl: float, little: bool) -> Shape:
    t = np.linspace(0, 1, 26)
    length = length_mm * rng.uniform(0.92, 1.05)
    bend = curl * rng.uniform(0.8, 1.3) * 1.7 * np.clip(t * 1.3, 0, 1.2) ** 1.3
    step, spread = length / 25, np.radians(side_mm * 0.25)
    x, z = np.cumsum(np.cos(bend)) * step, -np.cumsum(np.sin(bend)) * step
    centres = np.stack([x * np.cos(spread) - 6, side_mm + x * np.sin(spread), z], -1)
    knuckles = 0.9 * np.exp(-(((t - 0.42) / 0.07) ** 2)) + 0.5 * np.exp(-(((t - 0.72) / 0.06) ** 2))
    tip = np.sqrt(np.clip(1 - np.clip((t - 0.9) / 0.101, 0, 1) ** 2, 0.0001, 1))
    return tube(centres, (9.2 - 2.0 * t + knuckles) * tip * (0.86 if little else 1), 18)


def _add_palm(shape: Shape) -> None:
    a = np.linspace(0, np.pi, 24)[:, None]
    b = np.linspace(0, 2 * np.pi, 33)[None]
    along = np.sign(np.cos(a)) * np.abs(np.cos(a)) ** 0.6
    about = np.abs(np.sin(a)) ** 0.6
    half = np.array([48, 41, 14.5])
    points = np.stack(
        np.broadcast_arrays(
            -44 + half[0] * along, half[1] * about * np.cos(b), half[2] * about * np.sin(b)
        ),
        -1,
    )
    places = np.stack(np.broadcast_arrays(a / 3.14, b / 6.28), -1)
    shape.grid(points, places, normals=unit((points - [-44, 0, 0]) / half**2))


def rag(rng: Rng, centre: ArrayLike, x: Array, y: Array, folds_mm: float) -> Thing:
    """A rag with folds, spread along the vectors `x` and `y`."""
    n = 90
    height = folds_mm * (np.abs(noise(rng, n, n, 4, 4, 3)) * 1.4 + 0.5 * noise(rng, n, n, 3, 3, 4))
    t = np.linspace(-0.5, 0.5, n)
    edge = noise(rng, n, n, 3, 3, 2) * 0.08
    points = (
        np.asarray(centre)
        + (t[None, :, None] + edge[..., None]) * np.asarray(x)
        + (t[:, None, None] + edge.T[..., None]) * np.asarray(y)
        + height[..., None] * unit(np.cross(x, y))
    )
    shape = Shape()
    shape.grid(points, np.stack(np.meshgrid(t + 0.5, t + 0.5), -1) * 2.5, flip=True)
    return Thing(shape, "cloth")


def housing(rng: Rng, gear: Gear, centre_mm: float) -> list[Thing]:
    """The axle housing round the cover opening, which looks to +x."""
    d = gear.diameter_mm
    surface = either(rng, "cast", "rusty cast", "aluminium", "black paint", "cast")
    face = 0.5 * d + rng.uniform(-0.06, 0.05) * d
    opening = d * rng.uniform(0.64, 0.72)
    stretch = np.diag([rng.uniform(0.97, 1.12), rng.uniform(0.97, 1.12), 1, 1])
    place = frame([0, 0, centre_mm], [1, 0, 0], [0, 0, 1]) @ stretch
    facets = int(rng.choice([120, 120, 10, 8]))
    rim = opening + 0.075 * d
    outside = [(rim, face), (rim, face - 0.06 * d), (rim + 0.03 * d, face - 0.25 * d)]
    inside = [
        (opening, face),
        (opening * 0.99, face - 0.12 * d),
        (opening * 0.97, face - 0.55 * d),
        (opening * 0.7, face - 1.05 * d),
        (0.02, face - 1.12 * d),
    ]
    gasket = either(rng, "machined", "machined", surface)
    things = [
        Thing(turned(outside, facets).moved(place), surface),
        Thing(turned(inside, 96).moved(place), surface),
        Thing(turned([(rim, face), (opening, face)], facets).moved(place), gasket),
    ]
    count = int(rng.choice([10, 12, 14]))
    holes, radius = Shape(), (opening + rim) / 2
    hole = turned([(0.01, face + 0.15), (0.013 * d, face + 0.2)], 20)
    for i in range(count):
        angle = 6.283 * i / count
        shift = np.eye(4)
        shift[:2, 3] = radius * np.cos(angle), radius * np.sin(angle)
        holes.add(hole, place @ shift)
    return [*things, Thing(holes, "black paint")]
