"""What one browser session holds. Everything worth keeping is in the archive, not here."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import cast

import streamlit as st
from streamlit.runtime.memory_uploaded_file_manager import MemoryUploadedFileManager
from streamlit.runtime.scriptrunner import get_script_run_ctx
from streamlit.runtime.uploaded_file_manager import UploadedFile

from app import wording
from pattern.archive.store import Archive
from pattern.errors import InvalidInput
from pattern.report.measures import Measures, Units
from pattern.settings import Settings, load_settings


@dataclass
class PageState:
    """The session: units on show, revisions of the outlines on show, counters that renew widgets."""

    units: Units = "in"
    outline_rev: dict[str, int] = field(default_factory=dict)
    uploads: dict[str, int] = field(default_factory=dict)
    refused: dict[str, list[str]] = field(default_factory=dict)

    @property
    def measures(self) -> Measures:
        """Writes lengths in the units on show."""
        return Measures(self.units)

    def rev(self, name: str) -> int:
        """The present revision of one photo's outlines."""
        return self.outline_rev.get(name, 0)

    def raise_rev(self, name: str) -> None:
        """Python has new outlines for this photo: what the browser holds is out of date."""
        self.outline_rev[name] = self.rev(name) + 1


def page_state() -> PageState:
    """This session's state; made on first use, units from the address so that a reload keeps them."""
    if "page" not in st.session_state:
        units = st.query_params.get("units", "in")
        st.session_state["page"] = PageState(units=cast("Units", units if units == "mm" else "in"))
    return cast("PageState", st.session_state["page"])


@st.cache_resource(show_spinner=False)
def archive() -> Archive:
    """The archive that the command named, opened once for all sessions. Raises ArchiveError."""
    return Archive.open()


@st.cache_resource(show_spinner=False)
def settings() -> Settings:
    """Settings of this server, from the environment."""
    return load_settings()


def forget_upload(file: UploadedFile) -> None:
    """Give an upload's memory back now: Streamlit itself keeps it until the session ends, for hours."""
    context = get_script_run_ctx()
    if context is not None:
        held = cast("MemoryUploadedFileManager", context.uploaded_file_mgr)
        held.remove_file(session_id=context.session_id, file_id=file.file_id)


def asked_job() -> str:
    """The job in the address. Raises InvalidInput if there is none."""
    job_id = st.query_params.get("job", "")
    if not job_id:
        raise InvalidInput(wording.NO_JOB_NAMED, remedy=wording.BACK_TO_LIST)
    return str(job_id)


def asked_roll(last: int) -> int:
    """The roll number in the address; without one, the roll in work after the `last` filed."""
    text = st.query_params.get("roll", "")
    number = int(text) if text.isascii() and text.isdigit() and len(text) < 5 else last + 1
    return max(1, min(number, last + 1))
