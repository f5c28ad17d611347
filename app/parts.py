"""Parts that several screens share: heading, step bar, next button, readings, faults."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import AbstractContextManager
from html import escape
from pathlib import Path

import streamlit as st

from app import wording
from app.components.outline_editor import Outline
from app.drafts import load_draft
from app.plain_text import plain
from app.state import archive, asked_job, page_state
from app.way import STEPS, Step, address, page
from pattern.errors import PatternError
from pattern.flags import FLAGS
from pattern.jobs import Job
from pattern.records import Reading
from pattern.report.look import FONT
from pattern.report.measures import Units
from pattern.setup.units import told_in

_HERE = Path(__file__).parent


def style() -> None:
    """Our own sizes and spacing over the theme."""
    st.html(_HERE / "style.css")


def open_job(step: Step) -> Job:
    """The job in the address, with the head of its page drawn. Raises InvalidInput, ArchiveError."""
    job = archive().job(asked_job())
    head(job_title(job), job)
    step_bar(job, step)
    return job


def head(title: str, job: Job | None = None) -> None:
    """Way back, title and unit choice."""
    with st.container(key="head", horizontal=True, vertical_alignment="center", gap="small"):
        if job is not None:
            st.page_link(page("jobs"), label=wording.ALL_JOBS, query_params=address())
        st.html(f'<span class="job">{escape(job.id) if job else ""}</span>')
        unit_choice()
    st.title(plain(title), anchor=False)


def job_title(job: Job) -> str:
    """What a job is called on the page."""
    return " · ".join(part for part in (job.customer, job.vehicle) if part) or wording.UNNAMED


def axle_line(ring: int | None, pinion: int | None, diameter_in: float | None) -> str:
    """The set in one line: 41/11, 8.5 in."""
    if ring is None or pinion is None or diameter_in is None:
        return wording.AXLE_MISSING
    return f"{ring}/{pinion} · {page_state().measures.size(diameter_in)}"


def unit_choice() -> None:
    """Inch or millimetre, for everything on the page."""
    key = "unit_choice"

    def keep() -> None:
        units: Units = st.session_state[key]
        page_state().units = units
        st.query_params["units"] = units

    st.segmented_control(
        wording.UNITS,
        list(wording.UNIT_NAMES),
        format_func=wording.UNIT_NAMES.__getitem__,
        required=True,
        default=page_state().units,
        key=key,
        on_change=keep,
        label_visibility="collapsed",
    )


def step_bar(job: Job, now: Step) -> None:
    """Where on the way this is; steps that were reached are links."""
    reached = _reached(job)
    with st.container(key="steps", horizontal=True, gap="small"):
        for number, step in enumerate(STEPS, start=1):
            name = f"{number} {wording.STEPS[step]}"
            if step == now:
                st.html(f'<span class="here" aria-current="step">{escape(name)}</span>')
            else:
                st.page_link(
                    page(step),
                    label=name,
                    disabled=step not in reached,
                    query_params=address(job.id, _roll_in(step)),
                )


def _roll_in(step: Step) -> int | None:
    text = st.query_params.get("roll", "")
    return int(text) if step in ("roll", "outline", "advice") and text.isdigit() else None


def _reached(job: Job) -> set[Step]:
    steps: set[Step] = {"axle"}
    if job.axle is not None:
        steps.add("roll")
    in_work = load_draft(archive(), job.id, len(job.rolls) + 1)
    if job.axle is not None and (job.rolls or in_work.photos):
        steps |= {"outline", "advice"}
    if job.rolls:
        steps.add("final")
    return steps


def next_bar() -> AbstractContextManager[object]:
    """Where the next step is: at the page's end, always in sight."""
    return st.container(key="nextbar")


def next_button(label: str, *, disabled: bool = False) -> bool:
    """The one obvious next step, always within reach of the thumb.

    Its key is its label: a press on a page that is out of date must never count as another step.
    """
    with next_bar():
        return st.button(
            label, type="primary", width="stretch", disabled=disabled, key=f"next:{label}"
        )


def fault(error: PatternError, head_line: str = "") -> None:
    """A known fault with its remedy."""
    message = plain(told_in(error.message, page_state().units))
    st.error(f"⚠ **{head_line}** {message}" if head_line else f"⚠ {message}")


def reading_line(reading: Reading) -> None:
    """What was read off one photo, or why nothing was."""
    if reading.status == "declined":
        for reason in reading.reasons:
            st.warning(f"⚠ **{wording.DECLINED}:** {plain(reason.message)}")
        return
    assert reading.lengthwise is not None and reading.profile is not None
    teeth = len(reading.teeth)
    count = wording.TOOTH_READ if teeth == 1 else wording.TEETH_READ.format(count=teeth)
    rows = [
        (
            wording.LENGTHWISE,
            reading.lengthwise,
            reading.lengthwise_sd,
            wording.place(reading.lengthwise, wording.TOWARD_TOE, wording.TOWARD_HEEL),
        ),
        (
            wording.PROFILE,
            reading.profile,
            reading.profile_sd,
            wording.place(reading.profile, wording.TOWARD_ROOT, wording.TOWARD_TIP),
        ),
    ]
    cells = "".join(
        f"<dt>{name}</dt><dd><b>{value:.2f}</b> ± {sd or 0:.2f}, {place}</dd>"
        for name, value, sd, place in rows
    )
    more = [count]
    if reading.compound:
        more.append(wording.COMPOUND.format(colour=reading.compound))
    st.html(f'<dl class="reading">{cells}</dl><p class="small">{escape(" · ".join(more))}</p>')
    for code in reading.flags:
        if code in FLAGS and code != "drawn_by_hand":
            st.caption(f"! {FLAGS[code].meaning.capitalize()}. {FLAGS[code].remedy}")


def tooth_list(teeth: Sequence[Outline]) -> None:
    """Who laid each tooth's outline, and how sure the tool is of those it laid itself."""
    items = "".join(
        f"<li>{escape(wording.tooth_line(number, tooth.kind, tooth.confidence))}</li>"
        for number, tooth in enumerate(teeth, start=1)
    )
    if items:
        st.html(f'<ul class="teeth small" aria-label="{wording.TEETH_LAID}">{items}</ul>')


def cautions(lines: tuple[str, ...] = wording.CAUTIONS) -> None:
    """What can hurt someone, where it can."""
    items = "".join(f"<li>{escape(line)}</li>" for line in lines)
    st.html(
        f'<section class="cautions" aria-label="{wording.CAUTION_HEAD}">'
        f"<h2>⚠ {wording.CAUTION_HEAD}</h2><ul>{items}</ul></section>"
    )


def svg(drawing: str, name: str, alt: str) -> None:
    """A drawing that the library made. `alt` says it to those who do not see it."""
    everywhere = drawing.replace(f'"{FONT}"', f'"{FONT}, system-ui, sans-serif"')
    with st.container(key=f"drawing-{name}"):
        st.image(everywhere, width="stretch", alt=alt)


def photo_guide() -> None:
    """A drawing of a good photo."""
    svg((_HERE / "photo_guide.svg").read_text("utf-8"), "guide", wording.GUIDE_ALT)
