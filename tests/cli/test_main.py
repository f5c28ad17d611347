"""The command line as a program: fast help, clean faults, output that nobody reads."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

PROGRAM = [sys.executable, "-m", "pattern.cli"]


def run(*words: str, **more: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run([*PROGRAM, *words], capture_output=True, text=True, check=False, **more)  # type: ignore[call-overload, no-any-return]


def test_help_loads_nothing_heavy() -> None:
    code = (
        "import sys; sys.argv = ['contact-pattern', '--help']\n"
        "from pattern.cli import main\n"
        "try: main()\n"
        "except SystemExit: pass\n"
        "heavy = {'numpy', 'cv2', 'scipy', 'skimage', 'sqlalchemy', 'alembic', 'streamlit', 'PIL', 'pydantic'}\n"
        "sys.exit(', '.join(sorted(heavy & set(sys.modules))))\n"
    )
    found = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=False
    )
    assert found.stderr.strip() == ""
    assert "Read the contact pattern" in found.stdout


def test_a_full_disk_is_one_clean_line() -> None:
    with Path("/dev/full").open("w") as full:
        found = subprocess.run(
            [*PROGRAM, "setup", "stack"],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
        )
    assert found.returncode == 1
    assert found.stderr.count("\n") == 1
    assert "free room" in found.stderr


def test_a_reader_that_goes_away_is_no_fault_worth_words() -> None:
    with subprocess.Popen(
        [*PROGRAM, "setup", "stack"], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as program:
        assert program.stdout is not None
        assert program.stderr is not None
        program.stdout.close()
        assert program.stderr.read() == b""


def test_an_unknown_command_is_a_usage_fault() -> None:
    found = run("polish")
    assert found.returncode == 2
    assert "polish" in found.stderr


def test_a_result_for_a_place_that_is_not_there_is_one_clean_line(tmp_path: Path) -> None:
    place = str(tmp_path / "gone" / "marks.svg")
    found = run("predict", "--teeth", "41/11", "--diameter", "8.5", "--svg", place)
    assert found.returncode == 5
    assert place in found.stderr
    assert "Traceback" not in found.stderr
