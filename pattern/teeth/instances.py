"""Split the network's maps into single tooth sides."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from pattern.teeth.fields import PixelFields

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]
_MIN_CELLS, _JUMP = 40, 0.22
"""Cells that a tooth side has at least, and what the coordinates cannot change by from cell to cell within one."""
_FEW_CELLS, _GREAT_JUMP = 20, 0.4
"""The same where tooth sides are but four or five cells high: there a quarter of the profile lies between two."""


@dataclass(frozen=True, eq=False)
class Observed:
    """What the maps say about one tooth side: `xy` (n, 2) places of cells in photo pixels, `place`
    (n, 2) their tooth coordinates and `sd` (n, 2) the spread of those."""

    xy: Floats
    place: Floats
    sd: Floats


@dataclass(frozen=True, eq=False)
class Instance:
    """One tooth side on a grid: its cells (h, w), how sure the network is that it was painted, and
    the share of its cells that it believes were wiped."""

    mask: Mask
    painted: float
    contact: float


def split_teeth(fields: PixelFields, *, narrow: bool = False) -> list[Instance]:
    """Tooth sides of the declared side, largest first.

    Cells are cut apart where the network sees an outline and where the coordinates jump; what
    remains hangs together is one tooth side, grown back to its rim. `narrow` allows for sides of a few
    cells, in which the coordinates change fast.
    """
    min_cells, jump = (_FEW_CELLS, _GREAT_JUMP) if narrow else (_MIN_CELLS, _JUMP)
    side = fields.side > 0.5
    core = side & (fields.edge < 0.5) & ~_jumps(fields, jump)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(
        core.astype(np.uint8), connectivity=4
    )
    big = [n for n in range(1, count) if stats[n, cv2.CC_STAT_AREA] >= min_cells]
    grown = _grow(np.asarray(labels, np.int32), side, big)
    found = []
    for number in big:
        mask = grown == number
        weight = mask & (labels == number)
        found.append(
            Instance(
                mask,
                float(fields.painted[weight].mean()),
                float((fields.contact[mask] > 0.5).mean()),
            )
        )
    return sorted(found, key=lambda i: -int(i.mask.sum()))


def observe(fields: PixelFields, mask: Mask, most: int = 800) -> Observed:
    """Cells of one tooth side, in photo pixels, thinned to `most`."""
    rows, columns = np.nonzero(mask & (fields.edge < 0.9))
    if len(rows) > most:
        keep = np.linspace(0, len(rows) - 1, most).astype(int)
        rows, columns = rows[keep], columns[keep]
    cells = np.stack([columns, rows], axis=1).astype(float)
    place = np.stack([fields.lengthwise[rows, columns], fields.profile[rows, columns]], axis=1)
    spread = np.stack(
        [fields.lengthwise_sd[rows, columns], fields.profile_sd[rows, columns]], axis=1
    )
    return Observed(
        xy=fields.photo_xy(cells),
        place=place.astype(float),
        sd=np.clip(spread.astype(float), 0.01, 0.5),
    )


def _jumps(fields: PixelFields, limit: float) -> Mask:
    """Cells beside a jump of the coordinates."""
    jump = np.zeros(fields.shape, bool)
    for values in (fields.profile, fields.lengthwise):
        across = np.abs(np.diff(values, axis=1)) > limit
        down = np.abs(np.diff(values, axis=0)) > limit
        jump[:, 1:] |= across
        jump[:, :-1] |= across
        jump[1:] |= down
        jump[:-1] |= down
    return jump


def _grow(labels: NDArray[np.int32], side: Mask, keep: list[int]) -> NDArray[np.int32]:
    """Give back the rim: cells of the side within three cells of a kept label join the nearest."""
    kept = np.where(np.isin(labels, keep), labels, 0).astype(np.int32)
    if not keep:
        return kept
    distance, index = cv2.distanceTransformWithLabels(
        (kept == 0).astype(np.uint8), cv2.DIST_L2, 3, labelType=cv2.DIST_LABEL_PIXEL
    )
    table = np.zeros(int(index.max()) + 1, np.int32)
    table[index[kept > 0]] = kept[kept > 0]
    return np.where(side & (distance <= 3.0), table[index], 0).astype(np.int32)
