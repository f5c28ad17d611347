"""The page. Started by `contact-pattern app`; every screen is in `app.screens`."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from app import parts, wording
from app.calls import LOG
from app.way import STEPS, address, page
from pattern.errors import ArchiveError, PatternError


def main() -> None:
    """Lay the page out and show the screen that the address names."""
    st.set_page_config(
        page_title=wording.TITLE,
        page_icon=str(Path(__file__).with_name("mark.svg")),
        layout="centered",
        initial_sidebar_state="collapsed",
    )
    parts.style()
    chosen = st.navigation([page("jobs"), *(page(step) for step in STEPS)], position="hidden")
    try:
        chosen.run()
    except ArchiveError as fault:
        parts.fault(fault, wording.ARCHIVE_FAULT)
    except PatternError as fault:
        parts.fault(fault)
        st.page_link(page("jobs"), label=wording.ALL_JOBS, query_params=address())
    except Exception:  # a user must never face a traceback; the terminal gets it whole
        LOG.exception("a screen failed")
        st.error(wording.UNEXPECTED)


main()
