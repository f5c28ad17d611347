"""Where a mark may lie: ellipses of many places, sizes and slants on a small grid."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from pattern.contact.appearance import plane_basis
from pattern.teeth import rectify

BLOCK = 4
"""Cells of the laid-out tooth, each way, that make one cell here."""
ROWS, COLUMNS = rectify.ROWS // BLOCK, rectify.COLUMNS // BLOCK


@lru_cache(maxsize=1)
def mark_templates() -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Masks (templates, cells) 0 or 1, and the same without linear trend, each of length one."""
    lengthwise = (np.arange(COLUMNS) + 0.5) / COLUMNS
    profile = 1.0 - (np.arange(ROWS) + 0.5) / ROWS
    grid_l, grid_p = np.meshgrid(lengthwise, profile)
    centre_l, centre_p, half_l, half_p, slant = np.meshgrid(
        np.linspace(0.07, 0.93, 14),
        np.linspace(0.10, 0.90, 8),
        (0.10, 0.17, 0.27),
        (0.16, 0.26, 0.40),
        (-0.4, 0.0, 0.4),
        indexing="ij",
    )
    flat = [
        v.reshape(-1, 1).astype(np.float32) for v in (centre_l, centre_p, half_l, half_p, slant)
    ]
    along = (grid_l.reshape(1, -1).astype(np.float32) - flat[0]) / flat[2]
    up = (grid_p.reshape(1, -1).astype(np.float32) - flat[1]) / flat[3] - flat[4] * along
    plain = (along**2 + up**2 <= 1.0).astype(np.float32)
    share = plain.mean(axis=1)
    plain = plain[(share > 0.015) & (share < 0.6)]
    basis = plane_basis(ROWS, COLUMNS).astype(np.float32)
    level = plain - (plain @ basis) @ basis.T
    level /= np.linalg.norm(level, axis=1, keepdims=True) + 1e-9
    return plain, level
