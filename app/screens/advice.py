"""The advice card: the move, the shims, how sure, why; the pattern now and expected; filing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from html import escape

import streamlit as st

from app import calls, parts, wording
from app.calls import Step
from app.drafts import drop_draft, load_draft
from app.screens.what_if import what_if
from app.state import archive, asked_roll, page_state
from app.way import go
from pattern.errors import NoCorrection
from pattern.jobs import Job
from pattern.records import SIDES, Advice, Axle, Roll, Side
from pattern.setup.units import told_in


def show() -> None:
    """Draw the advice for the roll in work, or as it was filed."""
    job = parts.open_job("advice")
    if job.axle is None:
        go("axle", job.id)
    number = asked_roll(len(job.rolls))
    if "roll" not in st.query_params and not load_draft(archive(), job.id, number).photos:
        number = max(1, len(job.rolls))
    if number <= len(job.rolls):
        _on_file(job, job.axle, number)
    else:
        _in_work(job, job.axle, number)


def _on_file(job: Job, axle: Axle, number: int) -> None:
    filed = job.rolls[number - 1]
    _head(number)
    if filed.advice is not None:
        before = replace(job, rolls=job.rolls[:number])
        _card(calls.present_axle(before), filed.advice)
        _drawings(job, axle, number, filed.roll, filed.advice)
        _why(filed.advice)
        _what_if(job, axle, number, filed.roll, filed.advice)
    _onward(job, number, filed.advice)


def _in_work(job: Job, axle: Axle, number: int) -> None:
    draft = load_draft(archive(), job.id, number)
    if not draft.photos:
        go("roll", job.id, number)
    _head(number)
    roll = calls.roll_of(draft, axle)
    if roll.drive is None and roll.coast is None:
        st.warning(f"⚠ {wording.NEED_READING}")
        if parts.next_button(wording.BACK_TO_PHOTOS):
            go("roll", job.id, number)
        return
    axle = calls.present_axle(job, roll)
    advice = _advice(job, axle, roll)
    if advice is not None:
        _card(axle, advice)
        _drawings(job, axle, number, roll, advice)
        _why(advice)
        _what_if(job, axle, number, roll, advice)
    parts.cautions(advice.cautions if advice else wording.CAUTIONS)
    if parts.next_button(wording.FILE_ROLL):
        calls.file_draft(job, draft, roll, advice)
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


def _card(axle: Axle, advice: Advice) -> None:
    with st.container(key=f"verdict-{advice.verdict}", border=True):
        mark = wording.VERDICT_MARKS[advice.verdict]
        card = (
            f'<p class="verdict"><span aria-hidden="true">{mark}</span> '
            f"{escape(wording.VERDICTS[advice.verdict])}</p>"
        )
        if advice.verdict == "accept" and (advice.pinion_move_in or advice.ring_move_in):
            card += f'<p class="chance">{escape(wording.MAY_REFINE)}</p>'
        if advice.pinion_move_in or advice.ring_move_in:
            card += _moves(advice) + _shims(axle, advice)
        if advice.chance is not None and advice.verdict in ("accept", "adjust"):
            words = wording.CHANCE_NOW if advice.verdict == "accept" else wording.CHANCE_AFTER
            card += f'<p class="chance">{escape(words.format(chance=advice.chance))}</p>'
        st.html(card)


def _moves(advice: Advice) -> str:
    length = page_state().measures.length
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
        spread = "" if sd is None else f" <small>± {length(sd)}</small>"
        words = escape(plus if move > 0 else minus)
        lines.append(f"<li>{words} <b>{length(abs(move))}</b>{spread}</li>")
    return f'<ul class="moves">{"".join(lines)}</ul>'


def _shims(axle: Axle, advice: Advice) -> str:
    length = page_state().measures.length
    rows = []
    changes = calls.shim_changes(axle, advice)
    for name, now, then in (
        ("depth", axle.depth_shim_in, advice.depth_shim_in),
        ("left", axle.left_shim_in, advice.left_shim_in),
        ("right", axle.right_shim_in, advice.right_shim_in),
    ):
        label = escape(wording.SHIM_NAMES[name])
        if name in changes:
            words = wording.ADD if changes[name] > 0 else wording.TAKE_OUT
            rows.append(f"<dt>{label}</dt><dd>{words} <b>{length(abs(changes[name]))}</b></dd>")
        if then is None or (now is not None and abs(now - then) < 5e-6):
            continue
        was = "" if now is None else f"{length(now)} → "
        pull = " + ".join(length(piece) for piece in advice.shim_stack.get(name, ()))
        pieces = f"<br><small>{escape(wording.PULL)}: {pull}</small>" if pull else ""
        rows.append(f"<dt>{label}</dt><dd>{was}<b>{length(then)}</b>{pieces}</dd>")
    return f'<dl class="shims">{"".join(rows)}</dl>' if rows else ""


def _drawings(job: Job, axle: Axle, number: int, roll: Roll, advice: Advice) -> None:
    """The pattern over the rolls, with the expected one as the newest where a move is advised."""
    steps = [
        (filed.number, filed.roll.drive, filed.roll.coast)
        for filed in job.standing_rolls
        if filed.number < number
    ]
    steps.append((number, roll.drive, roll.coast))
    moves = advice.pinion_move_in or advice.ring_move_in
    expected = advice.expected if moves else None
    if expected is not None:
        steps.append((number + 1, expected.drive, expected.coast))
    st.subheader(wording.PROGRESS if expected is None else wording.NOW_AND_EXPECTED, anchor=False)
    if expected is not None:
        st.caption(wording.EXPECTED_NOTE.format(now=number, then=number + 1))
    drawings = calls.progress_drawings(axle, steps)
    for column, side, drawing in zip(st.columns(2), SIDES, drawings, strict=True):
        with column:
            parts.svg(drawing, side, f"{wording.SIDE_NAMES[side]}: {_told(side, steps)}")


def _told(side: Side, steps: Sequence[Step]) -> str:
    """The drawing in words."""
    marks = [(number, drive if side == "drive" else coast) for number, drive, coast in steps]
    return "; ".join(
        wording.MARK_TOLD.format(number=number, lengthwise=mark.lengthwise, profile=mark.profile)
        for number, mark in marks
        if mark is not None
    )


def _why(advice: Advice) -> None:
    with st.expander(wording.WHY, expanded=advice.verdict != "accept"):
        told = (told_in(reason, page_state().units) for reason in advice.reasons)
        items = "".join(f"<li>{escape(reason)}</li>" for reason in told)
        st.html(f'<ul class="why">{items}</ul>')
        st.caption(wording.HINT_ONLY)


def _what_if(job: Job, axle: Axle, number: int, roll: Roll, advice: Advice) -> None:
    """Drawn only when opened: the first fit takes a moment."""
    if st.toggle(wording.WHAT_IF, key=f"open-what-if:{number}"):
        earlier = [filed.roll for filed in job.standing_rolls if filed.number < number]
        what_if(axle, number, [*earlier, roll], advice)


def _onward(job: Job, number: int, advice: Advice | None) -> None:
    """The roll is on file: which way the job goes on."""
    st.success(f"✓ {wording.ROLL_FILED.format(number=number)}")
    if number < len(job.rolls):
        return
    finish_first = advice is not None and advice.verdict in ("accept", "reject")
    moved = advice is not None and bool(advice.pinion_move_in or advice.ring_move_in)
    following = (wording.NEXT_ROLL if moved else wording.NEXT_ROLL_UNMOVED).format(
        number=number + 1
    )
    if st.button(wording.ALSO_NEXT_ROLL if finish_first else wording.ALSO_FINAL, width="stretch"):
        go("roll" if finish_first else "final", job.id, number + 1 if finish_first else None)
    if parts.next_button(wording.TO_FINAL if finish_first else following):
        go("final" if finish_first else "roll", job.id, None if finish_first else number + 1)
