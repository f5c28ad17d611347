"""Find the painted tooth sides of a photo by themselves, or say why not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pattern.flags import flag
from pattern.photo.quality import measure_light
from pattern.records import Direction, Hand, Photo, Reason, Side, ToothSide
from pattern.settings import Settings
from pattern.teeth.chirality import direction_of
from pattern.teeth.declared import declared_otherwise, looks_like_other_side
from pattern.teeth.found import FoundTeeth
from pattern.teeth.given import check_side_and_hand, overridden_toe
from pattern.teeth.looks import LOOKS_PX, Search, look_for_ring, teeth_of
from pattern.teeth.surface import ToothSurface
from pattern.teeth.verdict import poorly_lit, why_not

Floats = NDArray[np.float64]
_WORTH_ANOTHER_LOOK = {"unsure_teeth", "no_compound", "no_teeth", "hidden"}
_OF_A_TOOTH = {"tooth_cut", "too_small", "hidden"}
"""Reasons that only a painted tooth on a ring gear gives."""
_SAME_PLACE = 0.08
"""Distance between the middles of the same tooth in two searches, over its length: a third of a tooth's
height as the camera mostly sees it."""
_UNLIKE = "Looked at in two sizes, the teeth lie in different places. "
_PERHAPS_DECLARED_WRONG = {"no_teeth", "unsure_teeth", "no_compound", "hidden", "wrong_side"}
"""What a photo of the other side, or of a ring gear of the other hand, is often declined for."""


def find_teeth(
    photo: Photo,
    side: Side,
    hand: Hand,
    settings: Settings,
    *,
    toe: Direction | None = None,
) -> FoundTeeth:
    """Every painted tooth side that is well in view.

    The network says for each cell where on a tooth it lies; the ring gear that explains most of the
    cells is sought, its painted teeth told from the bare ones by their look, and looked at again
    closer up. Without a tooth above `settings.tooth_confidence` the reasons say what was seen. `toe`
    overrides where the toe lies.
    """
    check_side_and_hand(side, hand)
    search, teeth, reasons, long_side_px = _searched(photo, side, hand, settings)
    good = [t for t in teeth if t.confidence >= settings.tooth_confidence]
    regions = tuple(ToothSurface.of(t).polygon for t in good)
    lights = tuple(measure_light(photo, region) for region in regions)
    reasons = reasons or poorly_lit(search, lights)
    if {r.code for r in reasons} & _PERHAPS_DECLARED_WRONG:
        reasons = declared_otherwise(photo, side, hand, teeth) or reasons
    reasons = reasons or looks_like_other_side(photo, search, side, hand, long_side_px)
    if reasons:
        seen = tuple(ToothSurface.of(t).polygon for t in teeth)
        return FoundTeeth((), reasons, regions, None, seen, lights)
    found_toe = direction_of(np.sum([_toe_vector(t) for t in good], axis=0))
    flags: list[Reason] = []
    if toe is not None and toe != found_toe:
        good = [_turned_end_for_end(t) for t in good]
        flags.append(overridden_toe(toe, found_toe, side, hand))
    if any(_is_cut(photo, t) for t in good):
        flags.append(Reason("end_cut", f"{flag('end_cut').meaning}. {flag('end_cut').remedy}"))
    return FoundTeeth(tuple(good), tuple(flags), regions, toe or found_toe, lights=lights)


def _searched(
    photo: Photo, side: Side, hand: Hand, settings: Settings
) -> tuple[Search, list[ToothSide], tuple[Reason, ...], int]:
    """The search for the ring gear, its teeth, what speaks against them, and the size of its first look.

    Looked at again at other sizes while there is a doubt. A search that succeeds after others had painted
    teeth elsewhere does not count: one of them is wrong. Of searches that all fail the one counts that
    says what is wrong with a tooth, or whose reason most of them give, before one that stops at the
    light: a size that sees something where nothing is stands alone.
    """
    tried: list[tuple[Search, list[ToothSide], tuple[Reason, ...], int]] = []
    for long_side_px in LOOKS_PX:
        search = look_for_ring(photo, side, hand, long_side_px)
        teeth = teeth_of(photo, search)
        good = [t for t in teeth if t.confidence >= settings.tooth_confidence]
        reasons = why_not(photo, search, good, side, settings)
        if not reasons and not all(_may_be_same(search, earlier) for earlier, *_ in tried):
            reasons = (Reason("unsure_teeth", _UNLIKE + flag("unsure_teeth").remedy),)
        tried.append((search, teeth, reasons, long_side_px))
        if not reasons:
            return tried[-1]
        if not {r.code for r in reasons} & _WORTH_ANOTHER_LOOK:
            break
    leading = [reasons[0].code for _, _, reasons, _ in tried]

    def weight(code: str, size_px: int) -> tuple[bool, int, bool, int]:
        return code in _OF_A_TOOTH, leading.count(code), code in _WORTH_ANOTHER_LOOK, size_px

    return max(tried, key=lambda each: weight(each[2][0].code, each[3]))


def _may_be_same(search: Search, earlier: Search) -> bool:
    """Whether half of a search's painted teeth lie where an earlier one had some, or that had none."""
    if search.ring is None or earlier.ring is None or not earlier.painted:
        return True
    new, old = (
        s.ring.view.tooth_surfaces([side.number for side in s.painted])
        for s in (search, earlier)
        if s.ring is not None
    )
    places = np.array([surface.corners.mean(axis=0) for surface in old])
    apart = [
        float(np.linalg.norm(places - surface.corners.mean(axis=0), axis=1).min())
        / surface.length_px
        for surface in new
    ]
    return float(np.mean(np.array(apart) < _SAME_PLACE)) >= 0.5


def _is_cut(photo: Photo, tooth: ToothSide) -> bool:
    ends = np.array([tooth.corners[[0, 3]].mean(axis=0), tooth.corners[[1, 2]].mean(axis=0)])
    limits = np.array([photo.width_px - 1.0, photo.height_px - 1.0])
    return bool(((ends < -2) | (ends > limits + 2)).any())


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
