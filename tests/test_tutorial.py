"""The README's tutorial, line by line as it stands, in a shell of its own."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

from tests.documents import ROOT

README = (ROOT / "README.md").read_text(encoding="utf-8")


def tutorial() -> str:
    """The commands of the tutorial."""
    found = re.search(r"<!-- tutorial -->\n```sh\n(.*?)```", README, re.DOTALL)
    assert found, "README.md has no tutorial"
    return found[1]


def test_the_tutorial_does_what_it_says(tmp_path: Path) -> None:
    (tmp_path / "pattern").symlink_to(ROOT / "pattern")
    bare = {
        name: value for name, value in os.environ.items()
        if not name.startswith("CONTACT_PATTERN") and name not in ("DISPLAY", "WAYLAND_DISPLAY")
    }  # fmt: skip
    path = f"{Path(sys.executable).parent}{os.pathsep}{bare['PATH']}"
    done = subprocess.run(
        ["bash", "-euo", "pipefail", "-c", tutorial()],
        cwd=tmp_path, env=bare | {"PATH": path, "HOME": str(tmp_path)},
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "37/9 = 4.111" in done.stdout
    assert re.search(r"^J0001$", done.stdout, re.MULTILINE)
    assert "J0001 roll 1 filed." in done.stdout
    assert re.search(r"Pinion: \d\.\d+ in deeper", done.stdout), "the demo's pinion is shallow"
    assert "struck out: old photos" in done.stdout
    assert (tmp_path / "tutorial-J0001.pdf").read_bytes().startswith(b"%PDF")
    assert (tmp_path / "tutorial-seen" / "drive_reading.png").is_file()
    assert "<svg" in (tmp_path / "tutorial-marks.svg").read_text()
    assert (tmp_path / "tutorial-backup" / "jobs.sqlite").is_file()
    assert not (tmp_path / ".local").exists(), "nothing outside the named places"


def test_the_readmes_python_runs_as_it_stands(tmp_path: Path) -> None:
    (code,) = re.findall(r"```python\n(.*?)```", README, re.DOTALL)
    for side in ("drive", "coast"):
        (tmp_path / f"{side}.jpg").symlink_to(ROOT / f"pattern/cli/demo_photos/{side}.jpg")
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert "Drive mark: " in done.stdout
    assert "Coast mark: " in done.stdout
