"""What a reading costs, against decoding the same file in full, in the same run.

Run by `pytest -m bench tests/benchmarks/test_reading_speed.py`. The photos are
samples enlarged to 12 megapixels and the pair of that size, teeth found automatically.
"""

from __future__ import annotations

import json
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pillow_heif
import pytest
from PIL import Image

from pattern.records import Reading
from pattern.workflow import read_photo

SAMPLES = Path(__file__).parents[2] / "sample_images"
pytestmark = [pytest.mark.bench, pytest.mark.timeout(600)]


@pytest.fixture(scope="module")
def large_photo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str, str]:
    """A sample whose teeth are found, enlarged to 12 megapixels, with its side and hand."""
    for path in sorted(SAMPLES.glob("*_coast.jpg")):
        about = json.loads(path.with_suffix(".json").read_text())
        if not about["readable"]:
            continue
        large = enlarged(path, tmp_path_factory.mktemp("large"))
        if read_photo(large, about["side"], hand=about["hand"]).status == "read":
            return large, about["side"], about["hand"]
    raise AssertionError("no sample photo is read without an outline")


def enlarged(path: Path, folder: Path) -> Path:
    """The photo at 12 megapixels."""
    pixels = cv2.resize(cv2.imread(str(path)), (4000, 3000), interpolation=cv2.INTER_CUBIC)
    cv2.imwrite(str(folder / path.name), pixels, [cv2.IMWRITE_JPEG_QUALITY, 92])
    return folder / path.name


def _best_of(count: int, action: Callable[[], object]) -> float:
    """Shortest of several times, seconds: what the machine can do when nothing else runs."""
    times = []
    for _ in range(count):
        start = time.perf_counter()
        action()
        times.append(time.perf_counter() - start)
    return min(times)


ENLARGED = ("alder_coast", "birch_coast", "hazel_drive", "maple_coast")
AS_THEY_ARE = ("linden_coast", "linden_drive")


def test_a_reading_of_twelve_megapixels_costs_at_most_four_decodings(
    record_property: Callable[[str, object], None], tmp_path: Path
) -> None:
    # most photos settle with one closer look; the sample pair of 12 MP needs a second
    ratios = {}
    for name in (*ENLARGED, *AS_THEY_ARE):
        path = SAMPLES / f"{name}.jpg"
        about = json.loads(path.with_suffix(".json").read_text())
        if name in ENLARGED:
            path = enlarged(path, tmp_path)
        data = np.frombuffer(path.read_bytes(), np.uint8)

        def read(path: Path = path, about: dict[str, str] = about) -> Reading:
            return read_photo(path, about["side"], hand=about["hand"])  # type: ignore[arg-type]

        assert read().status == "read"
        decode = _best_of(7, lambda data=data: cv2.imdecode(data, cv2.IMREAD_COLOR))  # type: ignore[misc]
        ratios[name] = _best_of(7, read) / decode
        print(f"{name}: decode {decode * 1e3:.0f} ms, ratio {ratios[name]:.2f}")
    record_property("ratios", {name: round(ratio, 2) for name, ratio in ratios.items()})
    assert max(ratios.values()) <= 4.0


def test_a_heic_reading_costs_at_most_four_of_its_own_decodings(
    tmp_path: Path, large_photo: tuple[Path, str, str]
) -> None:
    path, side, hand = large_photo
    with Image.open(path) as image:
        heif = pillow_heif.from_pillow(image)
    heic = tmp_path / "p.heic"
    heif.save(heic, quality=85)

    def decode() -> object:
        return np.asarray(pillow_heif.open_heif(heic))

    alone = _best_of(3, decode)
    read = _best_of(3, lambda: read_photo(heic, side, hand=hand))  # type: ignore[arg-type]
    print(f"decode {alone * 1e3:.0f} ms, read {read * 1e3:.0f} ms, ratio {read / alone:.2f}")
    assert read <= 4.0 * alone


def test_forty_eight_megapixels_stay_under_seven_hundred_megabytes(
    tmp_path: Path, large_photo: tuple[Path, str, str]
) -> None:
    path, side, hand = large_photo
    pixels = cv2.imread(str(path))
    large = tmp_path / "large.jpg"
    cv2.imwrite(str(large), cv2.resize(pixels, (8000, 6000)), [cv2.IMWRITE_JPEG_QUALITY, 88])
    del pixels
    code = (
        "import resource, sys\n"
        "from pattern.workflow import read_photo\n"
        "reading = read_photo(sys.argv[1], sys.argv[2], hand=sys.argv[3])\n"
        "print(reading.status, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(large), side, hand],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    status, peak_mb = done.stdout.split()
    print(f"{status}, {peak_mb} MB at its peak")
    assert int(peak_mb) < 700
