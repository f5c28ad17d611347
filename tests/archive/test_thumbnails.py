"""Reduced photos: a cache that may be deleted, upright, without what the camera wrote."""

from __future__ import annotations

import io
import shutil
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from pattern.archive.store import Archive
from pattern.archive.thumbnails import thumbnail_folder
from pattern.errors import ArchiveDamaged, UnreadablePhoto
from tests.archive.pictures import GPS, encoded, exif, jpeg, place


def corner_photo(orientation: int, size: tuple[int, int] = (640, 480)) -> bytes:
    """A JPEG whose stored first row and column meet in a red corner."""
    image = Image.new("RGB", size, (40, 60, 200))
    image.paste((230, 20, 20), (0, 0, size[0] // 4, size[1] // 4))
    out = io.BytesIO()
    image.save(out, "JPEG", exif=exif(orientation=orientation), quality=92)
    return out.getvalue()


# Where the stored 0th row and 0th column lie when the picture is upright: Exif 2.3, tag 0x0112.
CORNERS = {1: "top left", 2: "top right", 3: "bottom right", 4: "bottom left",
           5: "top left", 6: "top right", 7: "bottom right", 8: "bottom left"}  # fmt: skip


@pytest.mark.parametrize("long_side", [80, 320, 1600])
@pytest.mark.parametrize("orientation", CORNERS)
def test_it_is_upright_and_fits(archive: Archive, orientation: int, long_side: int) -> None:
    sha256 = archive.hold_photo(corner_photo(orientation))
    with Image.open(io.BytesIO(archive.thumbnail(sha256, long_side))) as image:
        shown = np.asarray(image.convert("RGB"), int)
    assert max(shown.shape[:2]) == min(long_side, 640)
    assert (shown.shape[0] > shown.shape[1]) is (orientation >= 5)
    rows, columns = np.nonzero((shown[..., 0] > 150) & (shown[..., 2] < 120))
    vertical = "top" if rows.mean() < shown.shape[0] / 2 else "bottom"
    horizontal = "left" if columns.mean() < shown.shape[1] / 2 else "right"
    assert f"{vertical} {horizontal}" == CORNERS[orientation]


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF", "HEIF"])
def test_every_format_is_shown_and_none_tells_its_place(archive: Archive, kind: str) -> None:
    shown = archive.thumbnail(archive.hold_photo(encoded(kind)), 64)
    assert shown.startswith(b"\xff\xd8\xff")
    assert place(shown) == {}
    assert str(GPS[29]).encode() not in shown


def test_the_cache_is_used_and_may_be_deleted(archive: Archive) -> None:
    sha256 = archive.hold_photo(jpeg(1))
    first = archive.thumbnail(sha256, 64)
    folder = thumbnail_folder(archive.location).parent
    (kept,) = (folder / "thumbnails").iterdir()
    kept.write_bytes(b"from the cache")
    assert archive.thumbnail(sha256, 64) == b"from the cache"
    shutil.rmtree(folder / "thumbnails")
    assert archive.thumbnail(sha256, 64) == first
    assert archive.verify().is_clean


def test_a_full_disk_costs_the_cache_not_the_picture(
    archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    from pattern.archive import thumbnails

    def refuse(path: Path, data: bytes) -> None:
        raise OSError(28, "No space left on device")

    sha256 = archive.hold_photo(jpeg(1))
    monkeypatch.setattr(thumbnails, "write_durably", refuse)
    assert archive.thumbnail(sha256, 64).startswith(b"\xff\xd8\xff")


def test_a_missing_and_an_unreadable_photo_are_told_apart(archive: Archive) -> None:
    with pytest.raises(ArchiveDamaged, match="is missing"):
        archive.thumbnail("a" * 64)
    with pytest.raises(UnreadablePhoto):
        archive.thumbnail(archive.hold_photo(b"no picture"))
    cut = jpeg(1)[:-200]
    with pytest.raises(UnreadablePhoto):
        archive.thumbnail(archive.hold_photo(cut))
