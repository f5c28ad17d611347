"""The way through a job: its steps, their pages and addresses."""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from typing import TYPE_CHECKING, Literal, NoReturn

import streamlit as st

from app import wording
from app.state import page_state

if TYPE_CHECKING:
    from streamlit.navigation.page import StreamlitPage

Step = Literal["axle", "roll", "outline", "advice", "final"]
STEPS: tuple[Step, ...] = ("axle", "roll", "outline", "advice", "final")


def page(name: str) -> StreamlitPage:
    """The page of a step, or of the jobs list (`jobs`), the default."""
    title = wording.STEPS.get(name, wording.JOBS)
    if name == "jobs":
        return st.Page(_show(name), title=f"{title} · {wording.TITLE}", url_path="", default=True)
    return st.Page(_show(name), title=f"{title} · {wording.TITLE}", url_path=name)


def address(job_id: str = "", roll: int | None = None, photo: str = "") -> dict[str, str]:
    """The query of a deep link."""
    query = {"job": job_id, "roll": str(roll or ""), "photo": photo}
    if page_state().units != "in":
        query["units"] = page_state().units
    return {name: value for name, value in query.items() if value}


def go(step: str, job_id: str = "", roll: int | None = None, photo: str = "") -> NoReturn:
    """Leave for another step."""
    st.switch_page(page(step), query_params=address(job_id, roll, photo))


def _show(name: str) -> Callable[[], None]:
    def screen() -> None:
        import_module(f"app.screens.{name}").show()

    screen.__name__ = screen.__qualname__ = name
    return screen
