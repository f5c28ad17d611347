"""Where a mark may lie: ellipses of many places, sizes and slants on a small grid."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from pattern.contact.appearance import plane_basis

ROWS, COLUMNS = 18, 54


@lru_cache(maxsize=1)
def mark_templates() -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Masks (templates, cells) 0 or 1, and the same without linear trend, each of length one."""
    lengthwise = (np.arange(COLUMNS) + 0.5) / COLUMNS
    profile = 1.0 - (np.arange(ROWS) + 0.5) / ROWS
    grid_l, grid_p = np.meshgrid(lengthwise, profile)
    masks = []
    for centre_l in np.linspace(0.06, 0.94, 15):
        for centre_p in np.linspace(0.08, 0.92, 9):
            for half_l in (0.09, 0.15, 0.22, 0.32):
                for half_p in (0.14, 0.22, 0.32, 0.45):
                    for slant in (-0.35, 0.0, 0.35):
                        across = grid_p - centre_p - slant * (grid_l - centre_l) / half_l * half_p
                        mask = ((grid_l - centre_l) / half_l) ** 2 + (across / half_p) ** 2 <= 1.0
                        masks.append(mask.ravel())
    plain = np.array(masks, dtype=np.float32)
    share = plain.mean(axis=1)
    plain = plain[(share > 0.015) & (share < 0.6)]
    basis = plane_basis(ROWS, COLUMNS).astype(np.float32)
    level = plain - (plain @ basis) @ basis.T
    level /= np.linalg.norm(level, axis=1, keepdims=True) + 1e-9
    return plain, level
