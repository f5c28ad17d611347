"""Backlash around the ring gear, as found and at the end, against the axle's limits, as SVG."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from pattern.report import svg
from pattern.report.look import COAST, GOOD, INK, LINE, SOFT
from pattern.report.measures import Measures

WIDTH, HEIGHT = 360, 176
_LEFT, _RIGHT, _TOP, _BOTTOM = 50.0, 348.0, 42.0, 146.0

At = Callable[[float, float], svg.Point]


@dataclass(frozen=True)
class Series:
    """Readings in inches at equal steps of one turn. The final ones are drawn solid."""

    name: str
    readings_in: tuple[float, ...]
    is_final: bool = False


def backlash_chart(
    series: Sequence[Series], limits_in: tuple[float, float] | None, measures: Measures
) -> str:
    """An SVG of backlash over one turn of the ring gear; the limits are a shaded band."""
    shown = [line for line in series if line.readings_in]
    low, high = _range(shown, limits_in)

    def at(share: float, value_in: float) -> svg.Point:
        x = _LEFT + (_RIGHT - _LEFT) * share
        return x, _BOTTOM - (_BOTTOM - _TOP) * (value_in - low) / (high - low)

    parts = [svg.text((180, 16), "Backlash around the ring gear", 13, INK, "middle", bold=True)]
    if limits_in:
        corners = [
            (0.0, limits_in[0]),
            (1.0, limits_in[0]),
            (1.0, limits_in[1]),
            (0.0, limits_in[1]),
        ]
        parts.append(svg.area([at(*corner) for corner in corners], GOOD))
    parts += _axes(at, low, high, measures)
    for line in shown:
        parts += _line(at, line)
    parts += _legend(shown, has_limits=limits_in is not None)
    return svg.drawing(WIDTH, HEIGHT, _spoken(shown, measures), parts)


def _range(shown: Sequence[Series], limits_in: tuple[float, float] | None) -> tuple[float, float]:
    values = [value for line in shown for value in line.readings_in] + list(limits_in or ())
    low, high = (min(values), max(values)) if values else (0.0, 0.01)
    margin = max(0.15 * (high - low), 0.0005)
    return max(0.0, low - margin), high + margin


def _axes(at: At, low: float, high: float, measures: Measures) -> list[str]:
    parts = []
    step = next(s for s in (0.0005, 0.001, 0.002, 0.005, 0.01, 0.02, 0.05) if (high - low) / s <= 6)
    first = int(low / step) + 1
    for value in (k * step for k in range(first, int(high / step) + 1)):
        left, right = at(0.0, value), at(1.0, value)
        parts.append(svg.line([left, right], LINE, 0.6))
        parts.append(svg.text((_LEFT - 5, left[1] + 3.5), measures.number(value), 10, SOFT, "end"))
    for quarter, name in enumerate(("0°", "90°", "180°", "270°", "360°")):
        parts.append(svg.text((at(quarter / 4, low)[0], _BOTTOM + 13), name, 10, SOFT, "middle"))
    parts.append(svg.line([(_LEFT, _BOTTOM), (_RIGHT, _BOTTOM)], INK))
    parts.append(svg.text((6, 34), measures.units, 10, SOFT))
    return parts


def _line(at: At, line: Series) -> list[str]:
    count = len(line.readings_in)
    points = [at(k / count, value) for k, value in enumerate(line.readings_in)]
    around = [*points, at(1.0, line.readings_in[0])]  # the turn closes where it began
    colour = INK if line.is_final else COAST
    shape = svg.disc if line.is_final else svg.box
    dashes = "" if line.is_final else "4 2"
    marks = [shape(p, 3.2, colour if line.is_final else "#ffffff", colour) for p in points]
    return [svg.line(around, colour, 1.4, dashes), *marks]


def _legend(shown: Sequence[Series], *, has_limits: bool) -> list[str]:
    parts, x = [], _LEFT
    for line in shown:
        colour = INK if line.is_final else COAST
        shape = svg.disc if line.is_final else svg.box
        parts.append(shape((x + 4, 169), 3.2, colour if line.is_final else "#ffffff", colour))
        parts.append(svg.text((x + 12, 172.5), line.name, 10, INK))
        x += 26 + 5.6 * len(line.name)
    if has_limits:
        corners = [(x, 165), (x + 12, 165), (x + 12, 173), (x, 173)]
        parts += [svg.area(corners, GOOD), svg.text((x + 16, 172.5), "limits", 10, INK)]
    if not shown:
        parts.append(svg.text((200, 95), "no readings on record", 11, SOFT, "middle"))
    return parts


def _spoken(shown: Sequence[Series], measures: Measures) -> str:
    told = "; ".join(
        f"{line.name} {', '.join(measures.number(v) for v in line.readings_in)} {measures.units}"
        for line in shown
    )
    return f"Backlash around the ring gear: {told or 'no readings'}"
