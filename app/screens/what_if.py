"""Two sliders, pinion and ring gear: where the marks would go. A part of the advice screen."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

import streamlit as st

from app import calls, figures, parts, wording
from app.state import page_state
from pattern.errors import InvalidInput
from pattern.records import SIDES, Advice, Axle, Roll

REACH_IN = 0.015


@st.fragment
def what_if(axle: Axle, number: int, rolls: Sequence[Roll], advice: Advice) -> None:
    """A fragment: a slider redraws the two teeth, not the page."""
    st.write(wording.WHAT_IF_NOTE)
    pinion_in = _slider("pinion", number, wording.WHAT_IF_PINION, advice.pinion_move_in)
    ring_in = _slider("ring", number, wording.WHAT_IF_RING, advice.ring_move_in)
    measures = page_state().measures
    st.html(
        '<p class="moves" role="status">'
        f"{escape(wording.PINION_MOVE)}: <b>{measures.pinion_move(pinion_in)}</b><br>"
        f"{escape(wording.RING_MOVE)}: <b>{measures.ring_move(ring_in)}</b></p>"
    )
    for system in calls.tooth_systems(axle):
        try:
            expected = calls.what_if(axle, rolls, pinion_in, ring_in, system)
        except InvalidInput as error:
            parts.fault(error)
            continue
        if len(calls.tooth_systems(axle)) > 1:
            st.markdown(f"**{wording.IF_SYSTEM[system]}**")
        if expected.backlash_in is not None and expected.backlash_in <= 0:
            st.error(f"⚠ {wording.WOULD_BIND}")
        elif expected.backlash_in is not None:
            backlash = measures.length(expected.backlash_in)
            st.write(wording.WHAT_IF_BACKLASH.format(value=backlash))
        drawings = calls.progress_drawings(
            axle,
            [
                (number, rolls[-1].drive, rolls[-1].coast),
                (number + 1, expected.drive, expected.coast),
            ],
        )
        for column, side, drawing in zip(st.columns(2), SIDES, drawings, strict=True):
            with column:
                parts.svg(drawing, f"what-if-{system}-{side}", wording.SIDE_NAMES[side])


def _slider(name: str, number: int, label: str, advised_in: float | None) -> float:
    units = page_state().units
    step, digits = (0.001, 3) if units == "in" else (0.02, 2)
    reach = round(figures.shown(REACH_IN, units) / step) * step
    start = round(figures.shown(advised_in or 0.0, units) / step) * step
    value = st.slider(
        f"{label} ({units})",
        -reach,
        reach,
        round(min(max(start, -reach), reach), digits),
        step,
        format=f"%+.{digits}f",
        key=f"what-if:{number}:{name}:{units}",
    )
    return figures.kept(value, units)
