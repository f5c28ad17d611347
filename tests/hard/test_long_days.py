"""A long day: hundreds of photos in one process. Memory stays flat and no file stays open.

`pytest -m slow tests/hard/test_long_days.py -s` reads 500 sample photos, found and outlined, in one
process, and 500 more through `contact-pattern read` over a folder.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests.hard.cases import drive, drive_photo

SAMPLES = Path(__file__).parents[2] / "sample_images"
SCRIPT = """
import json, os, sys
from pathlib import Path
from pattern.workflow import read_photo

def resident_mb():
    return int(Path("/proc/self/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6

tasks, rounds = json.loads(Path(sys.argv[1]).read_text()), int(sys.argv[2])
read, sizes, files = 0, [], []
for k in range(rounds):
    for path, options in tasks:
        read += read_photo(path, **options).status == "read"
    sizes.append(resident_mb())
    files.append(len(os.listdir("/proc/self/fd")))
print(json.dumps({"read": read, "sizes": sizes, "files": files}))
"""
FOLDER = """
import multiprocessing, resource, sys
from pattern.cli import main

try:
    main()
finally:
    for reader in multiprocessing.active_children():
        reader.join()  # only one that ended is counted
    whose = (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    print(max(resource.getrusage(each).ru_maxrss for each in whose) // 1024, file=sys.stderr)
"""
pytestmark = pytest.mark.skipif(not Path("/proc").is_dir(), reason="looks into /proc")


def _day(
    place: Path, tasks: list[tuple[str, dict[str, object]]], rounds: int
) -> dict[str, list[int]]:
    (place / "tasks.json").write_text(json.dumps(tasks))
    done = subprocess.run(
        [sys.executable, "-c", SCRIPT, str(place / "tasks.json"), str(rounds)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    told: dict[str, list[int]] = json.loads(done.stdout)
    return told


def _assert_flat(sizes: list[int]) -> None:
    """The last quarter is not above the second quarter by more than a twentieth and 10 MB."""
    quarter = len(sizes) // 4
    settled, last = max(sizes[quarter : 2 * quarter]), max(sizes[-quarter:])
    assert last < settled * 1.05 + 10, sizes


def test_memory_and_open_files_stay_flat_over_a_day_in_small(tmp_path: Path) -> None:
    photo = tmp_path / "p.png"
    photo.write_bytes(drive_photo())
    outlined = {"side": "drive", "outlines": drive().outlines[:1]}
    told = _day(tmp_path, [(str(photo), outlined), (str(photo), {"side": "drive"})], 8)
    _assert_flat(told["sizes"])
    assert len(set(told["files"])) == 1, told["files"]


def _sample_tasks() -> list[tuple[str, dict[str, object]]]:
    """25 photos: every sample, each second one with its true outlines, the large ones left out."""
    tasks: list[tuple[str, dict[str, object]]] = []
    for about in sorted(SAMPLES.glob("*.json")):
        known = json.loads(about.read_text())
        photo = next(p for p in SAMPLES.glob(f"{about.stem}.*") if p.suffix != ".json")
        options: dict[str, object] = {"side": known["side"], "hand": known["hand"]}
        if known["size"] != [4000, 3000]:
            if len(tasks) % 2 and known["readable"]:
                options["outlines"] = [
                    tooth["outline"] for tooth in known["teeth"] if tooth["visible"] >= 0.6
                ]
            tasks.append((str(photo), options))
    return tasks[:25]


@pytest.mark.slow
@pytest.mark.timeout(3600)
def test_five_hundred_photos_in_one_process(tmp_path: Path) -> None:
    told = _day(tmp_path, _sample_tasks(), 20)
    print(f"read {told['read']} of 500; MB after each 25: {[round(s) for s in told['sizes']]}")
    _assert_flat(told["sizes"])
    assert len(set(told["files"][1:])) == 1, told["files"]


@pytest.mark.slow
@pytest.mark.timeout(3600)
def test_five_hundred_photos_over_a_folder_in_order(tmp_path: Path) -> None:
    folder = tmp_path / "day"
    folder.mkdir()
    original = (SAMPLES / "maple_drive.jpg").read_bytes()
    for number in range(500):
        (folder / f"{number:03}.jpg").write_bytes(original + b"%d" % number)
    done = subprocess.run(
        [sys.executable, "-c", FOLDER, "read", str(folder), "--side", "drive", "--hand", "left", "--json"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    told = [json.loads(line) for line in done.stdout.splitlines()]
    assert [each["photo"] for each in told] == [f"{number:03}.jpg" for number in range(500)]
    assert {each["status"] for each in told} == {"read"}
    peak_mb = int(done.stderr.split()[-1])
    print(f"500 photos, highest memory of any process {peak_mb} MB")
    assert 150 < peak_mb < 700, "the readers' memory"
