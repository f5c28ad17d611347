"""Texts of users and files on the page: shown as they stand, never as markup.

Streamlit reads most texts as Markdown, where a customer's name could otherwise become a heading, a
formula, or a picture that is fetched from outside. (An address still becomes a link; it is not followed
until somebody taps it.)
"""

from __future__ import annotations

import re

_SIGNS = re.compile(r"([!-/:-@\[-`{-~])")
"""ASCII punctuation: a backslash before any of it makes it plain (CommonMark 0.31, section 2.4)."""


def plain(text: str) -> str:
    """The text as Markdown that shows it letter for letter, on one line."""
    return _SIGNS.sub(r"\\\1", " ".join(text.split()))
