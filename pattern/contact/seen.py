"""Where the network expects the mark on the laid-out teeth, and whether a patch agrees."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
_COMMON = 0.3


@dataclass(frozen=True, eq=False)
class ExpectedContact:
    """Where the network expects contact on a laid-out tooth: `prior` (rows, columns), 1 where it is
    surest; `chance` (rows, columns) is how sure it is, and `peak` how sure where it is surest."""

    prior: Floats
    chance: Floats
    peak: float


def expected_contact(
    marks: Sequence[Floats], inside: Sequence[NDArray[np.bool_]]
) -> list[ExpectedContact]:
    """What is expected of each tooth from every tooth's chance of a mark, (rows, columns) each.

    The teeth of a photo carry much the same mark: a share of it is what all of them say.
    """
    if not marks:
        return []
    common = np.mean(marks, axis=0)
    expected = []
    for own, cells in zip(marks, inside, strict=True):
        both = (1.0 - _COMMON) * own + _COMMON * common
        peak = float(np.quantile(own[cells], 0.98)) if cells.any() else 0.0
        top = max(float(np.quantile(both, 0.995)), 0.05)
        expected.append(ExpectedContact(np.clip(both / top, 0.0, 1.0), both, peak))
    return expected


def agreement(
    expected: ExpectedContact, mask: NDArray[np.bool_], inside: NDArray[np.bool_]
) -> float:
    """How much more contact the network expects on a patch's cells than on the others, -1 to 1."""
    beside = inside & ~mask
    if not mask.any() or not beside.any():
        return 0.0
    return float(expected.chance[mask].mean() - expected.chance[beside].mean())


def apart(expected: ExpectedContact, mask: NDArray[np.bool_]) -> tuple[float, float]:
    """Lengthwise and profile distance of a patch's middle from the middle of what is expected."""
    told = np.where(expected.prior > 0.5, expected.chance, 0.0)
    if not mask.any() or not told.any():
        return 1.0, 1.0
    rows, columns = mask.shape
    middles = [
        np.array(
            [
                (m.sum(axis=0) @ np.arange(columns)) / columns,
                (m.sum(axis=1) @ np.arange(rows)) / rows,
            ]
        )
        / m.sum()
        for m in (mask.astype(float), told)
    ]
    along, up = np.abs(middles[0] - middles[1])
    return float(along), float(up)
