"""The table of inputs and messages in `tests/hard/MESSAGES.md`."""

from __future__ import annotations

import tempfile
from pathlib import Path

from tests.hard.message_cases import ALL
from tests.hard.messages import Told, told
from tests.hard.running import run


def an_archive(folder: Path) -> Path:
    """An archive with one job without axle data."""
    run("job", "new", "--archive", folder / "shop", "--customer", "bench")
    return folder / "shop"


def all_told() -> list[Told]:
    """Every case, run."""
    with tempfile.TemporaryDirectory() as folder:
        shop = an_archive(Path(folder))
        return [told(case, shop) for case in ALL]


def table() -> str:
    """The table of inputs and messages in Markdown."""
    head = (
        "| input | what is wrong with it | exit code | what the program says |\n|---|---|---|---|"
    )
    rows = [
        f"| {t.case.about} | {t.case.given} | {t.code} | {_cell(' / '.join(t.lines))} |"
        for t in all_told()
    ]
    return "\n".join([head, *rows])


def _cell(text: str) -> str:
    for sign in "\\|<>[]*_`":
        text = text.replace(sign, "\\" + sign)
    return text
