"""The teeth of a photo as one row on one ring gear: one that the user corrects helps to place the others."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from pattern.flags import flag
from pattern.records import Hand, Photo, Reason, Side, ToothSide
from pattern.settings import Settings
from pattern.teeth.find import find_teeth
from pattern.teeth.found import FoundTeeth
from pattern.teeth.given import given_teeth
from pattern.teeth.ring_fit import EDGES, RingView, fit_ring
from pattern.teeth.surface import ToothSurface, resampled

Floats = NDArray[np.float64]
_LOOSE = 1.6
"""Points along one tooth's edges err together: their sds are widened by this."""
_CORRECTED, _FOUND = 0.75, 1.0
"""What a corrected and a found tooth's stated corner spread is taken for in the fit of the row: found teeth
err alike, which the spread of each also covers. Set on trial photos, with `_SHARED`."""
_SHARED = 0.35
"""Share of one correction that the whole row is taken to need. Finding errs about half in common, half by
tooth; a hand errs too. With exact corrections 0.5 places the others as well, with rough ones worse."""
_SAME = 0.35
"""Share of the smaller of two outlines that the other covers, at which they are of one tooth."""
_SURER = 0.75
"""The part of a found tooth's corner spread that is left: with it errors over spread are as before on the trial
photos."""
_DOUBT = 0.35
"""How much of the way that a tooth was moved counts as spread."""
_FAR = 0.15
"""A tooth moved by this share of its length keeps 0.6 of its confidence."""


def given_row(
    photo: Photo,
    side: Side,
    hand: Hand,
    outlines: Sequence[Sequence[Sequence[float]]],
    settings: Settings,
    *,
    without: Sequence[tuple[float, float]] = (),
) -> FoundTeeth:
    """Tooth sides drawn by the user, used as given, and the others of the photo laid anew from them.

    The others are those that `find_teeth` finds; where it declines the photo there are none. One that
    lies on a drawn outline, or under a point (x, y) px of `without`, is left out. Raises InvalidOutline
    as `given_teeth` does.
    """
    given = given_teeth(photo, side, hand, outlines)
    found = find_teeth(photo, side, hand, settings)
    as_found = [_same_tooth(tooth, found.teeth) for tooth in given.teeth]
    others = [
        tooth for tooth in found.teeth
        if all(_overlap(tooth, drawn) < _SAME for drawn in given.teeth) and not _holds(tooth, without)
    ]  # fmt: skip
    followed = follow_corrected(photo, given.teeth, as_found, others, side, hand)
    followed = tuple(
        tooth for tooth in followed
        if tooth.confidence >= settings.tooth_confidence and not _holds(tooth, without)
    )  # fmt: skip
    if not followed:
        return given
    told = f"{len(followed)} other outline(s) laid from them. {flag('followed').remedy}"
    return replace(
        given,
        teeth=(*given.teeth, *followed),
        flags=(*given.flags, Reason("followed", told)),
        regions=(*given.regions, *(ToothSurface.of(tooth).polygon for tooth in followed)),
    )


def follow_corrected(
    photo: Photo,
    corrected: Sequence[ToothSide],
    as_found: Sequence[ToothSide | None],
    others: Sequence[ToothSide],
    side: Side,
    hand: Hand,
) -> tuple[ToothSide, ...]:
    """The other teeth of a photo, laid where those that the user corrected put them, with less spread.

    `as_found` are the corrected teeth before the correction, None for one that was not found. Part of
    the correction is taken to be due to all teeth; then one ring gear is fitted to the row. A tooth that
    is moved far is less sure. Where no ring gear explains the row there are none.
    """
    if not corrected or not others:
        return ()
    carried = _carried(corrected, as_found, others)
    sds = [_CORRECTED * max(t.corner_sd_px, 1.0) for t in corrected]
    sds += [_FOUND * max(t.corner_sd_px, 1.0) for t in others]
    view = _row_view(photo, [*corrected, *carried], sds, side, hand)
    if view is None:
        return ()
    return tuple(
        _followed(tooth, view.surface(number))
        for number, tooth in enumerate(others, start=len(corrected))
    )


def _carried(
    corrected: Sequence[ToothSide],
    as_found: Sequence[ToothSide | None],
    others: Sequence[ToothSide],
) -> list[ToothSide]:
    """The others with their share of the correction, corner by corner along each tooth's own axes."""
    steps = [
        np.linalg.solve(_axes(before.corners), (tooth.corners - before.corners).T)
        for tooth, before in zip(corrected, as_found, strict=True)
        if before is not None
    ]
    if not steps:
        return list(others)
    # the more teeth were corrected, the better is known what they have in common
    share = _SHARED * len(steps) / (1.0 + _SHARED * (len(steps) - 1))
    step = share * np.mean(steps, axis=0)
    return [_shifted(tooth, (_axes(tooth.corners) @ step).T) for tooth in others]


def _axes(corners: Floats) -> Floats:
    """Toe to heel and root to tip as columns (2, 2), px."""
    toe_tip, heel_tip, heel_root, toe_root = corners
    along = 0.5 * (heel_tip + heel_root - toe_tip - toe_root)
    return np.stack([along, 0.5 * (toe_tip + heel_tip - toe_root - heel_root)], axis=1)


def _shifted(tooth: ToothSide, by: Floats) -> ToothSide:
    """Each corner moved by its row of `by` (4, 2) px, the edges with them."""

    def edge(points: Floats, toe: Floats, heel: Floats) -> Floats:
        share = np.linspace(0.0, 1.0, len(points))[:, None]
        return np.asarray(points + (1.0 - share) * toe + share * heel)

    tip, root = edge(tooth.tip_edge, by[0], by[1]), edge(tooth.root_edge, by[3], by[2])
    return replace(tooth, corners=tooth.corners + by, tip_edge=tip, root_edge=root)


def _row_view(
    photo: Photo, teeth: Sequence[ToothSide], sds: Sequence[float], side: Side, hand: Hand
) -> RingView | None:
    points = [np.concatenate([resampled(t.tip_edge, 5), resampled(t.root_edge, 5)]) for t in teeth]
    size = (photo.width_px, photo.height_px)
    return fit_ring(points, [_LOOSE * sd for sd in sds], side, hand, size, EDGES)


def _followed(tooth: ToothSide, surface: ToothSurface) -> ToothSide:
    length = max(surface.length_px, 1.0)
    moved = float(np.sqrt(((surface.corners - tooth.corners) ** 2).sum(axis=1).mean()))
    sd = float(np.hypot(_SURER * tooth.corner_sd_px, _DOUBT * moved))
    return ToothSide(
        corners=surface.corners,
        tip_edge=surface.tip,
        root_edge=surface.root,
        corner_sd_px=sd,
        confidence=tooth.confidence * float(np.exp(-0.5 * (moved / (_FAR * length)) ** 2)),
        source="followed",
    )


# --- which outline is of which tooth ---------------------------------------------------------------


def _same_tooth(tooth: ToothSide, found: Sequence[ToothSide]) -> ToothSide | None:
    """The found tooth that a drawn outline is of."""
    best = max(found, key=lambda other: _overlap(tooth, other), default=None)
    return best if best is not None and _overlap(tooth, best) >= _SAME else None


def _overlap(one: ToothSide, other: ToothSide) -> float:
    """The area that two outlines share, over that of the smaller; by their corners."""
    a, b = (np.asarray(t.corners, np.float32) for t in (one, other))
    shared, _ = cv2.intersectConvexConvex(cv2.convexHull(a), cv2.convexHull(b))
    smaller = min(cv2.contourArea(cv2.convexHull(p)) for p in (a, b))
    return float(shared) / max(float(smaller), 1e-9)


def _holds(tooth: ToothSide, points: Sequence[tuple[float, float]]) -> bool:
    outline = np.asarray(ToothSurface.of(tooth).polygon, np.float32)
    return any(cv2.pointPolygonTest(outline, (float(x), float(y)), False) >= 0 for x, y in points)
