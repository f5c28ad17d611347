"""What the network saw, brought onto a laid-out tooth side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from pattern.teeth.fields import PixelFields
from pattern.teeth.rectify import FlatTooth
from pattern.teeth.surface import ToothSurface

Floats = NDArray[np.float64]
_LEAST_CLEAR = 0.5
_COMMON = 0.3


@dataclass(frozen=True, eq=False)
class SeenTooth:
    """On the cells of a laid-out tooth: where the side is visible, and the network's probability of
    contact and of compound there, None when no network was asked. `slip` is how far the outline's
    lengthwise places lie from the network's (median), toe and heel exchanged or not: a toe that the
    user turned is no slip; 1 where the network sees too little of the side to tell."""

    visible: NDArray[np.bool_]
    contact: Floats | None
    compound: Floats | None
    slip: float = 1.0


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
            [(m.sum(axis=0) @ np.arange(columns)) / columns, (m.sum(axis=1) @ np.arange(rows)) / rows]
        )
        / m.sum()
        for m in (mask.astype(float), told)
    ]
    along, up = np.abs(middles[0] - middles[1])
    return float(along), float(up)


def seen_on_tooth(
    fields: tuple[PixelFields, ...], surface: ToothSurface, flat: FlatTooth
) -> SeenTooth:
    """Average every look that holds the whole tooth, the finer ones counting more."""
    grid_l, grid_p = np.meshgrid(flat.lengthwise, flat.profile)
    xy = surface.to_photo(grid_l, grid_p)
    sums: dict[str, Floats] = {}
    total = np.zeros(grid_l.shape)
    for field in fields:
        cells = field.grid_xy(xy.reshape(-1, 2)).reshape(xy.shape).astype(np.float32)
        rows, columns = field.shape
        within = (
            (cells[..., 0] >= 0)
            & (cells[..., 0] <= columns - 1)
            & (cells[..., 1] >= 0)
            & (cells[..., 1] <= rows - 1)
        )
        if within.sum() < 0.9 * flat.inside.sum():
            continue
        fineness = 1.0 / float(abs(np.linalg.det(field.to_photo[:, :2])))
        weight = within * min(fineness, 4.0)
        total += weight
        for name in ("side", "contact", "compound", "lengthwise"):
            value = cv2.remap(
                getattr(field, name),
                cells[..., 0],
                cells[..., 1],
                cv2.INTER_LINEAR,
                borderMode=cv2.BORDER_REPLICATE,
            )
            sums[name] = sums.get(name, np.zeros(grid_l.shape)) + weight * value
    if not total.any():
        return SeenTooth(np.ones(grid_l.shape, bool), None, None)
    mean = {name: value / np.maximum(total, 1e-9) for name, value in sums.items()}
    clear = (mean["side"] > 0.5) & flat.inside
    slip = 1.0
    if clear.sum() > _LEAST_CLEAR * flat.inside.sum():
        said, drawn = mean["lengthwise"][clear], grid_l[clear]
        slip = min(float(np.median(np.abs(v - drawn))) for v in (said, 1.0 - said))
    return SeenTooth(mean["side"] > 0.05, mean["contact"], mean["compound"], slip)
