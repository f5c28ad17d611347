"""The solid of a tooth and of the body behind the teeth, as triangles with texture places.

A tooth's texture is a strip: across it from toe to heel, down it over the tooth from the middle of one
space to the middle of the next, so root, drive side, top land, coast side, root.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pattern.synthetic.second.arrays import Array
from pattern.synthetic.second.gear import COAST, DRIVE, Gear, Rows, tip_rounding_mm
from pattern.synthetic.second.solids import Shape, turned

ROOT_SHARE = 0.14
SIDE_SHARE = 0.32
LAND_FROM, LAND_TO = 0.46, 0.54
"""Where root, side and top land lie in the strip; the second half mirrors the first."""

_ROOT_ROWS, _LAND_ROWS = 9, 7
_COLLAR = 0.12
"""The end faces reach below the root by this share of the whole depth."""


def tooth_solid(gear: Gear, along: int = 34, up: int = 12) -> Shape:
    """Tooth 0 with half a space on either side, of so many rows along the tooth and up a side."""
    shape = Shape()
    lengthwise = np.linspace(0, 1, along)[:, None]
    cone = gear.toe_mm + lengthwise * gear.face_mm
    rows = gear.rows_at(cone)
    left_hand = gear.hand == "left"
    edges: list[Array] = []
    for side in (DRIVE, COAST):
        flip = (side == COAST) ^ left_hand ^ True
        profile = np.linspace(0, 1, up)[None]
        points = gear.flank(side, lengthwise, profile + 0 * lengthwise)
        strip = ROOT_SHARE + SIDE_SHARE * profile
        shape.grid(points, _places(lengthwise, strip if side == DRIVE else 1 - strip), flip=flip)
        t = np.linspace(0, 1, _ROOT_ROWS)[None]
        root = _root(gear, side, cone, rows, t)[:, ::-1]
        strip = (ROOT_SHARE * (1 - t) if side == DRIVE else 1 - ROOT_SHARE * (1 - t))[:, ::-1]
        shape.grid(root, _places(lengthwise, strip), flip=flip)
        edges += [root, points]
    land = _land(gear, cone, rows)
    strip = np.linspace(LAND_FROM, LAND_TO, _LAND_ROWS)[None]
    shape.grid(land, _places(lengthwise, strip), flip=left_hand ^ True)
    outline = np.concatenate([edges[0], edges[1], land, edges[3][:, ::-1], edges[2][:, ::-1]], 1)
    for toe in (True, False):
        _end_face(shape, gear, outline[0 if toe else -1], up, toe)
    return shape


def ring_of_teeth(gear: Gear, tooth: Shape, turns: list[Array]) -> Shape:
    """The same tooth at every one of the turns (4, 4)."""
    shape = Shape()
    for turn in turns:
        shape.add(tooth, turn)
    return shape


def _places(lengthwise: Array, strip: Array) -> Array:
    return np.stack(np.broadcast_arrays(lengthwise, strip), -1)


def _root(gear: Gear, side: int, cone: Array, rows: Rows, t: Array) -> Array:
    """From the root end of the side (t 0) round to the middle of the space (t 1)."""
    slope = gear.slope(side)
    floor = -rows.dedendum_mm
    low = floor + gear.fillet_share * rows.depth_mm
    begin = rows.land_mm / 2 + (rows.addendum_mm - low) * slope
    corner = rows.land_mm / 2 + (rows.addendum_mm + rows.dedendum_mm) * slope + 0 * begin
    middle = np.maximum(rows.pitch_mm / 2, corner + 0.02)
    across = (1 - t) ** 2 * begin + 2 * t * (1 - t) * corner + t**2 * middle
    height = (1 - t) ** 2 * low + 2 * t * (1 - t) * floor + t**2 * floor
    return gear.placed(cone, across if side == DRIVE else -across, height)


def _land(gear: Gear, cone: Array, rows: Rows) -> Array:
    """The top land with its rounded edges, from the drive to the coast side."""
    c = tip_rounding_mm(rows)
    half, top = rows.land_mm / 2, rows.addendum_mm
    across = np.concatenate(
        [
            half + c * gear.slope(DRIVE),
            half - 0.35 * c,
            half - 1.2 * c,
            0 * c,
            -(half - 1.2 * c),
            -(half - 0.35 * c),
            -(half + c * gear.slope(COAST)),
        ],
        1,
    )
    height = np.concatenate([top - c, top - 0.25 * c, top, top, top, top - 0.25 * c, top - c], 1)
    return gear.placed(cone, across, height)


def _end_face(shape: Shape, gear: Gear, outline: Array, up: int, toe: bool) -> None:
    """The toe or heel end of a tooth, from its outline (n, 3) down to below the root."""
    sine, cosine = np.sin(gear.pitch_angle_rad), np.cos(gear.pitch_angle_rad)
    cone = gear.toe_mm if toe else gear.heel_mm
    below = -gear.rows_at(np.array(cone)).dedendum_mm - _COLLAR * gear.depth_mm
    low_radius, low_z = cone * sine + below * cosine, -cone * cosine + below * sine
    radius = np.hypot(outline[:, 0], outline[:, 1])
    ones = np.ones(len(radius))
    low = np.stack(
        [
            outline[:, 0] / radius * low_radius,
            outline[:, 1] / radius * low_radius,
            ones * low_z,
        ],
        -1,
    )
    out = np.array([sine * outline[:, 0] / radius, sine * outline[:, 1] / radius, -cosine * ones]).T
    strip = np.concatenate(
        [
            np.linspace(0, ROOT_SHARE, _ROOT_ROWS),
            np.linspace(ROOT_SHARE, LAND_FROM, up),
            np.linspace(LAND_FROM, LAND_TO, _LAND_ROWS),
            np.linspace(LAND_TO, 1 - ROOT_SHARE, up),
            np.linspace(1 - ROOT_SHARE, 1, _ROOT_ROWS),
        ]
    )
    place = np.stack([ones * (0.005 if toe else 0.995), strip], -1)
    shape.grid(
        np.stack([outline, low]),
        np.stack([place, place]),
        flip=(not toe) ^ (gear.hand == "left"),
        normals=np.stack([out, out]) * (-1 if toe else 1),
    )


@dataclass(frozen=True)
class Blank:
    """The body behind the teeth."""

    shape: Shape
    back_mm: float
    """Height of the back face on the axis, negative: behind the apex."""
    bore_mm: float
    """Radius of the bore."""


def blank_behind(gear: Gear, rng: np.random.Generator, thickness_mm: float) -> Blank:
    """The body from toe to heel with rim, back and bore."""
    sine, cosine = np.sin(gear.pitch_angle_rad), np.cos(gear.pitch_angle_rad)

    def corner(cone_mm: float) -> tuple[float, float]:
        dedendum = gear.rows_at(np.array(cone_mm)).dedendum_mm
        height = -dedendum - _COLLAR * gear.depth_mm
        return cone_mm * sine + height * cosine, -cone_mm * cosine + height * sine

    toe, heel = corner(gear.toe_mm), corner(gear.heel_mm)
    diameter = gear.diameter_mm
    back = heel[1] - thickness_mm
    rim = heel[0] + 0.3
    bore = toe[0] - rng.uniform(0.0, 0.02) * diameter
    inner = [toe, (bore, toe[1] - 0.25 * thickness_mm), (bore, back)]
    outer = [
        heel,
        (rim + 0.004 * diameter, heel[1] - 0.12 * thickness_mm),
        (rim + 0.002 * diameter, back + 1.5),
        (rim - 1, back),
        (bore, back),
    ]
    shape = turned(inner, 180, 2.0)
    shape.add(turned(outer, 180, 2.0))
    return Blank(shape, float(back), float(bore))
