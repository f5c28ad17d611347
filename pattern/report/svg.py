"""The few SVG shapes the charts are made of. Points are (x, y) in the drawing's own units, y down."""

from __future__ import annotations

from collections.abc import Iterable
from xml.sax.saxutils import escape, quoteattr

from pattern.report.look import FONT

Point = tuple[float, float]


def drawing(width: float, height: float, spoken: str, parts: Iterable[str]) -> str:
    """A whole SVG; `spoken` is what a screen reader says of it."""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" '
        f'width="{width:g}" height="{height:g}" role="img" aria-label={quoteattr(spoken)}>'
        + "".join(parts)
        + "</svg>"
    )


def text(
    at: Point, words: str, size: float, colour: str, anchor: str = "start", *, bold: bool = False
) -> str:
    """Words with their baseline at `at`."""
    weight = ' font-weight="bold"' if bold else ""
    return (
        f'<text x="{at[0]:.1f}" y="{at[1]:.1f}" font-family="{FONT}" font-size="{size:g}" '
        f'fill="{colour}" text-anchor="{anchor}"{weight}>{escape(words)}</text>'
    )


def line(points: Iterable[Point], colour: str, width: float = 1.0, dashes: str = "") -> str:
    """An open line through points."""
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return f'<path d="M{_joined(points)}" fill="none" stroke="{colour}" stroke-width="{width:g}"{dashed}/>'


def area(
    points: Iterable[Point],
    fill: str,
    *,
    edge: str = "none",
    opacity: float = 1.0,
    dashes: str = "",
) -> str:
    """A closed shape."""
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return (
        f'<path d="M{_joined(points)} Z" fill="{fill}" fill-opacity="{opacity:g}" stroke="{edge}" '
        f'stroke-width="1.1"{dashed}/>'
    )


def disc(at: Point, radius: float, fill: str, edge: str) -> str:
    """A filled circle."""
    return (
        f'<circle cx="{at[0]:.1f}" cy="{at[1]:.1f}" r="{radius:g}" fill="{fill}" stroke="{edge}" '
        'stroke-width="1.4"/>'
    )


def box(at: Point, half: float, fill: str, edge: str) -> str:
    """A filled square about `at`."""
    x, y = at
    corners = [
        (x - half, y - half),
        (x + half, y - half),
        (x + half, y + half),
        (x - half, y + half),
    ]
    return area(corners, fill, edge=edge)


def _joined(points: Iterable[Point]) -> str:
    return " L".join(f"{x:.1f},{y:.1f}" for x, y in points)
