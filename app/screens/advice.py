"""The advice card: the move, the shims, how sure, why; what-if; the rolls so far; filing."""

from __future__ import annotations

from html import escape

import streamlit as st

from app import calls, figures, parts, wording
from app.drafts import drop_draft, load_draft
from app.state import Units, archive, asked_roll, page_state
from app.way import go
from pattern.errors import NoCorrection
from pattern.jobs import Job
from pattern.records import Advice, Axle, Roll

WHAT_IF_IN = 0.012


def show() -> None:
    """Draw the advice for the roll in work, or as it was filed."""
    job = parts.open_job("advice")
    if job.axle is None:
        go("axle", job.id)
    number = asked_roll(len(job.rolls))
    if number <= len(job.rolls):
        filed = job.rolls[number - 1]
        _head(number)
        if filed.advice is not None:
            _card(job.axle, filed.advice, filed.roll)
            _after(job, number, filed.advice)
        return
    draft = load_draft(archive(), job.id, number)
    if not draft.photos:
        go("roll", job.id, number)
    _head(number)
    roll = calls.roll_of(draft, job.axle)
    if roll.drive is None and roll.coast is None:
        st.warning(wording.NEED_READING, icon="⚠")
        return
    axle = calls.axle_now(job.axle, draft)
    advice = _advice(job, axle, roll)
    if advice is not None:
        _card(axle, advice, roll)
    parts.cautions(advice.cautions if advice else wording.CAUTIONS)
    if parts.next_button(wording.FILE_ROLL):
        calls.file_draft(job, axle, draft, roll, advice)
        drop_draft(archive(), job.id, number)
        go("advice", job.id, number)


def _head(number: int) -> None:
    st.subheader(f"{wording.ROLL.format(number=number)}: {wording.ADVICE_HEAD}", anchor=False)


def _advice(job: Job, axle: Axle, roll: Roll) -> Advice | None:
    try:
        return calls.advice_for(job, axle, roll)
    except NoCorrection as error:
        parts.fault(error, wording.LIMIT_STANDS)
        return None


def _card(axle: Axle, advice: Advice, roll: Roll) -> None:
    units = page_state().units
    with st.container(key=f"verdict-{advice.verdict}", border=True):
        mark = wording.VERDICT_MARKS[advice.verdict]
        st.html(
            f'<p class="verdict"><span aria-hidden="true">{mark}</span> '
            f"{escape(wording.VERDICTS[advice.verdict])}</p>"
        )
        if advice.verdict == "adjust":
            st.html(_moves(advice, units) + _shims(axle, advice, units))
        if advice.chance is not None and advice.verdict in ("accept", "adjust"):
            words = wording.CHANCE_NOW if advice.verdict == "accept" else wording.CHANCE_AFTER
            st.write(words.format(chance=advice.chance))
    st.subheader(wording.NOW_AND_EXPECTED, anchor=False)
    parts.svg(calls.marks_drawing(roll, advice.expected))
    with st.expander(wording.WHY, expanded=advice.verdict != "accept"):
        for reason in advice.reasons:
            st.markdown(f"- {reason}")
        st.caption(wording.HINT_ONLY)
    with st.expander(wording.WHAT_IF):
        _what_if(axle, roll, advice)


def _moves(advice: Advice, units: Units) -> str:
    lines = []
    for move, sd, plus, minus, stays in (
        (
            advice.pinion_move_in, advice.pinion_move_sd_in,
            wording.PINION_DEEPER, wording.PINION_SHALLOWER, wording.PINION_STAYS,
        ),
        (
            advice.ring_move_in, advice.ring_move_sd_in,
            wording.RING_AWAY, wording.RING_TOWARD, wording.RING_STAYS,
        ),
    ):  # fmt: skip
        if not move:
            lines.append(f"<li>{escape(stays)}</li>")
            continue
        words = plus if move > 0 else minus
        size = figures.fine(abs(move), units)
        spread = "" if sd is None else f" <small>± {figures.fine(sd, units)}</small>"
        lines.append(f"<li>{escape(words)} <b>{size}</b>{spread}</li>")
    return f'<ul class="moves">{"".join(lines)}</ul>'


def _shims(axle: Axle, advice: Advice, units: Units) -> str:
    rows = []
    for name, now, then in (
        ("depth", axle.depth_shim_in, advice.depth_shim_in),
        ("left", axle.left_shim_in, advice.left_shim_in),
        ("right", axle.right_shim_in, advice.right_shim_in),
    ):
        if then is None or (now is not None and abs(now - then) < 5e-6):
            continue
        was = "" if now is None else f"{figures.fine(now, units)} → "
        stack = advice.shim_stack.get(name, ())
        pull = " + ".join(figures.fine(piece, units) for piece in stack)
        pieces = f"<br><small>{wording.PULL}: {pull}</small>" if pull else ""
        rows.append(
            f"<dt>{wording.SHIM_NAMES[name]}</dt><dd>{was}<b>{figures.fine(then, units)}</b>{pieces}</dd>"
        )
    return f'<dl class="shims">{"".join(rows)}</dl>' if rows else ""


@st.fragment
def _what_if(axle: Axle, roll: Roll, advice: Advice) -> None:
    units = page_state().units
    st.caption(wording.WHAT_IF_NOTE)
    reach = figures.shown(WHAT_IF_IN, units)
    step, digits = (0.001, 3) if units == "in" else (0.02, 2)
    moves = []
    for name, label, start in (
        ("pinion", wording.WHAT_IF_PINION, advice.pinion_move_in),
        ("ring", wording.WHAT_IF_RING, advice.ring_move_in),
    ):
        first = round(figures.shown(start or 0.0, units) / step) * step
        value = st.slider(
            f"{label} ({units})", -reach, reach, max(-reach, min(first, reach)), step,
            format=f"%+.{digits}f", key=f"what-if-{name}-{units}",
        )  # fmt: skip
        moves.append(figures.kept(value, units))
    expected = calls.what_if(axle, roll, *moves)
    parts.svg(calls.marks_drawing(roll, expected))
    if expected.backlash_in is not None:
        st.write(wording.WHAT_IF_BACKLASH.format(value=figures.fine(expected.backlash_in, units)))


def _after(job: Job, number: int, advice: Advice) -> None:
    """The roll is on file: which way the job goes on."""
    st.success(wording.ROLL_FILED.format(number=number), icon="✓")
    if number < len(job.rolls):
        return
    finish_first = advice.verdict in ("accept", "reject")
    following = wording.NEXT_ROLL.format(number=number + 1)
    if parts.next_button(wording.TO_FINAL if finish_first else following):
        go("final" if finish_first else "roll", job.id, None if finish_first else number + 1)
    if st.button(wording.ALSO_NEXT_ROLL if finish_first else wording.ALSO_FINAL, width="stretch"):
        go("roll" if finish_first else "final", job.id, number + 1 if finish_first else None)
