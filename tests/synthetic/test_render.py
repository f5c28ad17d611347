"""Rendering by the real path tracer, small: truth against the renderer's own rays. Needs Mitsuba."""

from __future__ import annotations

import json
import zipfile
from dataclasses import replace

import cv2
import numpy as np
import pytest

from pattern.synthetic.render import main, scene_list
from pattern.synthetic.scene_build import draw, hides, load
from pattern.synthetic.scene_truth import photo_truth
from pattern.synthetic.tooth_form import flank_points

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def mi():
    import mitsuba

    mitsuba.set_variant("scalar_rgb")
    return mitsuba


def _small(name: str):
    scene = next(s for list_name in ("samples", "trial") for s in scene_list(list_name)
                 if s.name == name)  # fmt: skip
    wish = replace(scene.wish, tooth_px=scene.wish.tooth_px * 320 / scene.size_px[0])
    return replace(scene, size_px=(320, 240), wish=wish, aperture_mm=0.01)


@pytest.mark.parametrize("name", ["larch_drive", "maple_coast", "birch_coast"])
def test_the_renderers_own_rays_through_projected_points_meet_the_tooth_there(mi, name):
    drawing = draw(_small(name))
    loaded = load(mi, drawing, 1)
    scene, camera = drawing.scene, drawing.camera
    truth = photo_truth(scene, camera, drawing.atlas.contact,
                        lambda points: hides(mi, loaded, camera, points))  # fmt: skip
    sensor = loaded.sensors()[0]
    checked = 0
    for tooth in (t for t in truth["teeth"] if t["visible"] > 0.97):
        share, depth = np.meshgrid([0.1, 0.35, 0.6, 0.9], [0.2, 0.5, 0.8])
        points = flank_points(scene.spec, scene.side, share.ravel(), depth.ravel(), tooth["tooth"])
        for point, pixel in zip(points, camera.project(points)[0], strict=True):
            # Pixel centres are whole numbers here, at 0.5 in the renderer's film.
            at = mi.Point2f((pixel[0] + 0.5) / camera.width_px, (pixel[1] + 0.5) / camera.height_px)
            ray, _ = sensor.sample_ray(0.0, 0.5, at, mi.Point2f(0.5, 0.5))
            hit = np.array(loaded.ray_intersect(ray).p)
            assert np.linalg.norm(hit - point) < 0.35
            checked += 1
    assert checked >= 24


def test_the_mark_is_bare_steel_and_its_surroundings_are_compound(mi):
    # Brightness-free check of place: yellow is far less blue than steel is.
    scene = replace(_small("larch_drive"), size_px=(480, 360))
    scene = replace(scene, wish=replace(scene.wish, tooth_px=150.0))
    drawing = draw(scene)
    loaded = load(mi, drawing, 8)
    picture = np.array(mi.render(loaded, spp=8))
    truth = photo_truth(scene, drawing.camera, drawing.atlas.contact,
                        lambda points: hides(mi, loaded, drawing.camera, points))  # fmt: skip
    inside = np.zeros(picture.shape[:2], np.uint8)
    side = np.zeros_like(inside)
    for tooth in truth["teeth"]:
        cv2.fillPoly(side, [np.round(tooth["tip_edge"] + tooth["root_edge"][::-1]).astype(int)], 1)
        for polygon in tooth["contact"]:
            cv2.fillPoly(inside, [np.round(polygon).astype(int)], 1)
    inner = cv2.erode(inside, np.ones((3, 3), np.uint8)) > 0
    outer = (side > 0) & (cv2.dilate(inside, np.ones((5, 5), np.uint8)) == 0)

    def blueness(mask):
        colour = picture[mask].mean(axis=0)
        return colour[2] / colour[0]

    assert inner.sum() > 60
    assert blueness(inner) > 1.5 * blueness(outer)


def test_one_command_writes_photos_with_their_truth(tmp_path):
    code = main(["--out", str(tmp_path), "--list", "samples", "--variant", "scalar_rgb", "--spp", "2",
                 "--workers", "1", "--shrink", "10", "--only", "elm_drive"])  # fmt: skip
    assert code == 0
    with zipfile.ZipFile(tmp_path / "samples_0_00.zip") as archive:
        assert sorted(archive.namelist()) == ["elm_drive.jpg", "elm_drive.json"]
        truth = json.loads(archive.read("elm_drive.json"))
        picture = cv2.imdecode(np.frombuffer(archive.read("elm_drive.jpg"), np.uint8), 1)
    assert truth["readable"]
    assert truth["side"] == "drive"
    assert picture.shape[:2] == tuple(truth["size"][::-1])
