"""Whether a photo shows the other side of the teeth, or a ring gear of the other hand, than declared."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pattern.flags import flag
from pattern.records import Hand, Photo, Reason, Side, ToothSide
from pattern.teeth.looks import CLOSE_LOOKS_PX, LOOKS_PX, Search, around, look_for_ring, teeth_of
from pattern.teeth.network import predict_fields
from pattern.teeth.painted import mean_side_on

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
network before the last training, and closer looks at 512 px; not measured since)."""
_OTHER_SURE, _DECLARED_SEEN = 0.6, 0.3
"""Confidence that teeth found under another declaration must have to name it in a photo that is declined, and
of teeth found as declared, over which it is not named; set on samples and trial photos, each declared wrongly."""
_FITS_OTHER = "No painted teeth are seen as declared, but they are if this is the other side. "
_FITS_OTHER_HAND = (
    "No painted teeth are seen of a {}-hand ring gear, but they are if it is {}-hand. Check the hand, and that "
    "the photo is not mirrored."
)
_OTHER_SIDE = "The painted teeth look more like the other side. "


def looks_like_other_side(
    photo: Photo, search: Search, side: Side, hand: Hand, long_side_px: int
) -> tuple[Reason, ...]:
    """The reason to decline if the painted teeth are seen as well when the other side is declared.

    Where the network is sure of the declared side it need not be asked about the other, and a coarse look
    settles it where that shows next to nothing of the other side. That the other sides of the teeth are
    found elsewhere in the photo says nothing: both are often in view.
    """
    as_declared = float(np.mean([s.side for s in search.painted] or [1.0]))
    if search.ring is None or as_declared > _SURELY_DECLARED:
        return ()
    other: Side = "coast" if side == "drive" else "drive"
    surfaces = search.ring.view.tooth_surfaces([s.number for s in search.painted])
    region = around(photo, search.ring.view, search.painted)
    for size_px in (_GLANCE_PX, max(long_side_px, CLOSE_LOOKS_PX[0])):
        look = predict_fields(photo, other, hand, region=region, long_side=size_px)
        under_other = mean_side_on(surfaces, look)
        if under_other < _CLEARLY_NOT_OTHER * as_declared:
            return ()
    if under_other <= _AS_WELL * as_declared:
        return ()
    return (Reason("wrong_side", _OTHER_SIDE + flag("wrong_side").remedy),)


def declared_otherwise(
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
    for size_px in LOOKS_PX[:2]:
        teeth = teeth_of(photo, look_for_ring(photo, side, hand, size_px))
        least = min(least, max((t.confidence for t in teeth), default=0.0))
        if least <= _OTHER_SURE:
            break
    return least
