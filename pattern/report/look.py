"""Colours and type of the printed record. Drive and coast differ in shape as well as in colour.

The blue and the orange keep apart in every common colour vision deficiency and in grey.
"""

from __future__ import annotations

INK = "#1c2630"
SOFT = "#5a6772"
LINE = "#c3cbd1"
GROUND = "#f2f4f5"
METAL = "#e3e7e9"
DRIVE = "#0b5394"
COAST = "#b45309"
GOOD = "#dcebe3"
WARN = "#7a1f1f"
FONT = "DejaVu Sans Condensed"

SIDE_COLOUR = {"drive": DRIVE, "coast": COAST}
SIDE_WORDS = {"drive": "Drive side (convex)", "coast": "Coast side (concave)"}


def rgb(colour: str) -> tuple[int, int, int]:
    """(28, 38, 48) for #1c2630."""
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)
