"""The separate pieces of a contact map: which belong to the mark, and how sharp their rims are."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]
_SECTORS = 16


def main_pieces(contact: Floats, core: Floats, inside: Mask) -> Mask:
    """Pieces of the contact map that overlap the core patch, and bands like it; the rest goes.

    `core` is where contact is expected, 0 to 1. A band counts if it is a fifth of the main piece or
    more, runs alongside it, and is not a strip along the border of what can be seen (a neighbour's tip
    before the root looks like bare metal), unless contact is expected on most of it.
    """
    binary = _opened((contact > 0.5) & inside)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(binary, connectivity=4)
    if count < 2:
        return np.zeros(contact.shape, bool)
    overlap = np.bincount(labels.ravel(), weights=core.ravel(), minlength=count)
    overlap[0] = 0.0
    main = int(overlap.argmax())
    if overlap[main] <= 0:
        return np.zeros(contact.shape, bool)
    keep = labels == main
    columns = keep.any(axis=0)
    border = _border_of(inside)
    for label in range(1, count):
        piece = labels == label
        large = stats[label, cv2.CC_STAT_AREA] >= 0.2 * stats[main, cv2.CC_STAT_AREA]
        beside = (piece.any(axis=0) & columns).sum() >= 0.5 * piece.any(axis=0).sum()
        on_border = (piece & border).sum() > 0.25 * _border_of(piece).sum()
        is_expected = core[piece].mean() > 0.5
        if label != main and large and beside and (is_expected or not on_border):
            keep |= piece
    return np.asarray(keep)


def _opened(mask: Mask) -> NDArray[np.uint8]:
    """Without necks and whiskers narrower than about a twelfth of the depth."""
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (9, 5))
    return np.asarray(cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_OPEN, kernel), np.uint8)


def border_share(mask: Mask) -> float:
    """Share of the mask's rim that lies on the tooth's own border: an edge of the tooth is no rim."""
    rim = _border_of(mask)
    frame = np.zeros(mask.shape, bool)
    frame[:2], frame[-2:], frame[:, :2], frame[:, -2:] = True, True, True, True
    return float((rim & frame).sum()) / max(float(rim.sum()), 1.0)


def rim_step(lab: Floats, mask: Mask, inside: Mask) -> tuple[float, float]:
    """The colour step at the patch's rim, and in how many directions it is seen.

    `lab` is (rows, columns, 3) CIE L*a*b*. Differences of narrow bands just inside and outside the
    rim are taken in sectors around the patch's middle; sectors that end at the border are left out.
    Returns the length of the mean difference vector, and the share of sectors whose difference
    points its way with at least half its length: a wiped patch has a rim all round, a lamp's shine
    or a brush stroke has not.
    """
    sector = _sectors(mask)
    (count_in, mean_in), (count_out, mean_out) = (
        _by_sector(lab, band, sector) for band in rim_bands(mask, inside)
    )
    vectors = (mean_in - mean_out)[(count_in >= 6) & (count_out >= 6)]
    if len(vectors) < 4:
        return 0.0, 0.0
    mean = np.median(vectors, axis=0)
    length = float(np.linalg.norm(mean))
    along = vectors @ mean / max(length, 1e-6)
    return length, float((along > 0.5 * length).mean())


def _by_sector(
    lab: Floats, band: Mask, sector: NDArray[np.int64]
) -> tuple[NDArray[np.int64], Floats]:
    """How many cells of a band lie in each sector, and their mean colour (sectors, 3)."""
    number, colours = sector[band], lab[band]
    count = np.bincount(number, minlength=_SECTORS)
    sums = [np.bincount(number, weights=column, minlength=_SECTORS) for column in colours.T]
    return count, np.stack(sums, axis=1) / np.maximum(count, 1)[:, None]


def rim_bands(mask: Mask, inside: Mask) -> tuple[Mask, Mask]:
    """Bands of cells just inside and just outside a patch's rim."""
    depth_in = cv2.distanceTransform(mask.astype(np.uint8), cv2.DIST_L2, 3)
    depth_out = cv2.distanceTransform((~mask).astype(np.uint8), cv2.DIST_L2, 3)
    inner = (depth_in > 2.0) & (depth_in < 7.0) & inside
    outer = (depth_out > 2.0) & (depth_out < 7.0) & inside
    return inner, outer


def _sectors(mask: Mask) -> NDArray[np.int64]:
    """Sector number of each cell as seen from the patch's middle, in the patch's own proportions."""
    cells = np.argwhere(mask)
    if not len(cells):
        return np.zeros(mask.shape, np.int64)
    spread = cells.std(axis=0) + 1.0
    row, column = np.indices(mask.shape)
    at = cells.mean(axis=0)
    angle = np.arctan2((row - at[0]) / spread[0], (column - at[1]) / spread[1])
    return np.asarray(((angle + np.pi) / (2 * np.pi) * _SECTORS).astype(np.int64) % _SECTORS)


def _border_of(mask: Mask) -> Mask:
    kernel = np.ones((5, 5), np.uint8)
    padded = cv2.copyMakeBorder(mask.astype(np.uint8), 2, 2, 2, 2, cv2.BORDER_CONSTANT, value=0)
    eroded = cv2.erode(padded, kernel)[2:-2, 2:-2]
    return np.asarray(mask & (eroded == 0))
