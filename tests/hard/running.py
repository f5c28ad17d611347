"""Run the command line in this process as a user would, and see all that a user would see.

An exception that leaves `main` is a traceback on the user's screen; here it fails the test. Processor time
and memory are taken around the run, so that a process that turns in circles or swells is seen with its
input; one that only waits is ended by the tests' own timeout.
"""

from __future__ import annotations

import contextlib
import io
import re
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from pattern.cli import main

LONGEST_S = 10.0
MOST_MB = 800.0  # and some 200 that a process holds that has just begun
MESSAGE = re.compile(r"(?P<subject>\S.*?): (?P<what>.+)\. (?P<remedy>\S.+)")
_STATUS, _CLEAR = Path("/proc/self/status"), Path("/proc/self/clear_refs")


@dataclass(frozen=True)
class Run:
    """What came of one command: exit code, both outputs, processor seconds, memory taken in MB (0: unknown)."""

    code: int
    stdout: str
    stderr: str
    cpu_s: float
    peak_mb: float

    @property
    def refusals(self) -> list[str]:
        """The lines on stderr, without word of a new archive."""
        lines = [line for line in self.stderr.splitlines() if line.strip()]
        return [line for line in lines if not line.startswith("A new archive was made")]


def run(*words: object) -> Run:
    """`contact-pattern` with these words, in this process."""
    out, err = io.StringIO(), io.StringIO()
    before = sys.argv
    sys.argv = ["contact-pattern", *map(str, words)]
    _forget_peak()
    held_mb = _peak_mb()
    start = time.process_time()
    code = 0
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            main()
    except SystemExit as leave:
        code = leave.code if isinstance(leave.code, int) else 0
    finally:
        sys.argv = before
    cpu_s = time.process_time() - start
    # what this process of many tests holds already is not the command's
    return Run(code, out.getvalue(), err.getvalue(), cpu_s, _peak_mb() - held_mb)


def assert_clean(done: Run, file: Path) -> None:
    """Quick, small, and every refusal names the file or a field, the fault and what to do."""
    assert done.cpu_s < LONGEST_S
    assert done.peak_mb < MOST_MB
    assert "Traceback" not in done.stderr
    if done.code in (0, 4):
        return
    assert done.code in (3, 5, 6, 7), done
    assert done.refusals, f"exit code {done.code} without a word"
    for line in done.refusals:
        assert_message(line)
        assert len(line) < 1300, line


def assert_message(line: str) -> None:
    """`subject: fault. Remedy`, all of it printable."""
    assert MESSAGE.fullmatch(line), line
    assert line.isprintable(), ascii(line)


def _forget_peak() -> None:
    """Let the kernel count this process's highest memory anew (proc(5), clear_refs 5)."""
    with contextlib.suppress(OSError):
        _CLEAR.write_text("5")


def _peak_mb() -> float:
    with contextlib.suppress(OSError):
        found = re.search(r"VmHWM:\s+(\d+) kB", _STATUS.read_text())
        return int(found[1]) / 1024 if found else 0.0
    return 0.0


@contextlib.contextmanager
def counted(counts: dict[int, int]) -> Iterator[None]:
    """Print how often each exit code came, when a long run is over."""
    yield
    print("exit codes", dict(sorted(counts.items())), "of", sum(counts.values()))
