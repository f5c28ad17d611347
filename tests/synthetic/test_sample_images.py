"""The sample photos in the repository: complete, small enough, each with a truth that fits it."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from pattern.gears.blank import blank_from_axle
from pattern.records import Axle

FOLDER = Path(__file__).parents[2] / "sample_images"


@cache
def _truths() -> tuple[dict, ...]:
    return tuple(json.loads(p.read_text(encoding="utf-8")) for p in sorted(FOLDER.glob("*.json")))


def _readable() -> list[dict]:
    return [t for t in _truths() if t["readable"]]


def test_there_are_twelve_pairs_and_eight_photos_to_decline():
    sides: dict[str, set[str]] = {}
    for truth in _readable():
        sides.setdefault(truth["pair"], set()).add(truth["side"])
    assert sum(found == {"drive", "coast"} for found in sides.values()) >= 12
    assert sum(t["fault"] is not None for t in _truths()) >= 8


def test_photos_are_small_enough_to_keep():
    sizes = {p: p.stat().st_size for p in FOLDER.iterdir()}
    assert sum(sizes.values()) < 25_000_000
    large = sorted(p.stem for p, size in sizes.items() if size > 1_000_000)
    assert len(large) <= 2
    assert all(size < 3_000_000 for size in sizes.values())


def test_one_pair_has_twelve_megapixels_one_photo_is_heic_and_some_are_turned():
    wide = [t["photo"] for t in _truths() if t["size"][0] * t["size"][1] == 12_000_000]
    assert len(wide) == 2
    assert len([t for t in _truths() if t["photo"].endswith(".heic")]) == 1
    orientations = set()
    for truth in _truths():
        if truth["photo"].endswith(".jpg"):
            with Image.open(FOLDER / truth["photo"]) as photo:
                orientations.add(photo.getexif().get(0x0112, 1))
    assert orientations >= {1, 3, 6}


def test_every_photo_has_the_upright_size_its_truth_states():
    for truth in _truths():
        if truth["photo"].endswith(".jpg"):
            picture = cv2.imread(str(FOLDER / truth["photo"]))  # turns by the orientation
            assert picture.shape[1::-1] == tuple(truth["size"])


def test_the_photos_numbers_are_the_means_of_its_teeth():
    for truth in _readable():
        marked = [t for t in truth["teeth"] if "lengthwise" in t]
        for name in ("lengthwise", "profile", "tilt_deg", "area"):
            mean = float(np.mean([t[name] for t in marked]))
            assert truth[name] == pytest.approx(mean, abs=2e-3)


def test_toe_and_tip_words_agree_with_the_outlines():
    steps = {"left": (-1, 0), "right": (1, 0), "up": (0, -1), "down": (0, 1)}
    for truth in _readable():
        for tooth in truth["teeth"]:
            toe_tip, heel_tip, heel_root, toe_root = np.array(tooth["outline"])
            toward_toe = (toe_tip + toe_root) - (heel_tip + heel_root)
            assert np.dot(toward_toe, steps[truth["toe"]]) > 0
            along, down = heel_tip - toe_tip, toe_root - toe_tip
            chirality = along[0] * down[1] - along[1] * down[0]
            # Looking at a tooth side from outside, toe-tip, heel-tip, heel-root, toe-root run
            # clockwise or not by side and hand alone: the truth is never mirrored.
            clockwise = (truth["side"] == "drive") != (truth["hand"] == "right")
            assert (chirality > 0) == clockwise


def test_patches_lie_where_their_numbers_say():
    # OpenCV alone: a homography of the four corners onto the unrolled tooth side, whose depth at the
    # toe over that at the heel comes from the gear blank, gives the place lengthwise; the distances
    # of the patch's middle from the two edge curves give the profile. Neither knows the renderer.
    found, true = [], []
    for truth in _readable():
        axle = Axle(**truth["axle"])
        toe = blank_from_axle(axle).depth_ratio
        unrolled = np.array([[0, toe], [4, 1], [4, -1], [0, -toe]], np.float32)
        for tooth in truth["teeth"]:
            warp = cv2.getPerspectiveTransform(np.array(tooth["outline"], np.float32), unrolled)
            patch = np.array(max(tooth["contact"], key=len), np.float32)
            flat = _centre(cv2.perspectiveTransform(patch[None], warp)[0])
            edges = [np.array(tooth[k], np.float32) for k in ("root_edge", "tip_edge")]
            far = [
                abs(cv2.pointPolygonTest(_closed(e), tuple(_centre(patch)), True)) for e in edges
            ]
            found.append([flat[0] / 4, far[0] / sum(far)])
            true.append([tooth["lengthwise"], tooth["profile"]])
    off = np.abs(np.subtract(found, true))
    assert np.all(np.median(off, axis=0) < 0.05)
    assert np.all(off.max(axis=0) < 0.14)
    # The bowed edges cost some hundredths; a swap of toe and heel or root and tip would turn these over.
    for axis in (0, 1):
        assert np.corrcoef(np.array(found)[:, axis], np.array(true)[:, axis])[0, 1] > 0.75


def _closed(line: np.ndarray) -> np.ndarray:
    """A polyline there and back, so that OpenCV measures the distance from the line."""
    return np.concatenate([line, line[::-1]])[:, None]


def _centre(polygon: np.ndarray) -> tuple[float, float]:
    moments = cv2.moments(np.asarray(polygon, np.float32)[:, None])
    return moments["m10"] / moments["m00"], moments["m01"] / moments["m00"]


def test_the_readme_lists_every_photo():
    text = (FOLDER / "README.md").read_text(encoding="utf-8")
    for truth in _truths():
        assert f"| {truth['photo']} |" in text
