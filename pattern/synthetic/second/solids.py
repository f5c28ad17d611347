"""Shapes of triangles: turned parts, tubes, plates, boxes. Lengths in mm."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from pattern.synthetic.second.arrays import Array, unit

Profile = Sequence[tuple[float, float]]
"""Points (radius, height along the axis) that are turned about the axis."""


class Shape:
    """Triangles gathered piece by piece, each piece with normals and texture places of its own."""

    def __init__(self) -> None:
        self._points: list[Array] = []
        self._normals: list[Array] = []
        self._places: list[Array] = []
        self._faces: list[Array] = []
        self._count = 0

    def grid(
        self, points: Array, places: Array, flip: bool = False, normals: Array | None = None
    ) -> None:
        """Add a grid of points (rows, columns, 3) with texture places (rows, columns, 2)."""
        rows, columns = points.shape[:2]
        if normals is None:
            normals = unit(np.cross(np.gradient(points, axis=0), np.gradient(points, axis=1)))
            if flip:
                normals = -normals
        index = np.arange(rows * columns).reshape(rows, columns)
        a, b = index[:-1, :-1].ravel(), index[:-1, 1:].ravel()
        c, d = index[1:, 1:].ravel(), index[1:, :-1].ravel()
        faces = np.concatenate([np.stack([a, d, c], 1), np.stack([a, c, b], 1)])
        if flip:
            faces = faces[:, ::-1]
        self.put(points.reshape(-1, 3), normals.reshape(-1, 3), places.reshape(-1, 2), faces)

    def put(self, points: Array, normals: Array, places: Array, faces: Array) -> None:
        """Add triangles `faces` (m, 3) over `points` (n, 3)."""
        self._points.append(points)
        self._normals.append(normals)
        self._places.append(places)
        self._faces.append(faces + self._count)
        self._count += len(points)

    def arrays(self) -> tuple[Array, Array, Array, Array]:
        """Points (n, 3), normals (n, 3), texture places (n, 2) and faces (m, 3)."""
        return (
            np.concatenate(self._points),
            np.concatenate(self._normals),
            np.concatenate(self._places),
            np.concatenate(self._faces),
        )

    def moved(self, matrix: Array) -> Shape:
        """A copy moved by a matrix (4, 4), which may stretch and mirror."""
        points, normals, places, faces = self.arrays()
        linear = matrix[:3, :3]
        if np.linalg.det(linear) <= 0:
            faces = faces[:, ::-1]
        copy = Shape()
        copy.put(
            points @ linear.T + matrix[:3, 3],
            unit(normals @ np.linalg.inv(linear)),
            places,
            faces,
        )
        return copy

    def add(self, other: Shape, matrix: Array | None = None) -> None:
        """Add another shape, moved first if a matrix (4, 4) is given."""
        self.put(*(other if matrix is None else other.moved(matrix)).arrays())

    def outward(self) -> tuple[Array, Array, Array, Array]:
        """As `arrays`, with every face turned so that it looks where its normals look."""
        points, normals, places, faces = self.arrays()
        across = np.cross(
            points[faces[:, 1]] - points[faces[:, 0]], points[faces[:, 2]] - points[faces[:, 0]]
        )
        wrong = np.einsum("ij,ij->i", across, normals[faces].sum(1)) < 0
        faces = faces.copy()
        faces[wrong] = faces[wrong][:, ::-1]
        return points, normals, places, faces


def turned(
    profile: Profile,
    around: int = 96,
    texture: float = 1.0,
    arc_rad: tuple[float, float] = (0, 2 * np.pi),
) -> Shape:
    """A profile turned about z, with sharp edges between its straight pieces.

    `around` is the number of facets; `texture` scales the pattern on the surface.
    """
    shape = Shape()
    angle = np.linspace(*arc_rad, around + 1)
    begun_mm = 0.0
    repeats = max(2, 2 * round(np.pi * max(p[0] for p in profile) / 110 * texture))
    for (r0, z0), (r1, z1) in itertools.pairwise(profile):
        length = np.hypot(r1 - r0, z1 - z0)
        if length < 1e-6:
            continue
        rows = max(2, int(length / 6.0))
        t = np.linspace(0, 1, rows)
        r, z = r0 + (r1 - r0) * t, z0 + (z1 - z0) * t
        points = np.stack(
            [
                r[:, None] * np.cos(angle),
                r[:, None] * np.sin(angle),
                np.repeat(z[:, None], around + 1, 1),
            ],
            -1,
        )
        along = (begun_mm + length * t)[:, None] / 90 * texture
        places = _pairs(angle[None] / (2 * np.pi) * repeats, along)
        out, up = (z0 - z1) / length, (r1 - r0) / length
        ring = np.stack([out * np.cos(angle), out * np.sin(angle), up + 0 * angle], -1)
        shape.grid(points, places, normals=np.repeat(ring[None], rows, 0))
        begun_mm += length
    return shape


def tube(centres: ArrayLike, radii_mm: Array, around: int = 20) -> Shape:
    """A round tube along the points `centres` (n, 3)."""
    middle = np.asarray(centres, float)
    along = unit(np.gradient(middle, axis=0))
    across = unit(np.cross(along, np.array([0.3, 0.2, 0.93])))
    third = np.cross(along, across)
    angle = np.linspace(0, 2 * np.pi, around + 1)
    points = middle[:, None] + radii_mm[:, None, None] * (
        np.cos(angle)[None, :, None] * across[:, None]
        + np.sin(angle)[None, :, None] * third[:, None]
    )
    places = _pairs(angle[None] / 6.28, np.linspace(0, 1, len(middle))[:, None] * 2)
    shape = Shape()
    shape.grid(points, places, normals=unit(points - middle[:, None]))
    return shape


def plate(centre: ArrayLike, x: ArrayLike, y: ArrayLike, texture: float = 1.0) -> Shape:
    """A flat plate whose edges are the vectors `x` and `y`."""
    t = np.linspace(-0.5, 0.5, 2)
    points = (
        np.asarray(centre) + t[None, :, None] * np.asarray(x) + t[:, None, None] * np.asarray(y)
    )
    shape = Shape()
    shape.grid(points, np.stack(np.meshgrid(t + 0.5, t + 0.5), -1) * texture, flip=True)
    return shape


def box(centre: ArrayLike, x: ArrayLike, y: ArrayLike, z: ArrayLike) -> Shape:
    """A box whose edges are the three vectors."""
    middle, *edges = (np.asarray(v) for v in (centre, x, y, z))
    shape = Shape()
    for k in range(3):
        first, second, third = edges[k], edges[(k + 1) % 3], edges[(k + 2) % 3]
        for sign in (1, -1):
            shape.add(plate(middle + sign * third / 2, first, second * sign))
    return shape


def _pairs(u: Array, v: Array) -> Array:
    return np.stack(np.broadcast_arrays(u, v), -1)
