"""Draw marks on a tooth: both sides as the shop sees them, as an SVG that reads at 300 px width.

Each side is drawn with its top land up, as if looking at it straight on. Which hand the toe is on
then follows from the geometry: with a right-hand ring gear it is on the right of the drive side and
on the left of the coast side (see `toe_on_left`).
"""

from __future__ import annotations

import math
from html import escape
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from pattern.gears.evaluate import SideMark
from pattern.records import SIDES, Hand, Side, SideReading

Drawable = SideMark | SideReading | None

_WIDTH, _PANEL, _LEFT, _LENGTH = 300, 136, 12, 276
_TOP, _DEPTH = 30, 76
_SURFACE = {"drive": "convex", "coast": "concave"}
_STYLE = (
    "text{font:12px system-ui,sans-serif;fill:#1d2329}"
    ".n{font-weight:600}.s{font-size:11px;paint-order:stroke;stroke:#f0dfb4;stroke-width:3px}"
    ".tooth{fill:#f0dfb4;stroke:#1d2329;stroke-width:1.5}.mark{fill:#24587a;stroke:#24587a;stroke-width:.8}"
    ".soft{fill:none;stroke:#24587a;stroke-width:1.2;stroke-dasharray:2 2}"
    ".next{fill:none;stroke:#a4400b;stroke-width:2;stroke-dasharray:7 3}"
    ".c{stroke:#fff;stroke-width:1.6;fill:none}"
)


def toe_on_left(side: Side, hand: Hand) -> bool:
    """Whether the toe is on the left when a side is looked at with its top land up.

    The drive side of a right-hand ring gear faces −y with its tip toward −z (frame of
    `pattern.gears.flank`): looking along +y with −z up, the heel (+x) is on the left.
    """
    return (side == "coast") == (hand == "right")


def draw_marks_svg(
    drive: Drawable, coast: Drawable, *, hand: Hand = "right", depth_ratio: float = 0.72,
    expected_drive: Drawable = None, expected_coast: Drawable = None, title: str = "Contact pattern",
) -> str:  # fmt: skip
    """SVG text with the two sides one above the other.

    A `SideMark` is drawn in its computed shape, a `SideReading` as the ellipse of its extents and tilt
    with a dotted ellipse for its spread; None leaves the side bare. `expected_…` adds a second mark
    as a dashed outline. `depth_ratio` is the tooth's depth at the toe over that at the heel.
    """
    panels = []
    for row, (side, mark, expected) in enumerate(
        zip(SIDES, (drive, coast), (expected_drive, expected_coast), strict=True)
    ):
        panels.append(_panel(side, hand, mark, expected, depth_ratio, row * _PANEL))
    words = " ".join(_words(side, mark) for side, mark in zip(SIDES, (drive, coast), strict=True))
    height = 2 * _PANEL
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {height}" width="{_WIDTH}" '
        f'height="{height}" role="img"><title>{escape(title)}</title><desc>{escape(words)}</desc>'
        f"<style>{_STYLE}</style>{''.join(panels)}</svg>"
    )


def _panel(
    side: Side, hand: Hand, mark: Drawable, expected: Drawable, depth_ratio: float, top: int
) -> str:
    flip = not toe_on_left(side, hand)
    place = _Place(flip, depth_ratio, top + _TOP)
    corners = [place(0, 1), place(1, 1), place(1, 0), place(0, 0)]
    parts = [
        f'<text class="n" x="{_LEFT}" y="{top + 14}">{side.capitalize()} side</text>',
        f'<text x="{_LEFT + _LENGTH}" y="{top + 14}" text-anchor="end">{_SURFACE[side]}</text>',
        f'<path class="tooth" d="{_closed(corners)}"/>',
        _mark(mark, place),
        _outline(expected, place),
    ]
    toe, heel = place(0, 0), place(1, 0)
    for name, (x, y) in (("toe", toe), ("heel", heel)):
        anchor = "start" if x < _WIDTH / 2 else "end"
        parts.append(
            f'<text class="n" x="{x:.0f}" y="{y + 15:.0f}" text-anchor="{anchor}">{name}</text>'
        )
    middle = _WIDTH / 2
    parts.append(f'<text x="{middle:.0f}" y="{toe[1] + 15:.0f}" text-anchor="middle">root</text>')
    parts.append(f'<text x="{middle:.0f}" y="{top + 25}" text-anchor="middle">top land</text>')
    for name, height in (("face", 0.84), ("flank", 0.07)):
        x, y = place(0.97, height)
        anchor = "end" if x > middle else "start"
        parts.append(
            f'<text class="s" x="{x:.0f}" y="{y:.0f}" text-anchor="{anchor}">{name}</text>'
        )
    return "".join(parts)


class _Place:
    """From tooth coordinates to the panel's pixels."""

    def __init__(self, flip: bool, depth_ratio: float, top: float) -> None:
        self.flip, self.ratio, self.top = flip, depth_ratio, top

    def __call__(self, lengthwise: float, profile: float) -> tuple[float, float]:
        depth = _DEPTH * (self.ratio + (1 - self.ratio) * lengthwise)
        x = 1 - lengthwise if self.flip else lengthwise
        return _LEFT + _LENGTH * x, self.top + _DEPTH - profile * depth


def _mark(mark: Drawable, place: _Place) -> str:
    if isinstance(mark, SideMark):
        if not mark.area > 0:
            return ""
        return f'<path class="mark" d="{_strips(mark.mask, place)}"/>{_cross(mark, place)}'
    if isinstance(mark, SideReading):
        wide = _ellipse(mark, place, 2 * mark.lengthwise_sd, 2 * mark.profile_sd)
        return (
            f'<path class="mark" d="{_ellipse(mark, place)}"/><path class="soft" d="{wide}"/>'
            + _cross(mark, place)
        )
    return ""


def _outline(mark: Drawable, place: _Place) -> str:
    if isinstance(mark, SideMark):
        mark = None if not mark.area > 0 else _as_reading(mark)
    return "" if mark is None else f'<path class="next" d="{_ellipse(mark, place)}"/>'


def _as_reading(mark: SideMark) -> SideReading:
    low, high = mark.extent_lengthwise
    root, tip = mark.extent_profile
    return SideReading(
        mark.lengthwise, mark.profile, length=max(high - low, 1e-3), width=max(tip - root, 1e-3),
        tilt_deg=mark.tilt_deg,
    )  # fmt: skip


def _cross(mark: SideMark | SideReading, place: _Place) -> str:
    x, y = place(mark.lengthwise, mark.profile)
    return f'<path class="c" d="M{x - 5:.1f} {y:.1f}h10M{x:.1f} {y - 5:.1f}v10"/>'


def _ellipse(mark: SideReading, place: _Place, more_l: float = 0.0, more_p: float = 0.0) -> str:
    """Ellipse with the reading's extents; its tilt shears it up the tooth toward the heel."""
    half_l = (mark.length or 0.4) / 2 / 0.8 + more_l  # 5 to 95 % of an ellipse is about 0.8 of it
    half_p = (mark.width or 0.4) / 2 / 0.8 + more_p
    # the panel shows the depth about twice as tall against the length as a tooth is
    rise = math.tan(math.radians(max(-80.0, min(80.0, mark.tilt_deg or 0.0)))) * half_l * 3.6
    rise = max(-half_p, min(half_p, rise))
    upright = math.sqrt(max(half_p**2 - rise**2, 0.0))
    points = []
    for angle in np.linspace(0, 2 * math.pi, 48, endpoint=False):
        lengthwise = mark.lengthwise + half_l * math.cos(angle)
        profile = mark.profile + rise * math.cos(angle) + upright * math.sin(angle)
        points.append(place(min(max(lengthwise, 0.0), 1.0), min(max(profile, 0.0), 1.0)))
    return _closed(points)


def _strips(mask: NDArray[np.float64], place: _Place) -> str:
    """The marked area, joined from column to column where the marked stretches overlap."""
    n, m = mask.shape
    columns = [_runs(column) for column in mask]
    parts = []
    for index, (here, there) in enumerate(pairwise(columns)):
        left, right = index / (n - 1), (index + 1) / (n - 1)
        for low, high in here:
            for next_low, next_high in there:
                if next_low <= high and low <= next_high:
                    corners = [(left, low), (right, next_low), (right, next_high), (left, high)]
                    parts.append(_closed([place(at, height / (m - 1)) for at, height in corners]))
    return "".join(parts)


def _runs(values: NDArray[np.float64]) -> list[tuple[float, float]]:
    """Stretches where the values are above a half, their ends interpolated, in steps."""
    inside = np.concatenate([[False], values > 0.5, [False]])
    starts = np.flatnonzero(inside[1:] & ~inside[:-1])
    ends = np.flatnonzero(inside[:-1] & ~inside[1:]) - 1
    runs = []
    for start, end in zip(starts, ends, strict=True):
        low, high = float(start), float(end)
        if start > 0:
            low -= (values[start] - 0.5) / (values[start] - values[start - 1])
        if end < len(values) - 1:
            high += (values[end] - 0.5) / (values[end] - values[end + 1])
        runs.append((low, high))
    return runs


def _closed(points: list[tuple[float, float]]) -> str:
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points) + "Z"


def _words(side: Side, mark: Drawable) -> str:
    if mark is None or (isinstance(mark, SideMark) and not mark.area > 0):
        return f"{side.capitalize()} side: no mark."
    return (
        f"{side.capitalize()} side: mark centred {mark.lengthwise:.0%} of the way from toe to heel "
        f"and {mark.profile:.0%} from root to tip."
    )
