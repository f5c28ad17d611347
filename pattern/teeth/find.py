"""Find the painted tooth sides of a photo by themselves, or say why not."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from pattern.flags import flag
from pattern.records import Direction, Hand, Photo, Reason, Side, ToothSide
from pattern.settings import Settings
from pattern.teeth.candidates import Candidate, candidates_of
from pattern.teeth.chirality import direction_of
from pattern.teeth.fields import PixelFields
from pattern.teeth.found import FoundTeeth
from pattern.teeth.given import check_side_and_hand, overridden_toe
from pattern.teeth.network import predict_fields
from pattern.teeth.row import settle_row
from pattern.teeth.surface import ToothSurface
from pattern.teeth.verdict import why_not

Floats = NDArray[np.float64]
_ENOUGH_GRID_PX = 150.0
"""A tooth this long on the network's grid is measured from the first look alone."""
_LEAST_GAIN = 1.25
"""A closer look that enlarges less than this is not worth its time."""
_MARGIN = 0.18


def find_teeth(
    photo: Photo,
    side: Side,
    hand: Hand,
    settings: Settings,
    *,
    toe: Direction | None = None,
) -> FoundTeeth:
    """Every painted tooth side that is well in view, from a look at the picture and one closer up.

    The network says for each cell where on a tooth it lies; a surface is fitted to each tooth side.
    Teeth on which the two looks or the fit disagree lose confidence; without a tooth above
    `settings.tooth_confidence` the reasons say what was seen. `toe` overrides where the toe lies.
    """
    check_side_and_hand(side, hand)
    first = predict_fields(photo.pixels, side, hand)
    looks = [first]
    teeth = candidates_of(first, photo, side, hand)
    region = _closer(teeth, first, photo)
    if region is not None:
        second = predict_fields(photo.pixels, side, hand, region=region)
        looks.append(second)
        teeth = _agreed(teeth, candidates_of(second, photo, side, hand), second, region)
    good = [t for t in teeth if t.confidence >= settings.tooth_confidence]
    reasons = why_not(photo, looks, teeth, good, side, settings)
    if reasons:
        return FoundTeeth((), reasons, tuple(t.surface.polygon for t in good), tuple(looks), None)
    settled, _ = settle_row(photo, [_record(t) for t in good], side, hand)
    kept = [t for t in settled if t.confidence >= settings.tooth_confidence]
    if not kept:
        unsure = Reason("unsure_teeth", _no_ring_gear())
        return FoundTeeth((), (unsure,), tuple(t.surface.polygon for t in good), tuple(looks))
    found_toe = direction_of(np.sum([_toe_vector(t) for t in kept], axis=0))
    flags: list[Reason] = []
    if toe is not None and toe != found_toe:
        kept = [_turned_end_for_end(t) for t in kept]
        flags.append(overridden_toe(toe, found_toe, side, hand))
    if any(t.ends_cut for t in good):
        flags.append(Reason("end_cut", f"{flag('end_cut').meaning}. {flag('end_cut').remedy}"))
    return FoundTeeth(
        teeth=tuple(kept),
        flags=tuple(flags),
        regions=tuple(ToothSurface.of(t).polygon for t in kept),
        fields=tuple(looks),
        toe=toe or found_toe,
    )


def _no_ring_gear() -> str:
    return f"The outlines seen do not fit a ring gear. {flag('unsure_teeth').remedy}"


def _closer(
    teeth: list[Candidate], first: PixelFields, photo: Photo
) -> tuple[float, float, float, float] | None:
    """The part of the photo that holds the painted teeth, if a closer look shows more."""
    cells = _wanted_cells(first)
    if len(cells) < 12:
        return None
    cell = float(np.sqrt(abs(np.linalg.det(first.to_photo[:, :2]))))
    painted = [t.surface.length_px for t in teeth if t.painted > 0.4]
    points = first.photo_xy(cells)
    low, high = np.quantile(points, 0.01, axis=0), np.quantile(points, 0.99, axis=0)
    margin = _MARGIN * (float(np.median(painted)) if painted else float((high - low).max()))
    low = np.clip(low - margin, 0, None)
    high = np.minimum(high + margin, [photo.width_px, photo.height_px])
    gain = max(photo.width_px, photo.height_px) / max(float((high - low).max()), 1.0)
    long_enough = bool(painted) and float(np.median(painted)) / cell > _ENOUGH_GRID_PX
    if long_enough or gain < _LEAST_GAIN:
        return None
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def _wanted_cells(first: PixelFields) -> Floats:
    """Grid points (n, 2) of the largest painted region of the declared side; of any, if none is."""
    side = first.side > 0.5
    painted = side & (first.painted > 0.5)
    wanted = painted if painted.sum() >= 12 else side
    # teeth of one row lie a few cells apart and belong together
    joined = cv2.dilate(wanted.astype(np.uint8), np.ones((9, 9), np.uint8))
    count, labels = cv2.connectedComponents(joined)
    if count < 2:
        return np.zeros((0, 2))
    sizes = np.bincount(labels[wanted], minlength=count)
    rows, columns = np.nonzero(wanted & (labels == int(sizes.argmax())))
    return np.stack([columns, rows], axis=1).astype(float)


def _agreed(
    first: list[Candidate],
    second: list[Candidate],
    look: PixelFields,
    region: tuple[float, float, float, float],
) -> list[Candidate]:
    """The closer look's teeth, trusted as far as the first look agrees.

    Teeth of the first look that lie outside the closer one are left: they were not painted.
    """
    agreed = []
    for tooth in second:
        twin = min(first, key=lambda t: t.distance_to(tooth), default=None)
        agreed.append(tooth.checked_against(twin))
    return agreed


def _toe_vector(tooth: ToothSide) -> Floats:
    """From heel to toe, px."""
    toe_tip, heel_tip, heel_root, toe_root = tooth.corners
    return np.asarray(toe_tip + toe_root - heel_tip - heel_root)


def _turned_end_for_end(tooth: ToothSide) -> ToothSide:
    """The same with toe and heel exchanged."""
    return replace(
        tooth,
        corners=tooth.corners[[1, 0, 3, 2]],
        tip_edge=tooth.tip_edge[::-1],
        root_edge=tooth.root_edge[::-1],
    )


def _record(tooth: Candidate) -> ToothSide:
    return ToothSide(
        corners=tooth.surface.corners,
        tip_edge=tooth.surface.tip,
        root_edge=tooth.surface.root,
        corner_sd_px=tooth.corner_sd_px,
        confidence=tooth.confidence,
        source="found",
    )
