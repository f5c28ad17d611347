"""A test roll: photos of both sides, the backlash, and what was moved since the roll before."""

from __future__ import annotations

from typing import Literal

import streamlit as st

from app import calls, figures, parts, wording
from app.drafts import PhotoDraft, RollDraft, changed_draft, start_draft
from app.plain_text import plain
from app.state import archive, asked_roll, forget_upload, page_state
from app.way import address, go, page
from pattern.errors import InvalidOutline, PatternError, UnreadablePhoto
from pattern.jobs import FiledRoll, Job
from pattern.records import SIDES, Axle, Reading, Side

TYPES = ["image/*", ".heic", ".heif", ".tif", ".tiff", ".webp"]


def show() -> None:
    """Draw the roll in work, or one on file."""
    job = parts.open_job("roll")
    if job.axle is None:
        go("axle", job.id)
    number = asked_roll(len(job.rolls))
    _rolls_so_far(job, number)
    st.subheader(wording.ROLL.format(number=number), anchor=False)
    if number <= len(job.rolls):
        _filed(job.rolls[number - 1])
        _strike(job, job.rolls[number - 1])
        return
    last = job.standing_rolls[-1] if job.standing_rolls else None
    draft = start_draft(archive(), job.id, number, last)
    _kind(job, number, draft)
    if number > 1:
        _moves(job, number, draft)
    _guide()
    columns = st.columns(2)
    readings: list[Reading | None] = []
    for column, side in zip(columns, SIDES, strict=True):
        with column:
            readings += _side(job, job.axle, number, draft, side)
    _backlash(job, number, draft)
    _next(job, number, readings)


def _rolls_so_far(job: Job, number: int) -> None:
    if not job.rolls:
        return
    with st.container(horizontal=True, gap="small", key="rolls"):
        for k in range(1, len(job.rolls) + 2):
            state = wording.FILED if k <= len(job.rolls) else wording.IN_WORK
            label = f"{wording.ROLL.format(number=k)}, {state}"
            if k != number:
                st.page_link(page("roll"), label=label, query_params=address(job.id, k))


def _filed(roll: FiledRoll) -> None:
    columns = st.columns(2)
    for column, side in zip(columns, SIDES, strict=True):
        with column:
            st.markdown(f"**{wording.SIDE_NAMES[side]}**")
            for photo in roll.photos:
                if photo.side == side:
                    st.image(
                        calls.overlay(photo.sha256, photo.name, photo.best),
                        width="stretch",
                        alt=f"{wording.SIDE_NAMES[side]}: {photo.name}",
                    )
                    parts.reading_line(photo.best)
    if roll.roll.backlash_in is not None:
        backlash = page_state().measures.length(roll.roll.backlash_in)
        st.write(f"{wording.BACKLASH}: **{backlash}**")


def _strike(job: Job, roll: FiledRoll) -> None:
    """A roll that was no good stays on record but is left out of the advice."""
    if roll.struck:
        st.warning(f"⚠ {wording.STRUCK.format(reason=plain(roll.struck))}")
        if st.button(wording.UNSTRIKE, width="stretch"):
            archive().edit_roll(job.id, roll.number, struck="")
            st.rerun()
        return
    with st.expander(wording.STRIKE):
        reason = st.text_input(wording.STRIKE_REASON, key=f"{job.id}:{roll.number}:strike")
        if st.button(wording.STRIKE_DO, disabled=not reason, width="stretch"):
            archive().edit_roll(job.id, roll.number, struck=reason)
            st.rerun()


def _kind(job: Job, number: int, draft: RollDraft) -> None:
    """The first roll may be the pattern as found, a later one the last check."""
    key = f"{job.id}:{number}:kind"

    def keep() -> None:
        with changed_draft(archive(), job.id, number) as roll:
            roll.kind = st.session_state[key]

    kinds = ("roll", "as_found" if number == 1 else "final")
    st.segmented_control(
        wording.ROLL_KIND, kinds, default=draft.kind, key=key, required=True, on_change=keep,
        format_func=wording.ROLL_KINDS.__getitem__,
    )  # fmt: skip


def _moves(job: Job, number: int, draft: RollDraft) -> None:
    with st.container(border=True):
        st.markdown(f"**{wording.MOVED}**")
        st.caption(wording.MOVED_NOTE)
        for field, label, ways in (
            ("pinion_move_in", wording.PINION_MOVE, wording.PINION_WAYS),
            ("ring_move_in", wording.RING_MOVE, wording.RING_WAYS),
        ):
            _move(job, number, field, label, ways, getattr(draft, field))


def _move(
    job: Job, number: int, field: str, label: str, ways: dict[str, str], move_in: float | None
) -> None:
    """A move is a direction and a size, never a bare sign: a wrong sign is the worst entry."""
    units = page_state().units
    stay, plus, minus = ways
    name = f"{job.id}:{number}:{field}"
    way_key, size_key = f"{name}:way", f"{name}:size:{units}"
    way = stay if not move_in else plus if move_in > 0 else minus

    def keep() -> None:
        size_in = figures.kept(st.session_state[size_key] or 0.0, units)
        sign = {stay: 0.0, plus: 1.0, minus: -1.0}[st.session_state[way_key]]
        with changed_draft(archive(), job.id, number) as roll:
            setattr(roll, field, sign * size_in)

    first, second = st.columns([3, 2], vertical_alignment="bottom")
    with first:
        chosen = st.segmented_control(
            label, list(ways), default=way, key=way_key, required=True, format_func=ways.__getitem__,
            on_change=keep, width="stretch", wrap=True,
        )  # fmt: skip
    step, digits = figures.step(units)
    with second:
        st.number_input(
            f"{label} {wording.BY} ({units})", 0.0, figures.shown(0.15, units),
            figures.shown(abs(move_in or 0.0), units), step=step, format=f"%.{digits}f",
            key=size_key, on_change=keep, disabled=chosen == stay,
        )  # fmt: skip


def _guide() -> None:
    with st.expander(wording.GUIDE):
        parts.photo_guide()
        st.write(wording.GUIDE_TEXT)


def _side(job: Job, axle: Axle, number: int, draft: RollDraft, side: Side) -> list[Reading | None]:
    st.markdown(f"**{wording.SIDE_NAMES[side]}**: {wording.SIDE_HELP[side]}")
    _upload(job, number, side)
    found = []
    for photo in draft.of_side(side):
        with st.container(border=True, key=f"photo-{side}-{photo.sha256[:12]}"):
            found.append(_photo(job, axle, number, photo))
    return found


def _upload(job: Job, number: int, side: Side) -> None:
    """Photos go into the archive at once; the uploader is renewed so that it holds no bytes."""
    count = page_state().uploads
    name = f"{job.id}:{number}:{side}"
    key = f"upload:{name}:{count.get(name, 0)}"
    files = st.file_uploader(wording.UPLOAD[side], TYPES, accept_multiple_files=True, key=key)
    for message in page_state().refused.get(name, []):
        st.error(f"⚠ {plain(message)}")
    if not files:
        return
    progress = st.progress(0.0)
    refused = []
    for done, file in enumerate(files):
        progress.progress(done / len(files), wording.KEEPING.format(name=plain(file.name)))
        try:
            kept = calls.keep_photo(file.getvalue(), file.name, side)
        except UnreadablePhoto as error:
            refused.append(error.message)
            continue
        finally:
            forget_upload(file)
        with changed_draft(archive(), job.id, number) as roll:
            roll.add(kept)
    page_state().refused[name] = refused
    count[name] = count.get(name, 0) + 1
    st.rerun()


def _read(photo: PhotoDraft, axle: Axle) -> Reading | None:
    """Draw the reading; a fault on one photo is said there and leaves the others alone."""
    try:
        with st.spinner(wording.READING_NOW.format(name=plain(photo.name))):
            reading = calls.read_draft(photo, axle.hand)
            picture = calls.overlay(photo.sha256, photo.name, reading)
    except InvalidOutline as error:
        parts.fault(error)
        return None
    except (PatternError, MemoryError):
        raise
    except Exception:
        calls.LOG.exception("%s could not be read", photo.name)
        st.error(f"⚠ {wording.READ_FAILED.format(name=plain(photo.name))}")
        return None
    st.image(picture, width="stretch", alt=f"{wording.SIDE_NAMES[photo.side]}: {photo.name}")
    parts.reading_line(reading)
    return reading


def _photo(job: Job, axle: Axle, number: int, photo: PhotoDraft) -> Reading | None:
    reading = _read(photo, axle)
    other: Side = "coast" if photo.side == "drive" else "drive"
    key = f"{job.id}:{number}:{photo.side}:{photo.sha256[:12]}"
    with st.container(horizontal=True, gap="small", vertical_alignment="center"):
        is_read = reading is not None and reading.status == "read"
        label = wording.CHECK_OUTLINE if is_read else wording.DRAW_OUTLINE
        st.page_link(
            page("outline"), label=label,
            query_params=address(job.id, number, f"{photo.side}-{photo.sha256[:16]}"),
        )  # fmt: skip
        reasons = reading.reasons if reading else ()
        swapped = any(reason.code == "wrong_side" for reason in reasons)
        kind: Literal["primary", "secondary"] = "primary" if swapped else "secondary"
        if st.button(wording.OTHER_SIDE[other], key=f"other:{key}", type=kind):
            with changed_draft(archive(), job.id, number) as roll:
                roll.change(photo, side=other, outlines=None, follow=False, without=())
            st.rerun()
        if st.button(wording.REMOVE_PHOTO, key=f"remove:{key}"):
            with changed_draft(archive(), job.id, number) as roll:
                roll.remove(photo)
            st.rerun()
    return reading


def _backlash(job: Job, number: int, draft: RollDraft) -> None:
    units = page_state().units
    key, dial_key = f"{job.id}:{number}:backlash:{units}", f"{job.id}:{number}:dial"
    shown = None if draft.backlash_in is None else figures.shown(draft.backlash_in, units)

    def keep() -> None:
        value = st.session_state[key]
        with changed_draft(archive(), job.id, number) as roll:
            roll.backlash_in = None if value is None else figures.kept(value, units)
            roll.dial = st.session_state[dial_key]

    first, second = st.columns([2, 3], vertical_alignment="bottom")
    step, digits = figures.step(units)
    with first:
        st.number_input(
            f"{wording.BACKLASH} ({units})", 0.0, figures.shown(0.1, units), shown, step=step,
            format=f"%.{digits}f", key=key, on_change=keep,
        )  # fmt: skip
    with second:
        st.segmented_control(
            wording.DIAL, list(wording.DIALS), default=draft.dial, key=dial_key, required=True, on_change=keep,
            format_func=wording.DIALS.__getitem__, help=wording.DIAL_HELP, width="stretch",
        )  # fmt: skip


def _next(job: Job, number: int, readings: list[Reading | None]) -> None:
    if not readings:
        st.caption(wording.NEED_PHOTO)
    elif not any(reading and reading.status == "read" for reading in readings):
        st.caption(wording.NEED_READING)
    if parts.next_button(wording.NEXT_OUTLINE, disabled=not readings):
        go("outline", job.id, number)
