"""From rendered zips to the sample folder: formats, sizes, orientation, table; and what is left out."""

from __future__ import annotations

import io
import json
import zipfile

import numpy as np
import pytest
from PIL import Image, ImageOps

from pattern.synthetic.develop import (
    Development,
    developed,
    jpeg_bytes,
    undeveloped,
    with_glare,
)
from pattern.synthetic.legibility import LEAST, legibility
from pattern.synthetic.sample_folder import HEIC, MARKERS, TURNED, fill
from pattern.synthetic.spoil import FAULTS, spoil, spoiled

SIZE_PX = (320, 240)


def _picture() -> np.ndarray:
    y, x = np.mgrid[: SIZE_PX[1], : SIZE_PX[0]]
    return np.stack([x * 255 // 319, y * 255 // 239, np.full_like(x, 90)], -1).astype(np.uint8)


def _truth(name: str, readable: bool = True) -> dict:
    return {
        "photo": name, "readable": readable, "fault": None if readable else "dark", "side": "drive",
        "toe": "left", "compound": "yellow", "lengthwise": 0.4, "profile": 0.6, "story": "as it stands",
        "scene": {"finish": "machined", "light": {"kind": "side_lamp"}, "spec": {
            "ring_teeth": 41, "pinion_teeth": 11, "ring_diameter_in": 8.5, "tooth_system": "tapered",
            "hand": "right"}},
    }  # fmt: skip


@pytest.fixture
def folder(tmp_path):
    turned = next(iter(TURNED))
    with zipfile.ZipFile(tmp_path / "a.zip", "w") as archive:
        for name in (HEIC, turned, "bad_dark"):
            archive.writestr(f"{name}.jpg", jpeg_bytes(_picture(), 95))
            archive.writestr(f"{name}.json", json.dumps(_truth(name, name != "bad_dark")))
    out = tmp_path / "out"
    out.mkdir()
    (out / "README.md").write_text(f"before\n{MARKERS[0]}\nold\n{MARKERS[1]}\nafter\n")
    fill([tmp_path / "a.zip"], out)
    return out


def test_a_turned_photo_is_upright_after_its_exif_orientation(folder):
    # EXIF 2.32 / CIPA DC-008, tag Orientation: the reader's job is to turn it back.
    for name in set(TURNED) & {p.stem for p in folder.glob("*.jpg")}:
        stored = Image.open(folder / f"{name}.jpg")
        assert stored.getexif()[0x0112] == TURNED[name]
        upright = np.asarray(ImageOps.exif_transpose(stored)).astype(int)
        assert upright.shape == (240, 320, 3)
        assert np.abs(upright - _picture()).mean() < 3.0


def test_the_heic_photo_opens_and_every_truth_names_its_file(folder):
    import pillow_heif

    assert pillow_heif.open_heif(str(folder / f"{HEIC}.heic")).size == SIZE_PX
    for path in folder.glob("*.json"):
        assert (folder / json.loads(path.read_text())["photo"]).exists()


def test_the_readme_table_lists_every_photo_and_keeps_the_rest(folder):
    text = (folder / "README.md").read_text()
    assert text.startswith("before")
    assert text.endswith("after\n")
    assert "old" not in text
    assert f"| {HEIC}.heic | 41/11, 8.5 in, tapered, right | yellow | machined, side lamp |" in text
    assert "to decline: dark" in text


def _legible(difference: int) -> float | None:
    rng = np.random.default_rng(0)
    picture = np.full((240, 320, 3), 120, np.float64)
    picture[100:140, 120:200] += [difference, difference, 0]
    noisy = np.clip(picture + rng.normal(0, 9, picture.shape), 0, 255).astype(np.uint8)
    side = {"tip_edge": [[60.0, 70.0], [260.0, 70.0]], "root_edge": [[60.0, 170.0], [260.0, 170.0]]}
    patch = [[[120.0, 100.0], [200.0, 100.0], [200.0, 140.0], [120.0, 140.0]]]
    return legibility(noisy, {"teeth": [side | {"contact": patch}]})


def test_a_mark_that_differs_is_legible_and_one_that_does_not_is_not():
    assert _legible(60) > 2 * LEAST
    assert _legible(2) < LEAST
    assert legibility(np.zeros((8, 8, 3), np.uint8), {"teeth": []}) is None


def test_exposure_meters_on_the_weight_and_steps_in_stops():
    light = np.full((120, 160, 3), 3.7, np.float32)
    light[:, 80:] = 0.02
    weight = np.zeros((120, 160), np.float32)
    weight[:, :80] = 1.0
    plain = {"grain": 0.0, "vignette": 0.0, "bloom": 0.0, "sharpen": 0.0}
    rng = np.random.default_rng(0)
    means = [
        developed(light, weight, Development(ev=ev, **plain), rng)[:, :80].mean()
        for ev in (-2, 0, 2)
    ]
    assert means[0] < 90 < means[1] < 180 < means[2]


def test_blur_and_glare_take_the_detail_away():
    rng = np.random.default_rng(0)
    light = np.kron(rng.uniform(0.2, 1.0, (30, 40, 1)), np.ones((4, 4, 3))).astype(np.float32)
    weight = np.ones((120, 160), np.float32)

    def detail(how: Development, source: np.ndarray) -> float:
        picture = developed(source, weight, how, np.random.default_rng(1))[40:80, 40:120].astype(
            float
        )
        return float(np.abs(np.diff(picture, axis=1)).mean())

    sharp = detail(Development(grain=0.0), light)
    assert detail(Development(grain=0.0, defocus_px=9.0), light) < 0.2 * sharp
    assert detail(Development(grain=0.0, motion_px=20.0), light) < 0.4 * sharp
    sides = np.zeros((120, 160), np.float32)
    sides[30:90, 30:130] = 1.0
    drowned = with_glare(light, sides, rng)
    assert detail(Development(grain=0.0, ev=2.6), drowned) < 0.4 * sharp


def test_a_jpeg_is_smaller_at_a_lower_quality():
    sizes = [len(jpeg_bytes(_picture(), quality)) for quality in (40, 90)]
    assert sizes[0] < sizes[1]
    assert Image.open(io.BytesIO(jpeg_bytes(_picture(), 80))).format == "JPEG"


def _sharp_photo() -> tuple[np.ndarray, dict]:
    rng = np.random.default_rng(3)
    blocks = np.kron(rng.integers(60, 190, (30, 40, 1)), np.ones((8, 8, 3))).astype(np.uint8)
    side = {"tip_edge": [[40.0, 60.0], [280.0, 60.0]], "root_edge": [[40.0, 180.0], [280.0, 180.0]]}
    return blocks, {"teeth": [side], "partly": []}


def test_linear_light_of_a_finished_picture_gives_the_picture_again():
    blocks, _ = _sharp_photo()
    light = undeveloped(blocks)
    assert np.all(np.diff(np.unique(light)) > 0)
    plain = Development(grain=0.0, vignette=0.0, bloom=0.0, sharpen=0.0, saturation=1.0)
    weight = np.ones(blocks.shape[:2], np.float32)
    again = developed(light, weight, plain, np.random.default_rng(0)).astype(float)
    # Metering may shift the whole: the order of the tones is what must stay.
    assert np.corrcoef(again.ravel(), blocks.ravel())[0, 1] > 0.98


@pytest.mark.parametrize("fault", FAULTS)
def test_each_fault_spoils_the_teeth(fault):
    blocks, truth = _sharp_photo()
    bad = spoiled(blocks, truth, fault, np.random.default_rng(1))[70:170, 50:270].astype(float)
    contrast = (
        np.abs(np.diff(bad, axis=1)).mean()
        / np.abs(np.diff(blocks[70:170, 50:270].astype(float), axis=1)).mean()
    )
    expected = {"blurred": contrast < 0.4, "dark": bad.mean() < 40, "blown_out": bad.mean() > 215,
                "glare": bad.mean() > 170}  # fmt: skip
    assert expected[fault]


def test_spoiled_photos_name_their_source_and_hold_no_teeth(tmp_path):
    blocks, teeth = _sharp_photo()
    with zipfile.ZipFile(tmp_path / "a.zip", "w") as archive:
        for name in ("one", "two"):
            truth = _truth(name) | teeth | {"hand": "right", "tooth_system": "tapered", "tip": "up",
                                            "size": [320, 240]}  # fmt: skip
            archive.writestr(f"{name}.jpg", jpeg_bytes(blocks, 90))
            archive.writestr(f"{name}.json", json.dumps(truth))
    names = spoil([tmp_path / "a.zip"], tmp_path / "out", 1)
    assert len(names) == len(FAULTS)
    with zipfile.ZipFile(tmp_path / "out" / "spoiled_00.zip") as archive:
        for name in names:
            record = json.loads(archive.read(f"{name}.json"))
            assert record["from"] in {"one", "two"}
            assert record["fault"] in FAULTS
            assert not record["readable"]
            assert not record["teeth"]
