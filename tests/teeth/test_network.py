"""The network at run time: where its grid lies in the photo, left hands, its size, what it finds."""

from __future__ import annotations

import json
from importlib import resources
from pathlib import Path

import cv2
import numpy as np
import pytest

from pattern.teeth import runtime
from pattern.teeth.network import (
    QUALITY_CODES,
    assemble,
    input_size,
    network_input,
    predict_fields,
)
from pattern.teeth.runtime import run
from tests.drawn import photo_of

SAMPLES = Path(__file__).parents[2] / "sample_images"


@pytest.fixture(scope="module")
def sample():
    picture = cv2.imread(str(SAMPLES / "rowan_drive.jpg"))[..., ::-1].copy()
    return picture, json.loads((SAMPLES / "rowan_drive.json").read_text())


@pytest.fixture(scope="module")
def fields(sample):
    return predict_fields(photo_of(sample[0]), "drive", "right", long_side=512)


def teeth_mask(fields, truth):
    mask = np.zeros(fields.shape, np.uint8)
    for tooth in truth["teeth"]:
        outline = np.array(tooth["tip_edge"] + tooth["root_edge"][::-1])
        cv2.fillPoly(mask, [np.round(fields.grid_xy(outline)).astype(np.int32)], 1)
    return mask > 0


def test_the_weights_stay_under_16_mb():
    files = resources.files("pattern.teeth").joinpath("weights").iterdir()
    sizes = {f.name: len(f.read_bytes()) for f in files if f.name.endswith(".onnx")}
    assert set(sizes) == {"reader.onnx", "marks.onnx"}
    assert sum(sizes.values()) < 16_000_000


def test_maps_are_probabilities_and_the_quality_has_every_code(fields):
    for name in ("side", "other", "painted", "compound", "contact", "edge"):
        values = getattr(fields, name)
        assert values.shape == fields.shape and values.dtype == np.float32
        assert values.min() >= 0 and values.max() <= 1
    assert tuple(fields.quality) == QUALITY_CODES
    assert fields.lengthwise_sd.min() > 0 and fields.profile_sd.min() > 0


def test_the_painted_teeth_of_a_rendered_photo_are_found(sample, fields):
    # Truth comes from the path tracer's own camera, the training pictures from a rasteriser.
    inside = teeth_mask(fields, sample[1])
    assert fields.side[inside].mean() > 0.75
    assert fields.painted[inside].mean() > 0.75
    far = cv2.dilate(inside.astype(np.uint8), np.ones((81, 81))) == 0
    assert fields.side[far].mean() < 0.1


def test_lengthwise_rises_from_toe_to_heel_on_each_tooth(sample, fields):
    for tooth in sample[1]["teeth"]:
        tip, root = np.array(tooth["tip_edge"]), np.array(tooth["root_edge"])
        middle = np.round(fields.grid_xy(0.5 * (tip + root))[3:-3]).astype(int)
        found = fields.lengthwise[middle[:, 1], middle[:, 0]]
        truth = np.linspace(0, 1, len(tip))[3:-3]
        assert np.corrcoef(found, truth)[0, 1] > 0.9


def test_grid_and_photo_places_invert_each_other_and_cover_the_picture(sample, fields):
    height, width = sample[0].shape[:2]
    rows, columns = fields.shape
    outer = np.array([[-0.5, -0.5], [columns - 0.5, rows - 0.5]])
    np.testing.assert_allclose(
        fields.photo_xy(outer), [[-0.5, -0.5], [width - 0.5, height - 0.5]], atol=1e-9
    )
    places = np.random.default_rng(0).uniform(0, 300, (20, 2))
    np.testing.assert_allclose(fields.grid_xy(fields.photo_xy(places)), places, atol=1e-9)


def test_a_region_lands_where_it_was_cut(sample, fields):
    picture, _ = sample
    region = (160, 96, 160 + 1024, 96 + 768)
    cut = predict_fields(
        photo_of(picture[96 : 96 + 768, 160 : 160 + 1024]), "drive", "right", long_side=512
    )
    part = predict_fields(photo_of(picture), "drive", "right", long_side=512, region=region)
    np.testing.assert_array_equal(part.side, cut.side)
    np.testing.assert_allclose(part.to_photo[:, 2], cut.to_photo[:, 2] + [160, 96])


def test_a_left_hand_gear_is_read_as_the_mirror_image_of_a_right_hand_one(sample, fields):
    mirrored = predict_fields(photo_of(sample[0][:, ::-1]), "drive", "left", long_side=512)
    np.testing.assert_allclose(mirrored.side[:, ::-1], fields.side, atol=0.02)
    on = fields.side > 0.8
    np.testing.assert_allclose(mirrored.lengthwise[:, ::-1][on], fields.lengthwise[on], atol=0.02)


def test_the_declared_side_reaches_the_network(sample):
    picture = np.zeros((64, 64, 3), np.uint8)
    assert np.all(network_input(picture, "drive")[0, 3] == 1)
    assert np.all(network_input(picture, "coast")[0, 3] == -1)
    assert network_input(picture + 255, "drive")[0, :3].max() == pytest.approx(1.0)


def test_input_sizes_are_multiples_of_32_and_keep_the_shape():
    assert input_size(4000, 3000, 512) == (512, 384)
    assert input_size(3000, 4000, 512) == (384, 512)
    assert input_size(1920, 1080, 512) == (512, 288)
    assert input_size(5000, 200, 512) == (512, 64)


def test_an_empty_region_is_refused(sample):
    with pytest.raises(ValueError, match="leaves nothing"):
        predict_fields(
            photo_of(sample[0]), "drive", "right", long_side=512, region=(9000, 0, 9100, 50)
        )


def test_raw_outputs_become_probabilities_coordinates_and_spreads():
    maps = np.zeros((10, 2, 3), np.float32)
    maps[6:8] = 0.25
    maps[8:] = np.log(0.03)
    found = assemble(maps, np.zeros(len(QUALITY_CODES), np.float32), np.eye(2, 3))
    assert found.side[0, 0] == pytest.approx(0.5)
    assert found.profile[1, 2] == pytest.approx(0.25)
    assert found.profile_sd[0, 0] == pytest.approx(0.03)
    assert found.quality["blurred"] == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("weights", "shape", "outputs"),
    [
        ("reader.onnx", (1, 4, 192, 256), ("maps", "quality")),
        ("marks.onnx", (3, 11, 48, 144), ("maps", "scalars")),
    ],
)
def test_another_runtime_answers_the_same(weights, shape, outputs):
    # outside reference: OpenCV's own reading of the ONNX file
    given = np.random.default_rng(2).uniform(-1, 1, shape).astype(np.float32)
    found = run(weights, given, outputs)
    data = resources.files("pattern.teeth").joinpath("weights", weights).read_bytes()
    other = cv2.dnn.readNetFromONNX(np.frombuffer(data, np.uint8))
    for n, one in enumerate(given):
        other.setInput(one[None])
        for mine, theirs in zip(found, other.forward(list(outputs)), strict=True):
            np.testing.assert_allclose(mine[n].ravel(), np.ravel(theirs), atol=1e-4)


def test_a_worker_with_one_core_gets_a_network_with_one_thread(monkeypatch):
    asked = []
    loaded = runtime._loaded
    monkeypatch.setattr(runtime, "_loaded", lambda *a: asked.append(a) or loaded(*a))
    before = cv2.getNumThreads()
    given = np.zeros((1, 4, 64, 64), np.float32)
    try:
        cv2.setNumThreads(1)
        (alone,) = run("reader.onnx", given, ("quality",))
    finally:
        cv2.setNumThreads(before)
    assert asked == [("reader.onnx", 1)]
    assert loaded("reader.onnx", 1).get_session_options().intra_op_num_threads == 1
    np.testing.assert_allclose(alone, run("reader.onnx", given, ("quality",))[0], atol=1e-4)
