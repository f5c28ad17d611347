"""How a laid-out tooth side looks, cell by cell: colour and texture with lighting trends taken out."""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from pattern.photo.colour import to_lab

Floats = NDArray[np.float64]


def look_of(rgb: NDArray[np.float32]) -> NDArray[np.float32]:
    """Features (rows, columns, 7): L*, a*, b*, chroma, log texture and two log colour ratios.

    All are averaged over bristle marks. The ratios of red and of blue to green do not change where a
    shadow falls across the tooth.

    Texture is the spread of lightness within a few cells: machined or polished metal and brushed
    compound differ in it even where their colours are alike.
    """
    lab = to_lab(rgb).astype(np.float32)  # half the time of double precision, and ample for colours
    fine = cv2.GaussianBlur(lab, (0, 0), sigmaX=2.5, sigmaY=1.2)
    lightness = lab[..., 0]
    local = cv2.GaussianBlur(lightness, (0, 0), 2.0)
    spread = cv2.GaussianBlur((lightness - local) ** 2, (0, 0), 4.0)
    texture = 4.0 * np.log(spread + 1.0)
    chroma = np.hypot(fine[..., 1], fine[..., 2])
    soft = cv2.GaussianBlur(rgb, (0, 0), sigmaX=2.5, sigmaY=1.2)
    linear = ((soft + 6.0) / 261.0) ** 2.2
    ratios = 14.0 * np.log(linear[..., [0, 2]] / linear[..., 1:2])
    return np.dstack([fine, chroma, texture, ratios])


@lru_cache(maxsize=4)
def plane_basis(rows: int, columns: int) -> Floats:
    """(cells, 3) orthonormal columns spanning constant, lengthwise and profile trends."""
    along = np.linspace(-1.0, 1.0, columns)
    up = np.linspace(-1.0, 1.0, rows)
    grid_l, grid_p = np.meshgrid(along, up)
    basis = np.stack([np.ones(rows * columns), grid_l.ravel(), grid_p.ravel()], axis=1)
    return np.asarray(np.linalg.qr(basis)[0])


def without_trend(features: NDArray[np.floating], basis: Floats, weights: Floats) -> Floats:
    """(cells, d) features less their linear trend; cells of weight 0 become 0."""
    counted = basis * weights[:, None]
    normal = counted.T @ counted + 1e-6 * np.eye(basis.shape[1])
    trend = np.linalg.solve(normal, counted.T @ features)
    return np.asarray((features - basis @ trend) * weights[:, None])
