"""Where the pattern lay at each roll, drawn on a ring gear tooth side, as SVG."""

from __future__ import annotations

from collections.abc import Sequence
from math import cos, pi, sin

from pattern.records import SIDES, Axle, Side, SideReading
from pattern.report import svg
from pattern.report.look import INK, LINE, METAL, SIDE_COLOUR, SIDE_WORDS, SOFT

WIDTH, HEIGHT = 360, 176
_LEFT, _RIGHT = 34.0, 330.0
_ROOT_Y, _HEEL_TIP_Y = 148.0, 40.0
_TOE_DEPTH = {"tapered": 0.62, "uniform": 1.0, "unknown": 0.8}

Step = tuple[int, SideReading]


def tooth_chart(side: Side, steps: Sequence[Step], axle: Axle | None) -> str:
    """An SVG of one tooth side with a numbered centre per roll, joined in order.

    `steps` are (roll number, reading), oldest first. Bars are one standard deviation; the dashed
    outline is the extent of the newest mark; the cross is the aim. Toe left, heel right, tip up,
    whichever way the tooth leans in a photo.
    """
    tooth = _Tooth(axle.tooth_system if axle else "unknown")
    colour = SIDE_COLOUR[side]
    parts = [*_frame(tooth, side), *_aim(tooth, axle, side)]
    centres = [tooth.at(reading.lengthwise, reading.profile) for _, reading in steps]
    if steps:
        parts.append(_extent(tooth, steps[-1][1], colour))
        parts.append(svg.line(centres, colour, 1.2) if len(steps) > 1 else "")
    else:
        parts.append(svg.text((182, 108), "no reading on record", 11, SOFT, "middle"))
    for index, (number, reading) in enumerate(steps):
        parts += _centre(tooth, number, reading, side, newest=index == len(steps) - 1)
    return svg.drawing(WIDTH, HEIGHT, _spoken(side, steps), parts)


class _Tooth:
    """Tooth coordinates to the drawing: the toe is the shallower end of a tapered tooth."""

    def __init__(self, system: str) -> None:
        self._toe_depth = _TOE_DEPTH[system]

    def at(self, lengthwise: float, profile: float) -> svg.Point:
        depth = (_ROOT_Y - _HEEL_TIP_Y) * (self._toe_depth + (1 - self._toe_depth) * lengthwise)
        return _LEFT + (_RIGHT - _LEFT) * lengthwise, _ROOT_Y - depth * profile


def _frame(tooth: _Tooth, side: Side) -> list[str]:
    corners = [tooth.at(*corner) for corner in ((0, 1), (1, 1), (1, 0), (0, 0))]
    tip_y = (corners[0][1] + corners[1][1]) / 2 - 6
    return [
        svg.area(corners, METAL, edge=INK),
        svg.line([tooth.at(0, 0.5), tooth.at(1, 0.5)], LINE, dashes="2 3"),
        svg.text((180, 16), SIDE_WORDS[side], 13, SIDE_COLOUR[side], "middle", bold=True),
        svg.text((_LEFT, 166), "toe", 11, SOFT),
        svg.text((_RIGHT, 166), "heel", 11, SOFT, "end"),
        svg.text((182, 166), "root", 11, SOFT, "middle"),
        svg.text((182, tip_y), "tip", 11, SOFT, "middle"),
    ]


def _aim(tooth: _Tooth, axle: Axle | None, side: Side) -> list[str]:
    as_found = axle.target[SIDES.index(side)] if axle and axle.target else None
    x, y = tooth.at(as_found.lengthwise, as_found.profile) if as_found else tooth.at(0.5, 0.5)
    return [
        svg.line([(x - 11, y), (x + 11, y)], INK, dashes="3 2"),
        svg.line([(x, y - 11), (x, y + 11)], INK, dashes="3 2"),
    ]


def _extent(tooth: _Tooth, reading: SideReading, colour: str) -> str:
    if reading.length is None or reading.width is None:
        return ""
    turns = [2 * pi * k / 36 for k in range(36)]
    along = [_on_tooth(reading.lengthwise + reading.length / 2 * cos(t)) for t in turns]
    up = [_on_tooth(reading.profile + reading.width / 2 * sin(t)) for t in turns]
    ring = [tooth.at(*point) for point in zip(along, up, strict=True)]
    return svg.area(ring, colour, edge=colour, opacity=0.12, dashes="4 2")


def _on_tooth(share: float) -> float:
    return min(max(share, 0.0), 1.0)


def _centre(
    tooth: _Tooth, number: int, reading: SideReading, side: Side, *, newest: bool
) -> list[str]:
    colour = SIDE_COLOUR[side]
    at, l_sd, p_sd = tooth.at, reading.lengthwise_sd, reading.profile_sd
    x, y = at(reading.lengthwise, reading.profile)
    (left, _), (right, _) = (at(reading.lengthwise + s * l_sd, reading.profile) for s in (-1, 1))
    (_, low), (_, high) = (at(reading.lengthwise, reading.profile + s * p_sd) for s in (-1, 1))
    fill, ink = (colour, "#ffffff") if newest else ("#ffffff", colour)
    shape = svg.disc if side == "drive" else svg.box
    return [
        svg.line([(left, y), (right, y)], colour),
        svg.line([(x, low), (x, high)], colour),
        shape((x, y), 7.2, fill, colour),
        svg.text((x, y + 3.6), str(number), 10, ink, "middle", bold=True),
    ]


def _spoken(side: Side, steps: Sequence[Step]) -> str:
    told = "; ".join(
        f"roll {number} at {r.lengthwise:.2f} from the toe and {r.profile:.2f} from the root"
        for number, r in steps
    )
    return f"{SIDE_WORDS[side]}: {told or 'no reading'}"
