"""The largest photos that the cap lets in, in every kind of pixels: read or refused below a gigabyte."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

SIZE = (9000, 6600)
"""59.4 megapixels, just under the cap of 60."""
KINDS = {
    "grey.jpg": lambda: Image.new("L", SIZE, 90),
    "colour.jpg": lambda: Image.new("RGB", SIZE, (90, 80, 70)),
    "cmyk.jpg": lambda: Image.new("CMYK", SIZE, (9, 8, 7, 6)),
    "see-through.png": lambda: Image.new("RGBA", SIZE, (90, 80, 70, 200)),
    "sixteen-bit.png": lambda: Image.fromarray(np.full(SIZE[::-1], 20_000, np.uint16)),
    "palette.png": lambda: Image.new("P", SIZE, 3),
    "bilevel.png": lambda: Image.new("1", SIZE, 1),
    "float.tif": lambda: Image.fromarray(np.full(SIZE[::-1], 0.25, np.float32)),
    "colour.webp": lambda: Image.new("RGB", SIZE, (90, 80, 70)),
}
CODE = """
import resource, sys
from pathlib import Path
from pattern.errors import UnreadablePhoto
from pattern.photo.decode import load_photo
try:
    print(load_photo(Path(sys.argv[1])).pixels.shape)
except UnreadablePhoto as refused:
    print(refused.message)
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024)
"""


@pytest.mark.slow
@pytest.mark.parametrize("name", KINDS)
def test_a_photo_just_under_the_cap_stays_under_a_gigabyte(name: str, tmp_path: Path) -> None:
    path = tmp_path / name
    KINDS[name]().save(path, **({"compression": "tiff_lzw"} if name.endswith("tif") else {}))
    done = subprocess.run(
        [sys.executable, "-c", CODE, str(path)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    told, peak_mb = done.stdout.splitlines()
    print(f"{name}: {told}, {peak_mb} MB")
    assert int(peak_mb) < 1000
    assert told == "(6600, 9000, 3)" or "megapixels" in told
