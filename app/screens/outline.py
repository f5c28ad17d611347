"""Check the outline of each photo, drag it where it is wrong, see the reading change."""

from __future__ import annotations

import streamlit as st

from app import calls, parts, wording
from app.components.outline_editor import Shown, drawn, outline_editor
from app.drafts import PhotoDraft, RollDraft, changed_draft, load_draft
from app.plain_text import plain
from app.state import archive, asked_roll, page_state
from app.way import go
from pattern.errors import InvalidOutline, PatternError
from pattern.jobs import Job
from pattern.records import Axle, Reading


def show() -> None:
    """Draw the editor for one photo of the roll in work."""
    job = parts.open_job("outline")
    if job.axle is None:
        go("axle", job.id)
    number = asked_roll(len(job.rolls))
    draft = load_draft(archive(), job.id, number)
    if number <= len(job.rolls) or not draft.photos:
        go("roll", job.id, number)
    st.subheader(wording.OUTLINE_HEAD, anchor=False)
    st.write(wording.OUTLINE_INTRO)
    photo = _chosen(job, number, draft)
    _edit(job, job.axle, number, photo)
    if parts.next_button(wording.NEXT_ADVICE):
        go("advice", job.id, number)


def _chosen(job: Job, number: int, draft: RollDraft) -> PhotoDraft:
    """The photo in the address, or the first."""
    photos = draft.in_order()
    names = {}
    for photo in photos:
        place = draft.of_side(photo.side).index(photo) + 1
        names[_name(photo)] = f"{wording.SIDE_NAMES[photo.side]} {place}"
    key = f"{job.id}:{number}:{'+'.join(names)}"
    asked = st.query_params.get("photo", "")

    def keep() -> None:
        st.query_params["photo"] = st.session_state[key]

    chosen = st.segmented_control(
        wording.PHOTO, list(names), default=asked if asked in names else next(iter(names)),
        key=key, required=True, on_change=keep, format_func=names.__getitem__,
        label_visibility="collapsed",
    )  # fmt: skip
    return next((photo for photo in photos if _name(photo) == chosen), photos[0])


def _name(photo: PhotoDraft) -> str:
    return f"{photo.side}-{photo.sha256[:16]}"


@st.fragment
def _edit(job: Job, axle: Axle, number: int, photo: PhotoDraft) -> None:
    """A fragment: a drag redraws the editor and the reading, not the whole page."""
    draft = load_draft(archive(), job.id, number)
    photo = next((p for p in draft.photos if _name(p) == _name(photo)), photo)
    name = f"{job.id}:{number}:{_name(photo)}"
    page = page_state()
    reading, fault = _read(photo, axle)
    teeth = calls.editable(photo, reading)
    complete = not photo.follow or (reading is not None and reading.status == "read")
    key = f"editor:{name}"

    def keep() -> None:
        answer = drawn(st.session_state.get(key), page.rev(name))
        if answer is not None:
            with changed_draft(archive(), job.id, number) as roll:
                roll.redraw(photo, answer.teeth or None, answer.follow, answer.without)

    def again() -> None:
        with changed_draft(archive(), job.id, number) as roll:
            roll.redraw(photo, None)
        page.raise_rev(name)

    left, right = st.columns([3, 2])
    with left:
        outline_editor(
            key=key,
            photo_url=calls.photo_url(photo.sha256, photo.name),
            size_px=calls.size_px(photo.sha256, photo.name),
            shown=Shown(teeth, page.rev(name), photo.follow, photo.without, complete),
            toe_left=calls.toe_is_left(photo.side, axle.hand),
            contacts=[] if reading is None else [t.contact.tolist() for t in reading.teeth],
            on_change=keep,
            on_again=again,
        )
    with right:
        st.caption(wording.BY_HAND if photo.outlines is not None else wording.AUTOMATIC)
        if fault is not None:
            parts.fault(fault)
        elif reading is not None:
            parts.reading_line(reading)
        parts.tooth_list(teeth)


def _read(photo: PhotoDraft, axle: Axle) -> tuple[Reading | None, InvalidOutline | None]:
    if photo.outlines == ():
        return None, None
    try:
        return calls.read_draft(photo, axle.hand), None
    except InvalidOutline as error:
        return None, error
    except (PatternError, MemoryError):
        raise
    except Exception:
        calls.LOG.exception("%s could not be read", photo.name)
        st.error(f"⚠ {wording.READ_FAILED.format(name=plain(photo.name))}")
        return None, None
