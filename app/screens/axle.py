"""The axle and the as-found sheet: what has to be known before the first roll."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import streamlit as st

from app import calls, parts, wording
from app.forms import DraftForm, save
from app.state import archive, page_state
from app.way import go
from pattern.errors import InvalidInput
from pattern.jobs import AsFound, Job
from pattern.records import Axle

NEEDED = {
    "ring_teeth": wording.RING_TEETH,
    "pinion_teeth": wording.PINION_TEETH,
    "ring_diameter_in": wording.DIAMETER,
}
USUAL: dict[str, Any] = {
    "tooth_system": "unknown",
    "depth_shim": "unknown",
    "condition": "new",
    "backlash_min_in": 0.006,
    "backlash_max_in": 0.010,
    "side_adjusters": "shims",
    "ring_gear_side": "left",
    "hand": "right",
    "position": "rear",
    "rotation": "standard",
}


def show() -> None:
    """Draw the sheet."""
    job = parts.open_job("axle")
    on_record = USUAL | (asdict(job.axle) if job.axle else {})
    form = DraftForm(archive(), job.id, "axle", on_record, job.version)
    sheet = DraftForm(archive(), job.id, "as-found", _as_found_on_record(job), job.version)
    names = DraftForm(
        archive(), job.id, "names", {"customer": job.customer, "vehicle": job.vehicle}, job.version
    )
    left, right = st.columns(2)
    with left:
        names.text("customer", wording.CUSTOMER)
    with right:
        names.text("vehicle", wording.VEHICLE)
    st.subheader(wording.AXLE_HEAD, anchor=False)
    _set(form)
    _direction(form)
    _limits(form)
    _shims(form)
    with st.expander(wording.MORE_AXLE):
        _more(form)
    with st.expander(wording.DRAWER):
        _drawer()
    with st.expander(wording.AS_FOUND, expanded=form.values["condition"] == "used"):
        _as_found(sheet)
    missing = [name for field, name in NEEDED.items() if not form.values.get(field)]
    if missing:
        st.caption(wording.MUST_FILL.format(fields=", ".join(missing)))
    if parts.next_button(wording.TO_PHOTOS, disabled=bool(missing)):
        _save(job, form, sheet, names)


def _set(form: DraftForm) -> None:
    first, second, third = st.columns(3)
    with first:
        ring = form.count("ring_teeth", wording.RING_TEETH, 1, 120)
    with second:
        pinion = form.count("pinion_teeth", wording.PINION_TEETH, 1, 60)
    with third:
        form.length("ring_diameter_in", wording.DIAMETER, 40.0, coarse=True)
    if ring and pinion:
        st.caption(wording.RATIO.format(ratio=ring / pinion))
        for remark in calls.tooth_count_remarks(ring, pinion):
            st.caption(f"! {remark}")


def _direction(form: DraftForm) -> None:
    form.choice(
        "tooth_system", wording.TOOTH_SYSTEM, wording.TOOTH_SYSTEMS, wording.TOOTH_SYSTEM_HELP
    )
    form.choice("depth_shim", wording.DEPTH_SHIM, wording.DEPTH_SHIMS, wording.DEPTH_SHIM_HELP)
    form.choice("condition", wording.CONDITION, wording.CONDITIONS, wording.CONDITION_HELP)


def _limits(form: DraftForm) -> None:
    st.markdown(f"**{wording.LIMITS}**")
    low, high = st.columns(2)
    with low:
        form.length("backlash_min_in", wording.LIMIT_LOW, 0.1)
    with high:
        form.length("backlash_max_in", wording.LIMIT_HIGH, 0.1)
    usual = (USUAL["backlash_min_in"], USUAL["backlash_max_in"])
    if (form.values["backlash_min_in"], form.values["backlash_max_in"]) == usual:
        st.caption(wording.LIMITS_NOTE)


def _shims(form: DraftForm) -> None:
    st.markdown(f"**{wording.SHIMS}**")
    st.caption(wording.SHIMS_NOTE)
    columns = st.columns(3)
    with columns[0]:
        form.length("depth_shim_in", wording.DEPTH_SHIM_NOW, 1.0)
    with columns[1]:
        form.length("left_shim_in", wording.LEFT_SHIM, 2.0)
    with columns[2]:
        form.length("right_shim_in", wording.RIGHT_SHIM, 2.0)
    form.choice("ring_gear_side", wording.RING_SIDE, wording.RING_SIDES, wording.RING_SIDE_HELP)


def _more(form: DraftForm) -> None:
    form.choice("side_adjusters", wording.SIDE_SETTING, wording.SIDE_SETTINGS)
    if form.values["side_adjusters"] == "threaded":
        form.length("notch_in", wording.NOTCH, 0.1)
    form.choice("position", wording.POSITION, wording.POSITIONS)
    form.choice("rotation", wording.ROTATION, wording.ROTATIONS)
    form.choice("hand", wording.HAND, wording.HANDS, wording.HAND_HELP)
    columns = st.columns(3)
    with columns[0]:
        form.length("face_width_in", wording.FACE_WIDTH, 10.0, coarse=True)
    with columns[1]:
        form.length("offset_in", wording.OFFSET, 8.0, coarse=True)
    with columns[2]:
        form.length("cutter_radius_in", wording.CUTTER, 20.0, coarse=True)


def _drawer() -> None:
    """The shop's shims, the same for every job."""
    kit = DraftForm(archive(), "", calls.KIT, {"unit": page_state().units})
    st.write(wording.DRAWER_NOTE)
    if kit.values["unit"] != page_state().units and not (
        kit.values.get("depth") or kit.values.get("side")
    ):
        kit.put("unit", page_state().units)
    kit.readings("depth", wording.DRAWER_DEPTH, wording.DRAWER_DEPTH_HINT)
    kit.readings("side", wording.DRAWER_SIDE, wording.DRAWER_SIDE_HINT)


def _as_found(sheet: DraftForm) -> None:
    sheet.readings("backlash_in", wording.AS_FOUND_BACKLASH, wording.READINGS_HINT)
    sheet.choice("dial", wording.DIAL, wording.DIALS, wording.DIAL_HELP)
    left, right = st.columns(2)
    with left:
        sheet.text("pinion_mark", wording.PINION_MARK)
        sheet.text("cap_marks", wording.CAP_MARKS)
    with right:
        sheet.text("ring_mark", wording.RING_MARK)
        sheet.count("ring_bolts", wording.BOLTS, 1, 40)
    sheet.notes("notes", wording.NOTES)


def _as_found_on_record(job: Job) -> dict[str, Any]:
    return asdict(job.as_found) | {"backlash_in": list(job.as_found.backlash_in)}


def _save(job: Job, form: DraftForm, sheet: DraftForm, names: DraftForm) -> None:
    fields = Axle.__dataclass_fields__
    given = {name: value for name, value in form.values.items() if name in fields}
    try:
        axle = Axle(**(given | {"target": job.axle.target if job.axle else None}))
        seen = {k: v for k, v in sheet.values.items() if k in AsFound.__dataclass_fields__}
        as_found = AsFound(**(seen | {"backlash_in": tuple(sheet.values["backlash_in"] or ())}))
    except InvalidInput as error:
        parts.fault(error)
        return
    if save(
        archive(), job, [form, sheet, names], axle=axle, as_found=as_found,
        customer=names.values["customer"], vehicle=names.values["vehicle"],
    ):  # fmt: skip
        go("roll", job.id, len(job.rolls) + 1)
