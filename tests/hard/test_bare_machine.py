"""On a bare server: no X, no GL, no home folder of its own, no terminal, the plainest of locales."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests.hard.cases import drive, drive_photo

BARE = {"PATH": "/usr/bin:/bin", "LC_ALL": "C"}


def _run(place: Path, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "pattern.cli", *words], cwd=place, env=BARE, stdin=subprocess.DEVNULL,
        capture_output=True, encoding="utf-8", check=False,
    )  # fmt: skip


@pytest.mark.skipif(not Path("/proc").is_dir(), reason="looks into /proc")
def test_neither_the_library_nor_the_page_loads_a_window_system() -> None:
    code = (
        "import pattern.workflow, pattern.report.pdf, pattern.report.overlay, pattern.advice.correction\n"
        "import pattern.archive.store, app.server, app.gate, streamlit, pillow_heif\n"
        "print(open('/proc/self/maps').read())\n"
    )
    maps = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    ).stdout
    assert "opencv" in maps or "cv2" in maps
    for library in ("libX11", "libGL.", "libxcb", "libwayland", "libgtk", "libQt"):
        # wheels may carry one of their own (Pillow's libxcb), which asks nothing of the machine
        assert not [x for x in maps.splitlines() if library in x and "site-packages" not in x]


def test_a_photo_is_read_and_a_job_filed_in_the_plainest_of_environments(tmp_path: Path) -> None:
    (tmp_path / "zähne.png").write_bytes(drive_photo())
    (tmp_path / "o.json").write_text(json.dumps(drive().outlines[:1]))
    read = _run(tmp_path, "read", "zähne.png", "--side", "drive", "--outline", "o.json")
    assert read.returncode == 0, read.stderr
    told = _run(tmp_path, "read", "zähne.png", "--side", "drive", "--outline", "o.json", "--json")
    assert json.loads(told.stdout)["photo"] == "zähne.png"
    opened = _run(tmp_path, "job", "new", "--archive", "shop", "--customer", "Größe")
    assert opened.returncode == 0, opened.stderr
    shown = _run(tmp_path, "job", "show", "J0001", "--archive", "shop")
    assert "Größe" in shown.stdout
    assert shown.returncode == 0
