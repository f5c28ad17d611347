"""A z-buffer rasteriser: which surface each pixel sees, with its truth. Numba, one core a picture.

Camera frame: x right, y down, z forward, mm. A pinhole camera is `focal_px` and the principal point
`centre_px`; pixel centres lie on whole numbers.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float32]

NEAR_MM = 4.0
"""Triangles that come nearer than this are left out rather than clipped."""


@dataclass(frozen=True, eq=False)
class Surface:
    """Triangles to draw, in camera or object space.

    `vertices` (n, 3) mm; `triangles` (m, 3); `normals` (m, 3, 3) per corner; `texture` (m, 3, 2) per
    corner: lengthwise and section coordinate on a tooth, anything off it; `part` (m,); `thing` (m,)
    the tooth's number, or another object's.
    """

    vertices: Floats
    triangles: NDArray[np.int32]
    normals: Floats
    texture: Floats
    part: NDArray[np.uint8]
    thing: NDArray[np.uint8]


@dataclass(frozen=True, eq=False)
class Buffers:
    """What the pixels see. All (h, w, ...); `part` 255 where nothing is."""

    depth: Floats
    part: NDArray[np.uint8]
    thing: NDArray[np.uint8]
    normal: Floats
    texture: Floats


def empty_buffers(height: int, width: int) -> Buffers:
    """Buffers that see nothing: infinite depth."""
    return Buffers(
        depth=np.full((height, width), np.inf, np.float32),
        part=np.full((height, width), 255, np.uint8),
        thing=np.full((height, width), 255, np.uint8),
        normal=np.zeros((height, width, 3), np.float32),
        texture=np.zeros((height, width, 2), np.float32),
    )


def moved(surface: Surface, rotation: NDArray[np.float64], shift: NDArray[np.float64]) -> Surface:
    """The surface after x -> rotation @ x + shift."""
    turn = rotation.astype(np.float32)
    return Surface(
        vertices=surface.vertices @ turn.T + shift.astype(np.float32),
        triangles=surface.triangles,
        normals=surface.normals @ turn.T,
        texture=surface.texture,
        part=surface.part,
        thing=surface.thing,
    )


def joined(surfaces: list[Surface]) -> Surface:
    """Several surfaces as one."""
    starts = np.cumsum([0] + [len(s.vertices) for s in surfaces[:-1]])
    return Surface(
        vertices=np.concatenate([s.vertices for s in surfaces]),
        triangles=np.concatenate(
            [s.triangles + np.int32(k) for s, k in zip(surfaces, starts, strict=True)]
        ),
        normals=np.concatenate([s.normals for s in surfaces]),
        texture=np.concatenate([s.texture for s in surfaces]),
        part=np.concatenate([s.part for s in surfaces]),
        thing=np.concatenate([s.thing for s in surfaces]),
    )


def draw(
    surface: Surface,
    buffers: Buffers,
    focal_px: float,
    centre_px: tuple[float, float],
    cull: bool = False,
) -> None:
    """Draw a surface (camera space) into the buffers, over what is farther away.

    `cull` leaves out triangles wound away from the camera.
    """
    _draw(
        surface.vertices, surface.triangles, surface.normals, surface.texture, surface.part,
        surface.thing, float(focal_px), float(centre_px[0]), float(centre_px[1]), cull,
        buffers.depth, buffers.part, buffers.thing, buffers.normal, buffers.texture,
    )  # fmt: skip


@njit(cache=True, nogil=True, fastmath=True)
def _draw(  # type: ignore[no-untyped-def]
    vertices, triangles, normals, texture, part, thing, focal, cx, cy, cull,
    depth, out_part, out_thing, out_normal, out_texture,
):  # fmt: skip
    height, width = depth.shape
    for t in range(triangles.shape[0]):
        i, j, k = triangles[t, 0], triangles[t, 1], triangles[t, 2]
        zi, zj, zk = vertices[i, 2], vertices[j, 2], vertices[k, 2]
        if min(zi, min(zj, zk)) < NEAR_MM:
            continue
        wi, wj, wk = 1.0 / zi, 1.0 / zj, 1.0 / zk
        xi, yi = focal * vertices[i, 0] * wi + cx, focal * vertices[i, 1] * wi + cy
        xj, yj = focal * vertices[j, 0] * wj + cx, focal * vertices[j, 1] * wj + cy
        xk, yk = focal * vertices[k, 0] * wk + cx, focal * vertices[k, 1] * wk + cy
        x0 = max(0, int(np.ceil(min(xi, min(xj, xk)))))
        x1 = min(width - 1, int(np.floor(max(xi, max(xj, xk)))))
        y0 = max(0, int(np.ceil(min(yi, min(yj, yk)))))
        y1 = min(height - 1, int(np.floor(max(yi, max(yj, yk)))))
        if x1 < x0 or y1 < y0:
            continue
        area = (xj - xi) * (yk - yi) - (xk - xi) * (yj - yi)
        if abs(area) < 1e-9 or (cull and area > 0.0):
            continue
        inverse = 1.0 / area
        for y in range(y0, y1 + 1):
            for x in range(x0, x1 + 1):
                a = ((xj - x) * (yk - y) - (xk - x) * (yj - y)) * inverse
                b = ((xk - x) * (yi - y) - (xi - x) * (yk - y)) * inverse
                c = 1.0 - a - b
                if a < 0.0 or b < 0.0 or c < 0.0:
                    continue
                a *= wi
                b *= wj
                c *= wk
                z = 1.0 / (a + b + c)
                if z >= depth[y, x]:
                    continue
                a *= z
                b *= z
                c *= z
                depth[y, x] = z
                out_part[y, x] = part[t]
                out_thing[y, x] = thing[t]
                for m in range(3):
                    out_normal[y, x, m] = (
                        a * normals[t, 0, m] + b * normals[t, 1, m] + c * normals[t, 2, m]
                    )
                for m in range(2):
                    out_texture[y, x, m] = (
                        a * texture[t, 0, m] + b * texture[t, 1, m] + c * texture[t, 2, m]
                    )


def light_depth(
    surface: Surface, towards_light: NDArray[np.float64], size: int
) -> tuple[Floats, NDArray[np.float64], NDArray[np.float64]]:
    """Depth map seen from a distant light: (size, size) map, rotation (3, 3), scale and shift (3,).

    A point p goes to map coordinates (rotation @ p)[:2] * s[2] + s[:2] and has depth
    (rotation @ p)[2]; smaller is nearer to the light.
    """
    forward = -towards_light / np.linalg.norm(towards_light)
    aside = np.cross(forward, [0.31, 0.87, 0.39])
    aside /= np.linalg.norm(aside)
    rotation = np.stack([aside, np.cross(forward, aside), forward])
    points = (surface.vertices @ rotation.T.astype(np.float32)).astype(np.float32)
    low, high = points[:, :2].min(0), points[:, :2].max(0)
    scale = (size - 3) / float(max(high - low))
    shift = np.array([1.0 - low[0] * scale, 1.0 - low[1] * scale, scale])
    depth = np.full((size, size), np.inf, np.float32)
    _draw_depth(points, surface.triangles, scale, shift[0], shift[1], depth)
    return depth, rotation, shift


@njit(cache=True, nogil=True, fastmath=True)
def _draw_depth(points, triangles, scale, sx, sy, depth):  # type: ignore[no-untyped-def]
    size = depth.shape[0]
    for t in range(triangles.shape[0]):
        i, j, k = triangles[t, 0], triangles[t, 1], triangles[t, 2]
        xi, yi = points[i, 0] * scale + sx, points[i, 1] * scale + sy
        xj, yj = points[j, 0] * scale + sx, points[j, 1] * scale + sy
        xk, yk = points[k, 0] * scale + sx, points[k, 1] * scale + sy
        area = (xj - xi) * (yk - yi) - (xk - xi) * (yj - yi)
        if abs(area) < 1e-9:
            continue
        x0 = max(0, int(np.ceil(min(xi, min(xj, xk)))))
        x1 = min(size - 1, int(np.floor(max(xi, max(xj, xk)))))
        y0 = max(0, int(np.ceil(min(yi, min(yj, yk)))))
        y1 = min(size - 1, int(np.floor(max(yi, max(yj, yk)))))
        inverse = 1.0 / area
        for y in range(y0, y1 + 1):
            for x in range(x0, x1 + 1):
                a = ((xj - x) * (yk - y) - (xk - x) * (yj - y)) * inverse
                b = ((xk - x) * (yi - y) - (xi - x) * (yk - y)) * inverse
                c = 1.0 - a - b
                if a >= 0.0 and b >= 0.0 and c >= 0.0:
                    z = a * points[i, 2] + b * points[j, 2] + c * points[k, 2]
                    if z < depth[y, x]:
                        depth[y, x] = z


def lit(
    buffers: Buffers,
    light_map: tuple[Floats, NDArray[np.float64], NDArray[np.float64]],
    focal_px: float,
    centre_px: tuple[float, float],
    bias_mm: float,
) -> Floats:
    """Share of the light that reaches each pixel, 0 to 1, (h, w), softened over 3 x 3 map cells."""
    depth, rotation, shift = light_map
    out = np.ones(buffers.depth.shape, np.float32)
    _lit(
        buffers.depth, depth, rotation, shift[0], shift[1], shift[2], float(focal_px),
        float(centre_px[0]), float(centre_px[1]), float(bias_mm), out,
    )  # fmt: skip
    return out


@njit(cache=True, nogil=True, fastmath=True)
def _lit(depth, light, rotation, sx, sy, scale, focal, cx, cy, bias, out):  # type: ignore[no-untyped-def]
    size = light.shape[0]
    for y in range(depth.shape[0]):
        for x in range(depth.shape[1]):
            z = depth[y, x]
            if not np.isfinite(z):
                continue
            px, py = (x - cx) / focal * z, (y - cy) / focal * z
            u = (rotation[0, 0] * px + rotation[0, 1] * py + rotation[0, 2] * z) * scale + sx
            v = (rotation[1, 0] * px + rotation[1, 1] * py + rotation[1, 2] * z) * scale + sy
            w = rotation[2, 0] * px + rotation[2, 1] * py + rotation[2, 2] * z - bias
            iu, iv = int(np.floor(u + 0.5)), int(np.floor(v + 0.5))
            free = 0
            for dv in range(-1, 2):
                for du in range(-1, 2):
                    a, b = iv + dv, iu + du
                    if a < 0 or b < 0 or a >= size or b >= size or light[a, b] > w:
                        free += 1
            out[y, x] = free / 9.0
