"""The generated parts of the documents: `python -m tests.documents` writes them anew.

A test compares them with the code, so a new flag, setting or exit code cannot go undocumented.
"""

from __future__ import annotations

import argparse
import re
from pathlib import Path

from pattern.flags import FLAGS
from pattern.settings import Settings

ROOT = Path(__file__).parent.parent


def flags_table() -> str:
    rows = [f"| `{f.code}` | {f.effect} | {f.meaning} | {f.remedy} |" for f in FLAGS.values()]
    return "\n".join(
        ["| code | effect | meaning | what the user can do |", "|---|---|---|---|", *rows]
    )


def settings_table() -> str:
    rows = [f"| `{n}` | {f.default} | {f.description} |" for n, f in Settings.model_fields.items()]
    return "\n".join(["| key | default | meaning |", "|---|---|---|", *rows])


def messages_table() -> str:
    from tests.hard.message_table import (
        table,  # draws a photo and runs the program: only when asked for
    )

    return table()


GENERATED = {
    "DEVELOPERS.md": {"flags": flags_table, "settings": settings_table},
    "tests/hard/MESSAGES.md": {"messages": messages_table},
}


def rewritten(file: str) -> str:
    """The document with its generated parts made anew."""
    text = (ROOT / file).read_text(encoding="utf-8")
    for name, make in GENERATED[file].items():
        block = re.compile(rf"(<!-- generated: {name} -->\n).*?(<!-- end -->)", re.DOTALL)
        text, count = block.subn(lambda m, make=make: m[1] + make() + "\n" + m[2], text)
        assert count == 1, f"{file} has no part named {name}"
    return text


if __name__ == "__main__":
    argparse.ArgumentParser(
        prog="python -m tests.documents",
        description=f"Write the generated parts of {', '.join(GENERATED)} anew.",
    ).parse_args()
    for document in GENERATED:
        (ROOT / document).write_text(rewritten(document), encoding="utf-8")
