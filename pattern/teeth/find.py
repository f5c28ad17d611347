"""Find the painted tooth sides of a photo by themselves, or say why not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pattern.flags import flag
from pattern.photo.quality import measure_light
from pattern.records import Direction, Hand, Photo, Reason, Side, ToothSide
from pattern.settings import Settings
from pattern.teeth.bend import tip_steadiness
from pattern.teeth.chirality import direction_of
from pattern.teeth.fields import PixelFields
from pattern.teeth.found import FoundTeeth
from pattern.teeth.given import check_side_and_hand, overridden_toe
from pattern.teeth.network import predict_fields
from pattern.teeth.painted import SeenSide, mean_side_on, painted_run, seen_sides
from pattern.teeth.ring_fit import RingView, solve_ring
from pattern.teeth.ring_refine import settle_ring
from pattern.teeth.ring_search import FoundRing, assigned, pieces_of, search_ring, sighting_of
from pattern.teeth.surface import ToothSurface
from pattern.teeth.verdict import poorly_lit, why_not

Floats = NDArray[np.float64]
Region = tuple[float, float, float, float]
_LEAST_GAIN = 1.25
"""A closer look that enlarges less than this is not worth its time."""
_MARGIN, _MARGIN_OF_ALL = 0.25, 0.1
"""Around teeth, in tooth lengths, and around all that is high, in its greatest length: with 0.25 there, four
more trial photos were left without teeth."""
_BEYOND = 3
_HIGH, _LEAST_CELLS = 0.4, 12
"""Where a map of the network counts as high, and of how many cells it takes notice."""
_VISIBLE = 0.2
_STEADY = 0.35
"""Steadiness of the tip edges that found teeth must show; set on trial photos."""
_LOOKS_PX = (320, 512, 640)
"""Sizes at which the network sees a photo; the others only where the first leaves a doubt."""
_CLOSE_LOOKS_PX = (384, 512, 640)
"""Sizes at which it looks closer, never coarser than the first time; a second time where the first moved the
teeth by more than `_SETTLED`."""
_SETTLED = 0.04
_WORTH_ANOTHER_LOOK = {"unsure_teeth", "no_compound", "no_teeth", "hidden"}
_OF_A_TOOTH = {"tooth_cut", "too_small", "hidden"}
"""Reasons that only a painted tooth on a ring gear gives."""
_SAME_PLACE = 0.08
"""Distance between the middles of the same tooth in two searches, over its length: a third of a tooth's
height as the camera mostly sees it."""
_UNLIKE = "Looked at in two sizes, the teeth lie in different places. "
_PERHAPS_DECLARED_WRONG = {"no_teeth", "unsure_teeth", "no_compound", "hidden", "wrong_side"}
"""What a photo of the other side, or of a ring gear of the other hand, is often declined for."""
_AS_WELL = 0.8
"""Probability of the other side on the painted teeth, as a share of the declared one's, over which the photo
may show either."""
_SURELY_DECLARED = 0.8
"""Probability of the declared side on the painted teeth over which they are not the other's: on 194 trial photos,
each declared either way, those that may be were under 0.65, and none over 0.75 came nearer than 0.3 of it."""
_GLANCE_PX = 256
_CLEARLY_NOT_OTHER = 0.12
"""Share of that probability which the other side must reach in a coarse look to be looked at closely: coarse
and close looks were within 0.01 of each other on half of the trial photos, and within 0.47 on all (with the
network before the last training; not measured since)."""
_OTHER_SURE, _DECLARED_SEEN = 0.75, 0.3
"""Confidence that teeth found under another declaration must have to name it in a photo that is declined, and
of teeth found as declared, over which it is not named; set on samples and trial photos, each declared wrongly."""
_FITS_OTHER = "No painted teeth are seen as declared, but they are if this is the other side. "
_FITS_OTHER_HAND = (
    "No painted teeth are seen of a {}-hand ring gear, but they are if it is {}-hand. Check the hand, and that "
    "the photo is not mirrored."
)
_OTHER_SIDE = "The painted teeth look more like the other side. "


@dataclass(frozen=True, eq=False)
class Search:
    """What the search for the ring gear gave: looks at the photo, the ring gear, its painted teeth.

    `moved` is how far the closer look moved the painted teeth's corners, as a share of their length.
    """

    looks: tuple[PixelFields, ...]
    ring: FoundRing | None
    sides: tuple[SeenSide, ...] = ()
    painted: tuple[SeenSide, ...] = ()
    moved: float = 0.0


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
        reasons = _declared_otherwise(photo, side, hand, teeth) or reasons
    if not reasons and _looks_like_other_side(photo, search, side, hand, long_side_px):
        reasons = (Reason("wrong_side", _OTHER_SIDE + flag("wrong_side").remedy),)
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
    for long_side_px in _LOOKS_PX:
        search = look_for_ring(photo, side, hand, long_side_px)
        teeth = _teeth_of(photo, search)
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


def _looks_like_other_side(
    photo: Photo, search: Search, side: Side, hand: Hand, long_side_px: int
) -> bool:
    """Whether the painted teeth are seen as well when the other side is declared.

    Where the network is sure of the declared side it need not be asked about the other, and a coarse look
    settles it where that shows next to nothing of the other side. That the other sides of
    the teeth are found elsewhere in the photo says nothing: both are often in view.
    """
    if search.ring is None or not search.painted:
        return False
    if _mean_side(search.painted) > _SURELY_DECLARED:
        return False
    other: Side = "coast" if side == "drive" else "drive"
    as_declared = _mean_side(search.painted)
    surfaces = search.ring.view.tooth_surfaces([s.number for s in search.painted])
    points = np.concatenate([s.polygon for s in surfaces])
    margin = _MARGIN * float(np.median([s.length_px for s in surfaces]))
    region = _region(photo, points, margin)
    for size_px in (_GLANCE_PX, long_side_px):
        look = predict_fields(photo, other, hand, region=region, long_side=size_px)
        under_other = mean_side_on(surfaces, look)
        if under_other < _CLEARLY_NOT_OTHER * as_declared:
            return False
    return under_other > _AS_WELL * as_declared


def _mean_side(sides: Sequence[SeenSide]) -> float:
    return float(np.mean([s.side for s in sides] or [0.0]))


def _declared_otherwise(
    photo: Photo, side: Side, hand: Hand, teeth: Sequence[ToothSide]
) -> tuple[Reason, ...]:
    """The reason to decline if painted teeth are surely found for the other side or the other hand.

    Both in a coarse and in a fine look, and not where `teeth` of the declared ones were found, if unsure.
    """
    if any(tooth.confidence > _DECLARED_SEEN for tooth in teeth):
        return ()
    other: Side = "coast" if side == "drive" else "drive"
    other_hand: Hand = "left" if hand == "right" else "right"
    as_other, as_other_hand = (
        _confidence_as(photo, *declared) for declared in ((other, hand), (side, other_hand))
    )
    if max(as_other, as_other_hand) <= _OTHER_SURE:
        return ()
    if as_other_hand > as_other:
        return (Reason("unsure_teeth", _FITS_OTHER_HAND.format(hand, other_hand)),)
    return (Reason("wrong_side", _FITS_OTHER + flag("wrong_side").remedy),)


def _confidence_as(photo: Photo, side: Side, hand: Hand) -> float:
    """How surely teeth are found under a declaration, in the less sure one of two looks."""
    least = 1.0
    for size_px in _LOOKS_PX[:2]:
        teeth = _teeth_of(photo, look_for_ring(photo, side, hand, size_px))
        least = min(least, max((t.confidence for t in teeth), default=0.0))
        if least <= _OTHER_SURE:
            break
    return least


def look_for_ring(photo: Photo, side: Side, hand: Hand, long_side_px: int = _LOOKS_PX[0]) -> Search:
    """Look at the whole photo, then closer at the painted teeth; the ring gear explains both.

    `long_side_px` is the size at which the network sees the first look, and a closer one if that is no less.
    Where the painted teeth fill the photo the closer look is a finer one of all of it.
    """
    size = (photo.width_px, photo.height_px)
    first = predict_fields(photo, side, hand, long_side=long_side_px)
    ring = search_ring(first, side, hand, size)
    if ring is None:
        region = _part_of(first.side, first, photo)
        if region is None:
            return Search((first,), None)
        second = predict_fields(photo, side, hand, region=region, long_side=long_side_px)
        ring = search_ring(second, side, hand, size)
        if ring is None:
            return Search((first, second), None)
        first = second
    closer = [px for px in _CLOSE_LOOKS_PX if px >= long_side_px][:2]
    return _looked_closer(photo, ring, first, side, hand, closer)


def _looked_closer(
    photo: Photo, ring: FoundRing, look: PixelFields, side: Side, hand: Hand, sizes: Sequence[int]
) -> Search:
    """The search that a first look began, gone on with closer ones of these sizes until the teeth stay put."""
    looks, moved = [look], 0.0
    sides = _sides_of(photo, ring, look, laid_out=False)
    painted = painted_run(sides)
    for close_px in sizes:
        region = _around(photo, ring.view, painted)
        if not painted:
            region = _part_of(look.painted, look, photo) or _around(photo, ring.view, sides)
        look = predict_fields(photo, side, hand, region=region, long_side=close_px)
        better = _with_closer_look(ring, look, painted or sides, side, hand, photo)
        moved = _moved(ring.view, better.view, painted)
        ring = better
        looks.append(look)
        sides = _sides_of(photo, ring, look)
        painted = painted_run(sides)
        if moved < _SETTLED:
            break
    return Search(tuple(looks), ring, tuple(sides), tuple(painted), moved)


def _with_closer_look(
    ring: FoundRing,
    look: PixelFields,
    painted: Sequence[SeenSide],
    side: Side,
    hand: Hand,
    photo: Photo,
) -> FoundRing:
    size = (photo.width_px, photo.height_px)
    closer = pieces_of(look, side, hand)
    pieces = (*ring.pieces, *closer)
    numbers = (*ring.numbers, *assigned(closer, ring.view))
    seen = sighting_of(pieces, numbers)
    view = solve_ring(seen, side, hand, size, start=ring.view.state, robust=True)
    if view is None:
        return ring
    if painted:
        view = settle_ring(view, look, [s.number for s in painted], seen)
    return FoundRing(view, pieces, numbers)


def _sides_of(
    photo: Photo, ring: FoundRing, look: PixelFields, *, laid_out: bool = True
) -> list[SeenSide]:
    numbers = [n for n in ring.numbers if n is not None]
    wanted = range(min(numbers) - _BEYOND, max(numbers) + _BEYOND + 1)
    return seen_sides(photo, ring.view, look, wanted, _VISIBLE, laid_out=laid_out)


def _around(photo: Photo, view: RingView, sides: Sequence[SeenSide]) -> Region | None:
    """The part of the photo that holds these teeth, if looking closer enlarges it."""
    if not sides:
        return None
    surfaces = view.tooth_surfaces([s.number for s in sides])
    points = np.concatenate([s.polygon for s in surfaces])
    margin = _MARGIN * float(np.median([s.length_px for s in surfaces]))
    return _region(photo, points, margin)


def _part_of(chance: NDArray[np.float32], look: PixelFields, photo: Photo) -> Region | None:
    """Where a map of the network is high at all."""
    rows, columns = np.nonzero(chance > _HIGH)
    if len(rows) < _LEAST_CELLS:
        return None
    points = look.photo_xy(np.stack([columns, rows], axis=1).astype(float))
    low, high = np.quantile(points, 0.03, axis=0), np.quantile(points, 0.97, axis=0)
    return _region(photo, np.array([low, high]), _MARGIN_OF_ALL * float((high - low).max()))


def _region(photo: Photo, points: Floats, margin: float) -> Region | None:
    low = np.clip(points.min(axis=0) - margin, 0, None)
    high = np.minimum(points.max(axis=0) + margin, [photo.width_px, photo.height_px])
    gain = max(photo.width_px, photo.height_px) / max(float((high - low).max()), 1.0)
    if gain < _LEAST_GAIN or (high - low).min() < 16:
        return None
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def _moved(before: RingView, after: RingView, sides: Sequence[SeenSide]) -> float:
    numbers = [side.number for side in sides]
    shares = []
    for old, new in zip(before.tooth_surfaces(numbers), after.tooth_surfaces(numbers), strict=True):
        apart = old.corners - new.corners
        shares.append(np.sqrt((apart**2).sum(axis=1).mean()) / max(old.length_px, 1.0))
    return float(np.median(shares)) if shares else 0.0


# --- teeth of the ring gear --------------------------------------------------------------------------


def _teeth_of(photo: Photo, search: Search) -> list[ToothSide]:
    """The painted teeth with corner spread and confidence.

    What lowers it: cells of other teeth that the ring gear leaves unexplained, a closer look that
    moved it, a tip edge across which the photo shows no steady change, a side hardly seen.
    """
    ring = search.ring
    if ring is None:
        return []
    surfaces = ring.view.tooth_surfaces([s.number for s in search.painted])
    steady = float(np.mean([tip_steadiness(photo, s) for s in surfaces])) if surfaces else 0.0
    teeth = []
    for seen, surface in zip(search.painted, surfaces, strict=True):
        near = min(abs(seen.number - n) for n in ring.numbers if n is not None)
        doubts = (
            min(1.0, ring.explained / 0.5),
            float(np.exp(-0.5 * (ring.view.misfit / 1.0) ** 2)),
            float(np.exp(-0.5 * (search.moved / 0.05) ** 2)),
            min(1.0, seen.side / 0.5),
            min(1.0, steady / _STEADY),
            0.85**near,
        )
        share = 0.016 + 0.006 * near + 0.35 * search.moved
        teeth.append(
            ToothSide(
                corners=surface.corners,
                tip_edge=surface.tip,
                root_edge=surface.root,
                corner_sd_px=share * surface.length_px,
                confidence=float(np.prod(doubts)),
            )
        )
    return teeth


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
