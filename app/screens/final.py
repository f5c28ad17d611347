"""The final sheet and the report."""

from __future__ import annotations

from dataclasses import asdict
from typing import Literal

import streamlit as st

from app import calls, parts, wording
from app.forms import DraftForm, save
from app.state import archive, page_state
from pattern.errors import InvalidInput
from pattern.jobs import FinalSheet, Job


def show() -> None:
    """Draw the sheet and the report's button."""
    job = parts.open_job("final")
    st.subheader(wording.FINAL_HEAD, anchor=False)
    if not job.rolls:
        st.info(wording.NO_ROLL_YET)
    _last_roll(job)
    if job.status == "done":
        st.success(f"✓ {wording.FINISHED}")
    st.write(wording.FINAL_INTRO)
    sheet = DraftForm(archive(), job.id, "final", _on_record(job), job.version)
    _fields(sheet)
    parts.cautions()
    if job.status == "done":
        if st.button(wording.REOPEN, width="stretch"):
            archive().edit(job.id, status="open")
            st.rerun()
        with parts.next_bar():
            _report(job, "primary")
    else:
        _report(job, "secondary")
        if job.rolls and sheet.is_begun:
            st.caption(wording.REPORT_BEFORE)
        if parts.next_button(wording.FINISH):
            _finish(job, sheet)


def _last_roll(job: Job) -> None:
    """Say so where the last roll's advice was anything but to leave the set as it is."""
    last = job.standing_rolls[-1] if job.standing_rolls else None
    if last is not None and last.advice is not None and last.advice.verdict != "accept":
        verdict = wording.VERDICTS[last.advice.verdict]
        st.warning(f"⚠ {wording.NOT_RIGHT_YET.format(number=last.number, verdict=verdict)}")


def _fields(sheet: DraftForm) -> None:
    sheet.readings("backlash_in", wording.FINAL_BACKLASH, wording.READINGS_HINT)
    sheet.choice("dial", wording.DIAL, wording.DIALS, wording.DIAL_HELP)
    columns = st.columns(3)
    with columns[0]:
        sheet.length("depth_shim_in", wording.SHIM_NAMES["depth"], 1.0)
    with columns[1]:
        sheet.length("left_shim_in", wording.SHIM_NAMES["left"], 2.0)
    with columns[2]:
        sheet.length("right_shim_in", wording.SHIM_NAMES["right"], 2.0)
    left, right = st.columns(2)
    with left:
        sheet.number("rotating_torque_lbf_in", wording.ROTATING_TORQUE, 200.0)
        sheet.text("threadlocker", wording.THREADLOCKER)
    with right:
        sheet.length("case_preload_in", wording.CASE_PRELOAD, 0.1)
        sheet.text("checked_by", wording.CHECKED_BY)
    sheet.notes("notes", wording.NOTES)


def _on_record(job: Job) -> dict[str, object]:
    """The sheet as it stands; the shims that are in the axle now are filled in."""
    kept = asdict(job.final) | {"backlash_in": list(job.final.backlash_in)}
    if job.axle is not None:
        try:
            now = calls.present_axle(job)
        except InvalidInput as error:  # moves and shims contradict each other: nothing to fill in
            parts.fault(error)
            return kept
        for name in ("depth_shim_in", "left_shim_in", "right_shim_in"):
            kept[name] = getattr(now, name) if kept[name] is None else kept[name]
    return kept


def _finish(job: Job, sheet: DraftForm) -> None:
    known = {k: v for k, v in sheet.values.items() if k in FinalSheet.__dataclass_fields__}
    known |= {"backlash_in": tuple(sheet.values["backlash_in"] or ()), "torques": job.final.torques}
    try:
        final = FinalSheet(**known)
    except InvalidInput as error:
        parts.fault(error)
        return
    if save(archive(), job, [sheet], final=final, status="done"):
        st.rerun()


def _report(job: Job, kind: Literal["primary", "secondary"]) -> None:
    """Make the record, then hand it out, as long as it is that of the job as it stands."""
    if not job.rolls:
        return
    key, made_of = f"report:{job.id}", (job.version, page_state().units)
    made, pdf = st.session_state.get(key, (None, b""))
    if made == made_of:
        st.download_button(
            wording.REPORT, pdf, f"{job.id}.pdf", "application/pdf",
            width="stretch", on_click="ignore", type=kind,
        )  # fmt: skip
    elif st.button(wording.MAKE_REPORT, key=f"make-{key}", width="stretch", type=kind):
        with st.spinner(wording.MAKE_REPORT):
            st.session_state[key] = (made_of, calls.report(job, page_state().units))
        st.rerun()
