"""Fill the folder of sample photos from rendered zips: formats, sizes, truth, table.

    python -m pattern.synthetic.sample_folder --zips DIR/samples_*.zip --out sample_images

Every photo stays under 1 MB (the 12-megapixel pair under 3 MB). One photo is stored as HEIC, one
turned with an EXIF orientation, one mirrored with another. The table in the folder's README is
written anew between its two markers.
"""

from __future__ import annotations

import argparse
import io
import json
import sys
import zipfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from PIL import Image

MARKERS = ("<!-- table begins -->", "<!-- table ends -->")
HEIC = "hazel_coast"
TURNED = {"rowan_coast": 6, "birch_drive": 3}
"""EXIF orientation by photo: 6 is a quarter turn, 3 a half turn."""
_UNDO = {3: Image.Transpose.ROTATE_180, 6: Image.Transpose.ROTATE_90}
_BYTES, _BIG_BYTES = 990_000, 2_900_000


def photos(zips: Sequence[Path]) -> Iterator[tuple[str, bytes, dict[str, Any]]]:
    """Name, JPEG bytes and truth of every photo in the zips, by name."""
    found: dict[str, tuple[bytes, dict[str, Any]]] = {}
    for path in zips:
        with zipfile.ZipFile(path) as archive:
            for entry in archive.namelist():
                if entry.endswith(".jpg"):
                    name = entry.removesuffix(".jpg")
                    found[name] = archive.read(entry), json.loads(archive.read(f"{name}.json"))
    for name in sorted(found):
        yield name, *found[name]


def stored(name: str, jpeg: bytes) -> tuple[str, bytes]:
    """File name and bytes as the folder keeps a photo."""
    if name == HEIC:
        return f"{name}.heic", _heic(jpeg)
    limit = _BIG_BYTES if Image.open(io.BytesIO(jpeg)).width > 2000 else _BYTES
    if name in TURNED:
        return f"{name}.jpg", _fitting(Image.open(io.BytesIO(jpeg)), limit, TURNED[name])
    if len(jpeg) <= limit:
        return f"{name}.jpg", jpeg
    return f"{name}.jpg", _fitting(Image.open(io.BytesIO(jpeg)), limit, 1)


def _fitting(picture: Image.Image, limit: int, orientation: int) -> bytes:
    """JPEG of the highest quality below a size, pixels turned against its EXIF orientation."""
    if orientation != 1:
        picture = picture.transpose(_UNDO[orientation])
    exif = Image.Exif()
    exif[0x0112] = orientation
    for quality in range(90, 40, -4):
        stream = io.BytesIO()
        picture.save(stream, "JPEG", quality=quality, optimize=True, exif=exif)
        if stream.tell() <= limit:
            return stream.getvalue()
    raise ValueError(f"no JPEG below {limit} bytes")


def _heic(jpeg: bytes) -> bytes:
    import pillow_heif

    stream = io.BytesIO()
    pillow_heif.from_pillow(Image.open(io.BytesIO(jpeg))).save(stream, quality=72)
    return stream.getvalue()


def table(truths: Sequence[dict[str, Any]]) -> str:
    """Markdown table of all photos: readable pairs first, then those to decline."""
    lines = [
        "| photo | set | compound | finish, light | side, toe | true lengthwise | true profile | what it shows |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for truth in sorted(truths, key=lambda t: (not t["readable"], t["photo"])):
        scene, spec = truth["scene"], truth["scene"]["spec"]
        gear = (
            f"{spec['ring_teeth']}/{spec['pinion_teeth']}, {spec['ring_diameter_in']:g} in, "
            f"{spec['tooth_system']}, {spec['hand']}"
        )
        shows = truth["story"] if truth["readable"] else f"to decline: {truth['fault']}"
        place = [f"{truth[a]:.2f}" if truth["readable"] else "" for a in ("lengthwise", "profile")]
        lines.append(
            f"| {truth['photo']} | {gear} | {truth['compound'] or 'none'} | {scene['finish']}, "
            f"{scene['light']['kind'].replace('_', ' ')} | {truth['side']}, {truth['toe']} | "
            f"{place[0]} | {place[1]} | {shows.replace('_', ' ')} |"
        )
    return "\n".join(lines)


def fill(zips: Sequence[Path], folder: Path) -> list[dict[str, Any]]:
    """Write photos, truth files and the README's table; returns the truths."""
    folder.mkdir(parents=True, exist_ok=True)
    truths = []
    for name, jpeg, truth in photos(zips):
        file, data = stored(name, jpeg)
        truth["photo"] = file
        truth["orientation"] = TURNED.get(name, 1)
        (folder / file).write_bytes(data)
        text = json.dumps(truth, separators=(",", ":"))
        (folder / f"{name}.json").write_text(text + "\n", encoding="utf-8")
        truths.append(truth)
    readme = folder / "README.md"
    if readme.exists():
        before, rest = readme.read_text(encoding="utf-8").split(MARKERS[0])
        after = rest.split(MARKERS[1])[1]
        body = f"{before}{MARKERS[0]}\n{table(truths)}\n{MARKERS[1]}{after}"
        readme.write_text(body, encoding="utf-8")
    return truths


def main(arguments: Sequence[str] | None = None) -> int:
    """The command; see the module's head."""
    parser = argparse.ArgumentParser(description="Fill the sample folder from rendered zips.")
    parser.add_argument("--zips", type=Path, nargs="+", required=True)
    parser.add_argument("--out", type=Path, required=True)
    options = parser.parse_args(arguments)
    truths = fill(options.zips, options.out)
    print(f"{len(truths)} photos, {sum(t['readable'] for t in truths)} readable")
    return 0


if __name__ == "__main__":
    sys.exit(main())
