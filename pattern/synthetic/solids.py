"""Plain solids around the teeth: turned parts, bolt heads, plates. All lengths in mm."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


class Part(IntEnum):
    """What a triangle belongs to."""

    DRIVE = 0
    COAST = 1
    TOP_LAND = 2
    FILLET = 3
    TOE_END = 4
    HEEL_END = 5
    BODY = 6
    BORE = 7
    BOLT = 8
    CASE = 9
    PINION = 10
    HOUSING = 11
    BEARING = 12
    CLOTH = 13
    GLOVE = 14
    BENCH = 15


@dataclass(frozen=True, eq=False)
class Solid:
    """Triangles of one or more parts: `vertices` (n, 3), `triangles` (m, 3), corner `normals`."""

    vertices: Floats
    triangles: NDArray[np.int32]
    part: NDArray[np.int8]
    normals: Floats


def smooth_normals(
    vertices: Floats, triangles: NDArray[np.int32], part: NDArray[np.int8]
) -> Floats:
    """Corner normals (m, 3, 3): averaged within a part, so that edges between parts stay crisp."""
    a, b, c = (vertices[triangles[:, k]] for k in range(3))
    face = np.cross(b - a, c - a)
    result = np.empty((len(triangles), 3, 3))
    for kind in np.unique(part):
        rows = np.flatnonzero(part == kind)
        total = np.zeros_like(vertices)
        for k in range(3):
            np.add.at(total, triangles[rows, k], face[rows])
        result[rows] = total[triangles[rows]]
    length = np.linalg.norm(result, axis=-1, keepdims=True)
    return result / np.where(length > 0, length, 1.0)


def revolve(
    outline: Sequence[tuple[float, float]], part: Part, steps: int = 96, outward: bool = True
) -> Solid:
    """A (radius, z) outline turned about z, with crisp edges between its straight pieces.

    Normals point to the right of the outline's direction in the (radius, z) half plane, or to its
    left where `outward` is False.
    """
    angle = np.linspace(0.0, 2 * np.pi, steps + 1)
    ring = np.stack([np.cos(angle), np.sin(angle)], -1)
    pieces = []
    for (r0, z0), (r1, z1) in itertools.pairwise(outline):
        low = np.column_stack([r0 * ring, np.full(steps + 1, z0)])
        high = np.column_stack([r1 * ring, np.full(steps + 1, z1)])
        vertices = np.concatenate([low, high])
        k = np.arange(steps)
        quad = np.stack([k, k + 1, k + steps + 2, k + steps + 1], -1)
        slope = np.array([z1 - z0, -(r1 - r0)]) / max(np.hypot(z1 - z0, r1 - r0), 1e-9)
        normal = np.column_stack([slope[0] * ring, np.full(steps + 1, slope[1])])
        triangles = np.concatenate([quad[:, [0, 1, 2]], quad[:, [0, 2, 3]]])
        normals = np.concatenate([normal, normal])[triangles]
        if not outward:
            triangles, normals = triangles[:, [0, 2, 1]], -normals[:, [0, 2, 1]]
        pieces.append(
            Solid(
                vertices,
                triangles.astype(np.int32),
                np.full(len(triangles), part, np.int8),
                normals,
            )
        )
    return join_solids(pieces)


def prism(
    centre: Floats,
    radius_mm: float,
    height_mm: float,
    corners: int,
    part: Part,
    turn_rad: float = 0.0,
) -> Solid:
    """An upright prism on its foot's `centre`, rising along +z; a hexagon is a bolt head."""
    angle = turn_rad + 2 * np.pi * np.arange(corners) / corners
    ring = np.column_stack([radius_mm * np.cos(angle), radius_mm * np.sin(angle), 0 * angle])
    foot, top = centre + ring, centre + ring + np.array([0.0, 0.0, height_mm])
    k = np.arange(corners)
    after = (k + 1) % corners
    wall = np.concatenate(
        [np.stack([k, after, corners + after], -1), np.stack([k, corners + after, corners + k], -1)]
    )
    lid = np.stack([np.full(corners, 2 * corners), corners + k, corners + after], -1)
    vertices = np.concatenate([foot, top, centre[None] + np.array([[0.0, 0.0, height_mm]])])
    return flat_solid(vertices, np.concatenate([wall, lid]), part)


def flat_solid(vertices: Floats, triangles: NDArray[np.int64], part: Part) -> Solid:
    """A solid whose corners take the flat normal of their triangle."""
    a, b, c = (vertices[triangles[:, k]] for k in range(3))
    face = np.cross(b - a, c - a)
    face = face / np.maximum(np.linalg.norm(face, axis=-1, keepdims=True), 1e-12)
    return Solid(
        vertices,
        triangles.astype(np.int32),
        np.full(len(triangles), part, np.int8),
        np.repeat(face[:, None], 3, axis=1),
    )


def box(centre: Floats, size_mm: Floats, part: Part) -> Solid:
    """An axis-parallel box."""
    signs = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)], float)
    quads = np.array(
        [[0, 1, 3, 2], [4, 6, 7, 5], [0, 4, 5, 1], [2, 3, 7, 6], [0, 2, 6, 4], [1, 5, 7, 3]]
    )
    triangles = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
    return flat_solid(centre + 0.5 * signs * size_mm, triangles, part)


def join_solids(solids: Sequence[Solid]) -> Solid:
    """One solid of several."""
    starts = np.cumsum([0] + [len(s.vertices) for s in solids])
    return Solid(
        np.concatenate([s.vertices for s in solids]),
        np.concatenate(
            [s.triangles + start for s, start in zip(solids, starts, strict=False)]
        ).astype(np.int32),
        np.concatenate([s.part for s in solids]),
        np.concatenate([s.normals for s in solids]),
    )
