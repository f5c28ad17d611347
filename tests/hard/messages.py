"""Messages about bad input: run a case, and know every place that makes one.

The cases are in `message_cases`, the table of them in `message_table`. A case is run as a user would: files
in an empty folder, one command there. What the shop cannot reach by a command (library calls) is called. `sites()` are all places in the code where such a message is
made, so that a test can say which were never seen.
"""

from __future__ import annotations

import ast
import contextlib
import json
import re
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pattern import errors
from pattern.errors import PatternError
from tests.hard.running import Run, run

ROOT = Path(__file__).parents[2]
Site = tuple[str, str]
"""A module's path and the text of the message's first part as it stands in the code."""


@dataclass(frozen=True)
class Case:
    """`given` says in words what is wrong; `words` is the command; `files` lie in its folder."""

    about: str
    given: str
    words: tuple[str, ...] = ()
    files: dict[str, Any] = field(default_factory=dict)
    code: int = 5
    call: Callable[[], object] | None = None


@dataclass(frozen=True)
class Told:
    """What came of a case: exit code and the message's lines."""

    case: Case
    code: int
    lines: tuple[str, ...]


def told(case: Case, shop: Path) -> Told:
    """Run the case in a new folder; `shop` is an archive with one job, copied beside it."""
    with tempfile.TemporaryDirectory() as folder, contextlib.chdir(folder):
        for name, content in case.files.items():
            Path(name).write_bytes(_bytes(content))
        if "shop" in case.words:
            import shutil

            shutil.copytree(shop, "shop")
        if case.call is not None:
            return _called(case)
        done: Run = run(*case.words)
        return Told(case, done.code, tuple(_plain(line) for line in done.refusals))


def _called(case: Case) -> Told:
    assert case.call is not None
    try:
        case.call()
    except PatternError as error:
        return Told(case, error.exit_code, (error.message,))
    return Told(case, 0, ())


def _plain(line: str) -> str:
    """Without what differs from machine to machine: the passing folder, memory addresses."""
    here = str(Path.cwd())
    line = re.sub(r"(deeper|shallower) \d\.\d+ in", r"\1 0.0… in", line)  # what was computed
    return line.replace(here + "/", "").replace(here, ".")


def _bytes(content: Any) -> bytes:
    if isinstance(content, bytes):
        return content
    return (content if isinstance(content, str) else json.dumps(content)).encode()


@contextlib.contextmanager
def seen_sites(into: set[Site]) -> Iterator[None]:
    """Note the place of every message made inside the block."""
    known = {(path, line): text for path, first, last, text in _calls() for line in range(first, last + 1)}  # fmt: skip
    plain = PatternError.__init__

    def noting(self: PatternError, *words: Any, **named: Any) -> None:
        frame = sys._getframe(1)
        at = (frame.f_code.co_filename, frame.f_lineno)
        if at in known:
            into.add((str(Path(at[0]).relative_to(ROOT)), known[at]))
        plain(self, *words, **named)

    PatternError.__init__ = noting  # type: ignore[method-assign]
    try:
        yield
    finally:
        PatternError.__init__ = plain  # type: ignore[method-assign]


def sites() -> set[Site]:
    """Every place in the library, the command line and the page that makes a message."""
    return {(str(Path(path).relative_to(ROOT)), text) for path, _, _, text in _calls()}


def _calls() -> list[tuple[str, int, int, str]]:
    family = {
        n for n, v in vars(errors).items() if isinstance(v, type) and issubclass(v, PatternError)
    }
    found = []
    for file in [*ROOT.glob("pattern/**/*.py"), *ROOT.glob("app/**/*.py")]:
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") in family and node.args:
                text = ast.unparse(node.args[0])
                found.append((str(file), node.lineno, node.end_lineno or node.lineno, text))
    return found
