"""The outline editor: tooth sides drawn over a photo, dragged in the browser.

It knows pixels and points only. A tooth is six points in pixels of the full photo: toe-tip, middle of
the tip edge, heel-tip, heel-root, middle of the root edge, toe-root.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import streamlit as st

from app import wording

Points = tuple[tuple[float, float], ...]

_HERE = Path(__file__).parent


@dataclass(frozen=True)
class Outline:
    """A tooth's outline, who laid it, and how sure a found one is (0 to 1)."""

    points: Points
    kind: Literal["drawn", "found", "followed"]
    confidence: float = 1.0


@dataclass(frozen=True)
class Shown:
    """What Python gives the editor to show; a change comes back under its revision.

    `follow` and `without` as in `app.drafts.PhotoDraft`. Where `complete` is false the teeth that follow
    are not known (the photo was declined), and the editor keeps those it has.
    """

    teeth: tuple[Outline, ...]
    rev: int
    follow: bool = False
    without: Points = ()
    complete: bool = True


@dataclass(frozen=True)
class Drawn:
    """What the user made of it: the outlines that are theirs, and whether the others follow."""

    teeth: tuple[Points, ...]
    follow: bool
    without: Points


def in_row(teeth: Sequence[Outline]) -> tuple[Outline, ...]:
    """In the order in which they lie, along the axis of the picture over which they spread most."""
    centres = [tuple(sum(v) / len(v) for v in zip(*t.points, strict=True)) for t in teeth]
    spreads = [max(v) - min(v) for v in zip(*centres, strict=True)] or [0.0, 0.0]
    axis = 0 if spreads[0] >= spreads[1] else 1
    order = sorted(range(len(teeth)), key=lambda i: centres[i][axis])
    return tuple(teeth[i] for i in order)


def outline_editor(
    *,
    key: str,
    photo_url: str,
    size_px: tuple[int, int],
    shown: Shown,
    toe_left: bool,
    contacts: Sequence[Sequence[Sequence[float]]],
    on_change: Callable[[], None],
    on_again: Callable[[], None],
) -> None:
    """Mount the editor; `on_change` and `on_again` are called when the user drew or asked anew.

    `toe_left` says where the toe lies when the tip edge is up, for a tooth that the user adds.
    `contacts` are polygons in photo pixels, drawn but not edited.
    """
    mount = st.components.v2.component(
        "contact_pattern_outline_editor",
        html=(_HERE / "outline_editor.html").read_text("utf-8"),
        css=(_HERE / "outline_editor.css").read_text("utf-8"),
        js=(_HERE / "outline_editor.js").read_text("utf-8"),
    )
    mount(
        key=key,
        data={
            "photo": photo_url,
            "width": size_px[0],
            "height": size_px[1],
            "teeth": [
                {"points": [list(point) for point in tooth.points], "kind": tooth.kind}
                for tooth in shown.teeth
            ],
            "rev": shown.rev,
            "follow": shown.follow,
            "without": [list(point) for point in shown.without],
            "complete": shown.complete,
            "toeLeft": toe_left,
            "contacts": [[list(point) for point in polygon] for polygon in contacts],
            "words": wording.EDITOR,
        },
        on_outline_change=on_change,
        on_again_change=on_again,
    )


def drawn(value: Any, rev: int) -> Drawn | None:
    """What the browser sent, None if it was drawn on an older revision."""
    answer = (value or {}).get("outline")
    if not isinstance(answer, dict) or answer.get("rev") != rev:
        return None
    return Drawn(
        teeth=tuple(_points(tooth) for tooth in answer.get("teeth", [])),
        follow=bool(answer.get("follow")),
        without=_points(answer.get("without", [])),
    )


def _points(values: Any) -> Points:
    return tuple((float(x), float(y)) for x, y in values)
