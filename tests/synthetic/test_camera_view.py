"""The drawn camera: a pinhole as OpenCV knows it, and views that show the tooth side asked for."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from pattern.records import SIDES
from pattern.synthetic.camera_view import (
    ViewWish,
    choose_view,
    hidden,
    look,
    picture_direction,
    tooth_frame,
    visible_share,
)
from pattern.synthetic.ring_spec import RingSpec
from pattern.synthetic.tooth_form import flank_points

SIZE_PX = (640, 480)


def test_projection_agrees_with_opencv():
    # cv2.projectPoints, without distortion, is the outside reference.
    camera = look(np.array([30.0, -80.0, -150.0]), np.array([90.0, 5.0, 30.0]), np.array([0.1, 0.2, -1]),
                  48.0, SIZE_PX)  # fmt: skip
    points = np.random.default_rng(0).normal([90, 5, 30], 20.0, (50, 3))
    matrix = np.stack([camera.right, -camera.up, camera.forward])
    inner = np.array([[camera.focal_px, 0, 319.5], [0, camera.focal_px, 239.5], [0, 0, 1.0]])
    rotation, _ = cv2.Rodrigues(matrix)
    expected, _ = cv2.projectPoints(points, rotation, -matrix @ camera.origin, inner, None)
    found, depth = camera.project(points)
    np.testing.assert_allclose(found, expected[:, 0], atol=1e-6)
    assert np.all(depth > 0)


@pytest.mark.parametrize("hand", ["right", "left"])
@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("system", ["tapered", "uniform"])
def test_a_chosen_view_shows_the_side_at_the_size_and_roll_asked_for(side, hand, system):
    spec = RingSpec(hand=hand, tooth_system=system)
    wish = ViewWish(tooth_px=200, roll_deg=(0.0, 0.0), yaw_deg=(-10, 10), off_centre=(0.1, 0.1))
    camera = choose_view(spec, side, 3, wish, SIZE_PX, np.random.default_rng(4))
    assert visible_share(spec, side, 3, camera.origin) >= 0.9
    ends = flank_points(spec, side, np.array([0.0, 1.0]), np.full(2, 0.5), 3)
    pixels, _ = camera.project(ends)
    assert np.linalg.norm(pixels[1] - pixels[0]) == pytest.approx(200, rel=0.25)
    frame = tooth_frame(spec, side, 3)
    assert picture_direction(camera, frame.middle, frame.middle + frame.upward) == "up"
    # Tip up, a right-hand ring gear shows the toe of a drive side on the right (geometry: its
    # convex side faces against the sense of its lean); hand and side each turn it over.
    toe = picture_direction(camera, ends[1], ends[0])
    assert toe == ("right" if (side == "drive") == (hand == "right") else "left")


def test_a_triangle_before_a_point_hides_it_and_one_behind_does_not():
    origin = np.array([0.0, 0.0, 10.0])
    wall = np.array([[[-5.0, -5.0, 4.0], [5.0, -5.0, 4.0], [0.0, 8.0, 4.0]]])
    points = np.array([[0.0, 0.0, 0.0], [0.0, 0.0, 6.0], [9.0, 9.0, 0.0]])
    assert hidden(points, origin, wall).tolist() == [True, False, False]


def test_the_other_side_of_the_tooth_is_hidden_from_a_view_square_to_this_one():
    frame = tooth_frame(RingSpec(), "drive", 0)
    origin = frame.middle + 200.0 * frame.normal
    assert visible_share(RingSpec(), "coast", 0, origin) == 0.0


def test_a_wish_that_no_view_meets_is_refused():
    wish = ViewWish(raise_deg=(-89.0, -85.0), yaw_deg=(0.0, 0.0))
    with pytest.raises(ValueError, match="no view"):
        choose_view(RingSpec(), "drive", 0, wish, SIZE_PX, np.random.default_rng(0), tries=3)


def test_a_phone_that_cannot_focus_nearer_crops_instead():
    wish = replace(ViewWish(), tooth_px=600.0, fov_deg=70.0, nearest_mm=300.0)
    camera = choose_view(RingSpec(), "drive", 0, wish, SIZE_PX, np.random.default_rng(0))
    assert camera.fov_deg < 40.0
    assert np.linalg.norm(camera.origin - tooth_frame(RingSpec(), "drive", 0).middle) > 299.0
