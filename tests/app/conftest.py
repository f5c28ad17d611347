"""A screen without a browser: Streamlit's own test harness on an archive of its own."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from pattern.archive.store import Archive

TIMEOUT_S = 60


@pytest.fixture(autouse=True)
def _own_main(monkeypatch: pytest.MonkeyPatch) -> None:
    """Streamlit puts the script it runs in place of `__main__`.

    A process spawned by a later test would begin with that script, gone by then, and die.
    """
    monkeypatch.setitem(sys.modules, "__main__", sys.modules["__main__"])


@pytest.fixture
def archive(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Archive]:
    """An empty archive that the page opens too."""
    monkeypatch.setenv("CONTACT_PATTERN_ARCHIVE", str(tmp_path / "archive"))
    st.cache_resource.clear()
    st.cache_data.clear()
    with Archive.open(tmp_path / "archive") as opened:
        yield opened
    st.cache_resource.clear()


@pytest.fixture
def screen(archive: Archive) -> Callable[..., AppTest]:
    """Draw one screen: `screen("axle", job=..., roll=...)`."""

    def draw(name: str, **query: object) -> AppTest:
        page = AppTest.from_function(_screen, kwargs={"name": name}, default_timeout=TIMEOUT_S)
        for key, value in query.items():
            page.query_params[key] = str(value)
        return page.run()

    return draw


def _screen(name: str) -> None:
    from importlib import import_module

    import_module(f"app.screens.{name}").show()


def words(page: AppTest) -> str:
    """All text on the screen, as one string; Markdown's backslashes read as a browser shows them."""
    parts = [
        re.sub(r"\\([\W_])", r"\1", str(element.value))
        for kind in (
            "title",
            "subheader",
            "markdown",
            "caption",
            "error",
            "warning",
            "info",
            "success",
        )
        for element in getattr(page, kind)
    ]
    parts += [element.proto.body for element in page.get("html")]
    return "\n".join(parts).replace("\N{NO-BREAK SPACE}", " ")
