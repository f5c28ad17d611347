"""Tooth outlines that the user gives: drawn on the photo, or the picture's own frame."""

from __future__ import annotations

import math
from collections.abc import Sequence
from numbers import Real

import numpy as np
from numpy.typing import NDArray

from pattern.errors import InvalidInput, InvalidOutline
from pattern.flags import flag
from pattern.records import SIDES, Direction, Hand, Photo, Reason, Side, ToothSide
from pattern.teeth.bend import bend_edges
from pattern.teeth.chirality import (
    direction_of,
    outline_runs_clockwise,
    runs_clockwise,
    signed_area_px2,
    tip_from_toe,
    toe_from_tip,
)
from pattern.teeth.fields import PixelFields
from pattern.teeth.found import FoundTeeth
from pattern.teeth.network import predict_fields
from pattern.teeth.slip import slip_of
from pattern.teeth.surface import ToothSurface, bowed_edge

_ORDER = "toe-tip, heel-tip, heel-root, toe-root"
_OPPOSITE: dict[Direction, Direction] = {
    "up": "down", "down": "up", "left": "right", "right": "left"
}  # fmt: skip
_LOOK_MARGIN = 0.25
_MOST_SLIP = 0.055
"""Distance of drawn outlines from where the network sees the teeth, in shares of their length, at which
they are not measured: true outlines of trial photos lie within 0.045 (98 %), those drawn 40 % past the
heel or the toe over 0.054 (95 %)."""
_LOOK_PX = 320
_SLIPPED = (
    "The outlines lie beside the teeth that are seen, by about {:.0f} % of a tooth's length. Draw their "
    "ends on the tooth's own ends."
)
_CORNER_SD_SHARE = 0.012
"""A hand-drawn corner is taken to be this share of the tooth's length off, one sd (no source)."""


def given_teeth(
    photo: Photo, side: Side, hand: Hand, outlines: Sequence[Sequence[Sequence[float]]]
) -> FoundTeeth:
    """Tooth sides from outlines drawn by the user, used as given.

    Each outline is four (x, y) corners in pixels: toe-tip, heel-tip, heel-root, toe-root; or six,
    with the middle of the tip edge after the toe-tip and the middle of the root edge after the
    heel-root. Raises InvalidOutline naming the outline and the remedy.
    """
    check_side_and_hand(side, hand)
    if isinstance(outlines, str) or not isinstance(outlines, Sequence) or not len(outlines):
        raise InvalidOutline(
            "no outline given",
            subject="outlines",
            remedy=f"Give one or more of four corners: {_ORDER}",
        )
    drawn = [
        _given_tooth(photo, side, hand, outline, f"outline {number}")
        for number, outline in enumerate(outlines, start=1)
    ]
    bent = bend_edges(photo, [tooth for tooth, _ in drawn], side, hand)
    teeth = tuple(
        tooth if is_curved else guess for (tooth, is_curved), guess in zip(drawn, bent, strict=True)
    )
    flags = [Reason("drawn_by_hand", f"{len(teeth)} outline(s) drawn by the user.")]
    regions = tuple(np.concatenate([t.tip_edge, t.root_edge[::-1]]) for t in teeth)
    slip = _slip(teeth, _looked_at(photo, side, hand, regions))
    if slip > _MOST_SLIP:
        flags.append(Reason("unsure_teeth", _SLIPPED.format(100.0 * slip)))
    return FoundTeeth(
        teeth=teeth,
        flags=tuple(flags),
        regions=regions,
        toe=direction_of(_toe_vector(teeth[0].corners)),
    )


def frame_tooth(
    photo: Photo,
    side: Side,
    hand: Hand,
    *,
    toe: Direction | None = None,
    tip: Direction | None = None,
) -> FoundTeeth:
    """The whole picture as one tooth side, tip edge up unless `toe` or `tip` say otherwise.

    Without `toe` the side and the hand settle where it lies. Raises InvalidOutline if `toe` and
    `tip` name the same axis.
    """
    check_side_and_hand(side, hand)
    if tip is None:
        tip = "up" if toe in (None, "left", "right") else tip_from_toe(toe, side, hand)
    usual = toe_from_tip(tip, side, hand)
    toe = toe or usual
    if (tip in ("up", "down")) == (toe in ("up", "down")):
        raise InvalidOutline(
            f"toe {toe} and tip {tip} lie along the same axis",
            subject="frame",
            remedy="The toe is at an end of the tooth, the tip along a long edge",
        )
    right, low = photo.width_px - 1.0, photo.height_px - 1.0
    at: dict[Direction, float] = {"left": 0.0, "right": right, "up": 0.0, "down": low}

    def corner(end: Direction, edge: Direction) -> list[float]:
        return [at[end], at[edge]] if end in ("left", "right") else [at[edge], at[end]]

    heel, root = _OPPOSITE[toe], _OPPOSITE[tip]
    corners = np.array([corner(toe, tip), corner(heel, tip), corner(heel, root), corner(toe, root)])
    flags = [Reason("drawn_by_hand", "The picture's frame is taken as the tooth's outline.")]
    if toe != usual:
        flags.append(overridden_toe(toe, usual, side, hand))
    tooth = ToothSide(
        corners=corners,
        tip_edge=corners[:2],
        root_edge=corners[[3, 2]],
        corner_sd_px=0.02 * max(right, low),
        confidence=1.0,
        source="frame",
    )
    return FoundTeeth((tooth,), tuple(flags), (corners,), toe)


def overridden_toe(toe: Direction, usual: Direction, side: Side, hand: Hand) -> Reason:
    """The warning that the toe given is not where side and hand put it."""
    return Reason(
        "toe_overridden",
        f"The toe was given as {toe}; the {side} side of a {hand}-hand ring gear would have it "
        f"{usual}. {flag('toe_overridden').remedy}",
    )


def check_side_and_hand(side: str, hand: str) -> None:
    """Raise InvalidInput for a side or hand that does not exist."""
    if side not in SIDES:
        raise InvalidInput(
            f"{side!r} is no tooth side", subject="side", remedy="Use drive or coast"
        )
    if hand not in ("right", "left"):
        raise InvalidInput(
            f"{hand!r} is no hand", subject="hand", remedy="Use right or left, the ring gear's hand"
        )


def _slip(teeth: Sequence[ToothSide], field: PixelFields) -> float:
    """How far the outlines lie beside the teeth that the network sees; 0 where it cannot tell."""
    told = [slip for t in teeth if (slip := slip_of(ToothSurface.of(t), field)) is not None]
    return float(np.median(told)) if told else 0.0


def _looked_at(
    photo: Photo, side: Side, hand: Hand, regions: Sequence[NDArray[np.float64]]
) -> PixelFields:
    """What the network sees of these teeth, to check the outlines by."""
    points = np.concatenate(regions)
    low, high = points.min(axis=0), points.max(axis=0)
    margin = _LOOK_MARGIN * float((high - low).max())
    (x0, y0), (x1, y1) = low - margin, high + margin
    return predict_fields(photo, side, hand, region=(x0, y0, x1, y1), long_side=_LOOK_PX)


# --- one outline ---------------------------------------------------------------------------------


def _given_tooth(
    photo: Photo, side: Side, hand: Hand, outline: object, name: str
) -> tuple[ToothSide, bool]:
    """The tooth side, and whether the user gave the middles of its long edges."""
    points = _points(outline, name)
    corners = points if len(points) == 4 else points[[0, 2, 3, 5]]
    _check_shape(corners, name)
    _check_place(photo, corners, name)
    if outline_runs_clockwise(corners) != runs_clockwise(side, hand):
        raise InvalidOutline(
            f"its corners run the wrong way round for the {side} side of a {hand}-hand ring gear",
            subject=name,
            remedy=f"Give the corners as {_ORDER}; if they are, check drive or coast, the hand of "
            "the ring gear, and whether the picture is mirrored",
        )
    bow_tip = bow_root = np.zeros(2)
    if len(points) == 6:
        bow_tip = points[1] - 0.5 * (points[0] + points[2])
        bow_root = points[4] - 0.5 * (points[3] + points[5])
    length = float(np.linalg.norm(0.5 * (corners[1] + corners[2] - corners[0] - corners[3])))
    tooth = ToothSide(
        corners=corners,
        tip_edge=bowed_edge(corners[0], corners[1], bow_tip),
        root_edge=bowed_edge(corners[3], corners[2], bow_root),
        corner_sd_px=_CORNER_SD_SHARE * length,
        confidence=1.0,
        source="given",
    )
    return tooth, len(points) == 6


def _points(outline: object, name: str) -> NDArray[np.float64]:
    remedy = f"Give four corners in pixels: {_ORDER}"
    if isinstance(outline, str | bytes) or not isinstance(outline, Sequence | np.ndarray):
        raise InvalidOutline("is no list of corners", subject=name, remedy=remedy)
    if len(outline) not in (4, 6):
        raise InvalidOutline(f"has {len(outline)} corners", subject=name, remedy=remedy)
    for point in outline:
        whole = isinstance(point, Sequence | np.ndarray) and not isinstance(point, str | bytes)
        if not whole or len(point) != 2 or not all(_is_number(value) for value in point):
            raise InvalidOutline(f"{point!r} is no point (x, y)", subject=name, remedy=remedy)
    return np.array([[float(x), float(y)] for x, y in outline])


def _is_number(value: object) -> bool:
    return isinstance(value, Real) and not isinstance(value, bool) and math.isfinite(float(value))


def _check_shape(corners: NDArray[np.float64], name: str) -> None:
    a, b, c, d = corners
    if _cross(a, b, c, d) or _cross(b, c, d, a):
        raise InvalidOutline(
            "crosses itself", subject=name, remedy=f"Give the corners in order: {_ORDER}"
        )
    length = np.linalg.norm(0.5 * (b + c - a - d))
    depth = np.linalg.norm(0.5 * (a + b - c - d))
    if abs(signed_area_px2(corners)) < 50.0 or depth < 4.0 or length < 8.0:
        raise InvalidOutline(
            f"is only {length:.0f} x {depth:.0f} pixels",
            subject=name,
            remedy="Draw it around one whole tooth side",
        )
    if depth > 1.5 * length:
        raise InvalidOutline(
            "is deeper from tip to root than long from toe to heel",
            subject=name,
            remedy=f"Give the corners in order: {_ORDER}; the tip edge is the long one",
        )


def _check_place(photo: Photo, corners: NDArray[np.float64], name: str) -> None:
    """A tooth may run out of the picture, but its middle and most of it must be in."""
    share = np.linspace(0.02, 0.98, 15)
    toe, heel = np.outer(1 - share, 1 - share), np.outer(share, 1 - share)
    grid = (
        toe[..., None] * corners[3]
        + heel[..., None] * corners[2]
        + np.outer(1 - share, share)[..., None] * corners[0]
        + np.outer(share, share)[..., None] * corners[1]
    )
    x, y = grid[..., 0], grid[..., 1]
    inside = (x >= -1) & (x <= photo.width_px) & (y >= -1) & (y <= photo.height_px)
    if inside.mean() < 0.6:
        raise InvalidOutline(
            f"lies {100 * (1 - inside.mean()):.0f} % outside the picture of "
            f"{photo.width_px} x {photo.height_px} pixels",
            subject=name,
            remedy="Draw it on the photo after its orientation was applied, in full-resolution pixels",
        )


def _cross(
    a: NDArray[np.float64], b: NDArray[np.float64], c: NDArray[np.float64], d: NDArray[np.float64]
) -> bool:
    """Whether the segments ab and cd cross."""

    def turn(p: NDArray[np.float64], q: NDArray[np.float64], r: NDArray[np.float64]) -> float:
        return float((q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0]))

    return turn(a, b, c) * turn(a, b, d) < 0 and turn(c, d, a) * turn(c, d, b) < 0


def _toe_vector(corners: NDArray[np.float64]) -> NDArray[np.float64]:
    """From heel to toe along the tooth, px."""
    return np.asarray(corners[0] + corners[3] - corners[1] - corners[2])
