"""The outline editor: tooth sides drawn over a photo, dragged in the browser.

It knows pixels and points only. A tooth is six points in pixels of the full photo: toe-tip, middle of
the tip edge, heel-tip, heel-root, middle of the root edge, toe-root.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import streamlit as st

from app import wording

Points = tuple[tuple[float, float], ...]

_HERE = Path(__file__).parent


@dataclass(frozen=True)
class Outlines:
    """Tooth outlines and the revision that Python gave them; a change comes back under it."""

    teeth: tuple[Points, ...]
    rev: int


def outline_editor(
    *,
    key: str,
    photo_url: str,
    size_px: tuple[int, int],
    shown: Outlines,
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
            "teeth": [[list(point) for point in tooth] for tooth in shown.teeth],
            "rev": shown.rev,
            "toeLeft": toe_left,
            "contacts": [[list(point) for point in polygon] for polygon in contacts],
            "words": wording.EDITOR,
        },
        on_outline_change=on_change,
        on_again_change=on_again,
    )


def drawn(value: Any, rev: int) -> tuple[Points, ...] | None:
    """The outlines that the browser sent, None if they were drawn on an older revision."""
    answer = (value or {}).get("outline")
    if not isinstance(answer, dict) or answer.get("rev") != rev:
        return None
    teeth = answer.get("teeth", [])
    return tuple(tuple((float(x), float(y)) for x, y in tooth) for tooth in teeth)
