"""A ring gear, bolted to its case, as a mesh with tooth coordinates, for renderer and rasteriser.

Frame and section coordinate are those of `tooth_form`. Start at `ring_gear_mesh`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pattern.synthetic.ring_spec import Proportions, RingSpec, proportions
from pattern.synthetic.solids import Part, Solid, join_solids, prism, revolve, smooth_normals
from pattern.synthetic.tooth_form import (
    SECTION,
    Floats,
    place,
    section_rows,
    tooth_angle_rad,
    turn_about_axis,
)


@dataclass(frozen=True, eq=False)
class GearMesh:
    """Triangles with truth. Corner arrays are (triangles, 3, ...), one entry per corner.

    `vertices` (n, 3) mm; `triangles` (m, 3); `part` (m,) of `Part`; `tooth` (m,) 0 to teeth - 1,
    -1 off the teeth; `normals` (m, 3, 3) unit, outward; `coordinates` (m, 3, 2) lengthwise and
    profile on the two tooth sides, NaN elsewhere; `section` (m, 3, 2) lengthwise and section
    coordinate anywhere on a tooth, NaN elsewhere.
    """

    vertices: Floats
    triangles: NDArray[np.int32]
    part: NDArray[np.int8]
    tooth: NDArray[np.int16]
    normals: NDArray[np.float32]
    coordinates: NDArray[np.float32]
    section: NDArray[np.float32]
    spec: RingSpec
    proportions: Proportions


# --- one tooth -----------------------------------------------------------------------------------


def tooth_mesh(spec: RingSpec, lengthwise_steps: int = 24, profile_steps: int = 10) -> GearMesh:
    """Tooth 0 with half a slot on either side and its toe and heel end faces."""
    shape = proportions(spec)
    share = np.linspace(0.0, 1.0, lengthwise_steps + 1)
    cone = shape.inner_cone_mm + share * shape.face_width_mm
    height, across, section, profile = section_rows(spec, shape, cone, profile_steps)
    cone_grid = np.broadcast_to(cone[:, None], height.shape)
    surface = place(spec, shape, cone_grid, height, across)
    pieces = [_sheet(surface, share, section, profile, _strip_parts(section))]
    for station, part in ((0, Part.TOE_END), (len(cone) - 1, Part.HEEL_END)):
        base_h = height[station].min() - web_mm(shape)
        base = _below(surface[station], spec, shape, cone[station], base_h)
        pair = np.stack([base, surface[station]])
        if part == Part.HEEL_END:
            pair = pair[::-1]
        at = np.full(2, share[station])
        nowhere = np.full(section.shape, np.nan)
        parts = np.full(len(section) - 1, part, np.int8)
        pieces.append(_sheet(pair, at, section, nowhere, parts))
    mesh = _join(pieces, spec, shape)
    return _flipped(mesh) if spec.hand == "right" else mesh


def _strip_parts(section: Floats) -> NDArray[np.int8]:
    """The part of each strip between two neighbouring section coordinates."""
    middle = 0.5 * (section[:-1] + section[1:])
    part = np.full(middle.shape, Part.FILLET, np.int8)
    part[(middle > SECTION.drive_root) & (middle < SECTION.drive_tip)] = Part.DRIVE
    part[(middle > SECTION.drive_tip) & (middle < SECTION.coast_tip)] = Part.TOP_LAND
    part[(middle > SECTION.coast_tip) & (middle < SECTION.coast_root)] = Part.COAST
    return part


def _below(
    points: Floats, spec: RingSpec, shape: Proportions, cone_mm: float, height_mm: float
) -> Floats:
    """The points' own polar angles on the end cone at one height: the foot of a tooth's end face."""
    on_axis = place(spec, shape, np.full(1, cone_mm), np.full(1, height_mm), np.zeros(1))
    radius, z = np.hypot(on_axis[0, 0], on_axis[0, 1]), on_axis[0, 2]
    angle = np.arctan2(points[:, 1], points[:, 0])
    return np.stack([radius * np.cos(angle), radius * np.sin(angle), np.full(len(points), z)], -1)


def web_mm(shape: Proportions) -> float:
    """Material under the deepest root at a tooth end, where the blank's body goes on."""
    return 0.45 * (shape.addendum_mm + shape.dedendum_mm)


# --- sheets ----------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Piece:
    points: Floats
    triangles: NDArray[np.int64]
    part: NDArray[np.int8]
    coordinates: Floats
    section: Floats


def _sheet(
    grid: Floats, share: Floats, section: Floats, profile: Floats, parts: NDArray[np.int8]
) -> _Piece:
    """Triangles of a (stations, rows, 3) grid; `parts` (rows - 1,) names the strips between rows."""
    stations, rows = grid.shape[:2]
    index = np.arange(stations * rows).reshape(stations, rows)
    quads = np.stack([index[:-1, :-1], index[1:, :-1], index[1:, 1:], index[:-1, 1:]], -1)
    quads = quads.reshape(-1, 4)
    part = np.broadcast_to(parts, (stations - 1, rows - 1)).ravel()
    triangles = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
    part = np.concatenate([part, part])
    length = np.broadcast_to(share[:, None], (stations, rows)).ravel()
    at_section = np.broadcast_to(section, (stations, rows)).ravel()
    at_profile = np.broadcast_to(profile, (stations, rows)).ravel()
    corners = np.stack([length, at_profile], -1)[triangles]
    corners[(part != Part.DRIVE) & (part != Part.COAST)] = np.nan
    return _Piece(
        grid.reshape(-1, 3), triangles, part, corners, np.stack([length, at_section], -1)[triangles]
    )


def _join(pieces: list[_Piece], spec: RingSpec, shape: Proportions) -> GearMesh:
    starts = np.cumsum([0] + [len(p.points) for p in pieces])
    vertices = np.concatenate([p.points for p in pieces])
    triangles = np.concatenate(
        [p.triangles + start for p, start in zip(pieces, starts, strict=False)]
    ).astype(np.int32)
    part = np.concatenate([p.part for p in pieces])
    return GearMesh(
        vertices=vertices,
        triangles=triangles,
        part=part,
        tooth=np.zeros(len(triangles), np.int16),
        normals=smooth_normals(vertices, triangles, part).astype(np.float32),
        coordinates=np.concatenate([p.coordinates for p in pieces]).astype(np.float32),
        section=np.concatenate([p.section for p in pieces]).astype(np.float32),
        spec=spec,
        proportions=shape,
    )


def _flipped(mesh: GearMesh) -> GearMesh:
    """The same surface with its triangles turned over, so that normals point out of the metal."""
    order = [0, 2, 1]
    return replace(
        mesh,
        triangles=mesh.triangles[:, order],
        normals=-mesh.normals[:, order],
        coordinates=mesh.coordinates[:, order],
        section=mesh.section[:, order],
    )


# --- the whole ring gear ------------------------------------------------------------------------------


def ring_gear_mesh(
    spec: RingSpec,
    rng: np.random.Generator,
    lengthwise_steps: int = 24,
    profile_steps: int = 10,
) -> GearMesh:
    """All teeth, the blank's body and bore, bolt heads and the differential case's flange and hub.

    `rng` draws what tooth data do not fix: body thickness, bore, bolt count, case form. Steps set
    the grid of a tooth side; the mesh has about teeth * lengthwise_steps * (2 * profile_steps + 14)
    * 2 triangles and is closed except behind the case.
    """
    one = tooth_mesh(spec, lengthwise_steps, profile_steps)
    body = _body_mesh(spec, one.proportions, rng)
    teeth = np.arange(spec.ring_teeth)
    count = len(one.vertices)
    vertices = np.concatenate(
        [turn_about_axis(one.vertices, tooth_angle_rad(spec, int(t))) for t in teeth]
    )
    normals = np.concatenate(
        [turn_about_axis(one.normals.astype(float), tooth_angle_rad(spec, int(t))) for t in teeth]
    )
    triangles = np.concatenate([one.triangles + t * count for t in teeth])
    blank = (len(body.triangles), 3, 2)
    return GearMesh(
        vertices=np.concatenate([vertices, body.vertices]),
        triangles=np.concatenate([triangles, body.triangles + len(vertices)]).astype(np.int32),
        part=np.concatenate([np.tile(one.part, len(teeth)), body.part]),
        tooth=np.concatenate(
            [np.repeat(teeth, len(one.triangles)), np.full(len(body.triangles), -1)]
        ).astype(np.int16),
        normals=np.concatenate([normals, body.normals]).astype(np.float32),
        coordinates=np.concatenate(
            [np.tile(one.coordinates, (len(teeth), 1, 1)), np.full(blank, np.nan, np.float32)]
        ),
        section=np.concatenate(
            [np.tile(one.section, (len(teeth), 1, 1)), np.full(blank, np.nan, np.float32)]
        ),
        spec=spec,
        proportions=one.proportions,
    )


def _body_mesh(spec: RingSpec, shape: Proportions, rng: np.random.Generator) -> Solid:
    """Blank below the teeth, bolts and case, turned about the axis."""
    sine, cosine = np.sin(shape.pitch_angle_rad), np.cos(shape.pitch_angle_rad)

    def on_end(cone_mm: float) -> tuple[float, float]:
        height = -shape.dedendum_at(cone_mm) - web_mm(shape)
        return cone_mm * sine + height * cosine, cone_mm * cosine - height * sine

    # Root is deepest at the slot's middle; both ends use the value of `tooth_mesh`.
    heel, toe = on_end(shape.outer_cone_mm), on_end(shape.inner_cone_mm)
    bore = toe[0] - rng.uniform(0.02, 0.06) * heel[0]
    back_z = heel[1] + rng.uniform(0.07, 0.13) * heel[0]
    rim = heel[0] - rng.uniform(0.0, 0.02) * heel[0]
    ring = [heel, (rim, heel[1] + 0.3 * (back_z - heel[1])), (rim, back_z), (bore, back_z)]
    front = (bore, toe[1] + 0.01 * heel[0])
    solids = [
        revolve(ring, Part.BODY),
        revolve([ring[-1], front, toe], Part.BORE),
        *_case_solids(rim, bore, back_z, toe[1], rng),
    ]
    return join_solids(solids)


def _case_solids(
    rim: float, bore: float, back_z: float, toe_z: float, rng: np.random.Generator
) -> list[Solid]:
    """Flange behind the ring gear with bolt heads; hub, bell and bearing journal through its bore."""
    flange = rim * rng.uniform(0.90, 0.97)
    thick = rim * rng.uniform(0.08, 0.11)
    journal = rim * rng.uniform(0.24, 0.30)
    bell = bore * rng.uniform(0.68, 0.82)
    top_z = toe_z - rim * rng.uniform(0.15, 0.4)
    shoulder = toe_z - rim * rng.uniform(0.0, 0.05)
    solids = [
        revolve(
            [(flange, back_z), (flange, back_z + thick), (1.3 * journal, back_z + 1.4 * thick),
             (1.2 * journal, back_z + 5 * thick), (0.8 * journal, back_z + 5 * thick)],
            Part.CASE,
        ),
        revolve(
            [(bore * 0.998, back_z), (bore * 0.998, shoulder + 0.06 * rim), (bell, shoulder),
             (bell * 0.97, 0.6 * shoulder + 0.4 * top_z), (bell * 0.72, top_z),
             (journal, top_z - 0.02 * rim), (journal, top_z - 0.3 * rim),
             (journal * 0.62, top_z - 0.3 * rim), (journal * 0.62, top_z)],
            Part.CASE, outward=False,
        ),
    ]  # fmt: skip
    bolts = int(rng.choice([8, 10, 10, 12]))
    circle, size = 0.5 * (flange + bore) * 0.99, rim * rng.uniform(0.045, 0.06)
    start = rng.uniform(0.0, 2 * np.pi)
    for k in range(bolts):
        angle = start + 2 * np.pi * k / bolts
        centre = np.array([circle * np.cos(angle), circle * np.sin(angle), back_z + thick])
        solids.append(prism(centre, size, 0.7 * size, 6, Part.BOLT, turn_rad=rng.uniform(0, np.pi)))
    return solids
