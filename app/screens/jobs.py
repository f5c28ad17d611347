"""The list of jobs, newest first, and the way into a new one."""

from __future__ import annotations

from html import escape

import streamlit as st

from app import calls, parts, wording
from app.plain_text import plain
from app.server import phone_address, qr_svg
from app.state import archive
from app.way import address, go, page
from pattern.jobs import JobLine


def show() -> None:
    """Draw the list; open the archive on the way."""
    parts.head(wording.TITLE)
    st.write(wording.JOBS_INTRO)
    if parts.next_button(wording.NEW_JOB):
        go("axle", archive().new_job())
    words = st.text_input(
        wording.SEARCH, key="words", placeholder=wording.SEARCH_HINT, type="search", live="300ms"
    )
    older_than = st.query_params.get("older", "")
    found = archive().list_jobs(words=words or "", older_than=older_than)
    if not found.jobs:
        st.info(wording.NOTHING_FOUND.format(words=plain(words)) if words else wording.NO_JOBS)
    for line in found.jobs:
        _card(line)
    _phone()
    calls.warm()
    if found.older:
        st.page_link(
            page("jobs"), label=wording.OLDER, query_params=address() | {"older": found.older}
        )


def _phone() -> None:
    """How a phone comes to this page, when it may."""
    url = phone_address()
    if url:
        with st.expander(wording.ON_THE_PHONE):
            st.write(wording.ON_THE_PHONE_TEXT.format(url=url))
            parts.svg(qr_svg(url), "qr", url)


def _card(line: JobLine) -> None:
    title = " · ".join(part for part in (line.customer, line.vehicle) if part) or wording.UNNAMED
    facts = [
        parts.axle_line(line.ring_teeth, line.pinion_teeth, line.ring_diameter_in),
        wording.rolls_filed(line.rolls),
        wording.STATUSES[line.status],
        *line.tags,
    ]
    with st.container(key=f"card-{line.id}", border=True, horizontal=True, wrap=False):
        st.html(
            f'<div class="jobline"><b>{escape(line.id)}</b> {escape(title)}<br>'
            f'<span class="small">{escape(" · ".join(facts))}</span></div>'
        )
        step = _where_to(line)
        roll = line.rolls + 1 if step == "roll" else None
        st.page_link(
            page(step), label=f"{wording.CONTINUE} {line.id}", query_params=address(line.id, roll)
        )


def _where_to(line: JobLine) -> str:
    if line.ring_teeth is None:
        return "axle"
    return "final" if line.status == "done" else "roll"
