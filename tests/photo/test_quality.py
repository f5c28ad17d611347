"""Quality gates on the teeth: what is measured, and what the reasons say."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from pattern.photo.quality import check_photo, measure_light
from pattern.records import Photo
from pattern.settings import Settings
from tests.drawn import Drawn, drawn_gear

SETTINGS = Settings()


def _drawn() -> Drawn:
    return drawn_gear("drive", tilt_deg=(8.0, 40.0))


def _changed(photo: Photo, pixels: np.ndarray) -> Photo:
    return replace(photo, pixels=np.clip(pixels, 0, 255).astype(np.uint8))


def _regions(drawn: Drawn) -> list[np.ndarray]:
    return [np.concatenate([t.tip_edge, t.root_edge[::-1]]) for t in drawn.teeth]


def _codes(photo: Photo, drawn: Drawn) -> list[str]:
    return [reason.code for reason in check_photo(photo, _regions(drawn), SETTINGS)]


def test_a_good_photo_has_no_reason() -> None:
    drawn = _drawn()
    assert _codes(drawn.photo, drawn) == []


def test_blur_is_measured_within_a_third() -> None:
    drawn = _drawn()
    region = _regions(drawn)[1]
    sharp = measure_light(drawn.photo, region)
    for added in (4.0, 7.0):
        soft = _changed(drawn.photo, cv2.GaussianBlur(drawn.photo.pixels, (0, 0), added))
        light = measure_light(soft, region)
        measured = light.blur_share * light.length_px
        own = sharp.blur_share * sharp.length_px
        assert np.sqrt(measured**2 - own**2) == pytest.approx(added, rel=0.34)


def test_a_blurred_photo_is_declined_and_three_pixels_on_a_long_tooth_are_not() -> None:
    drawn = _drawn()
    blurred = cv2.GaussianBlur(drawn.photo.pixels, (0, 0), 9.0)
    assert _codes(_changed(drawn.photo, blurred), drawn) == ["blurred"]
    slightly = cv2.GaussianBlur(drawn.photo.pixels, (0, 0), 3.0)
    assert _codes(_changed(drawn.photo, slightly), drawn) == []


def test_a_dark_photo_is_declined_and_a_dim_one_is_not() -> None:
    drawn = _drawn()
    dark = drawn.photo.pixels * 0.1
    (reason,) = check_photo(_changed(drawn.photo, dark), _regions(drawn), SETTINGS)
    assert reason.code == "too_dark"
    assert "of 255" in reason.message and "light" in reason.message
    # 1.5 stops darker, through the sRGB curve (IEC 61966-2-1)
    linear = (drawn.photo.pixels / 255.0) ** 2.2 * 2**-1.5
    assert _codes(_changed(drawn.photo, 255 * linear ** (1 / 2.2)), drawn) == []


def test_a_washed_out_photo_is_declined() -> None:
    drawn = _drawn()
    assert _codes(_changed(drawn.photo, drawn.photo.pixels * 12.0), drawn) == ["blown_out"]


def test_teeth_too_small_say_how_small() -> None:
    drawn = _drawn()
    small = cv2.resize(drawn.photo.pixels, None, fx=0.12, fy=0.12, interpolation=cv2.INTER_AREA)
    regions = [0.12 * region for region in _regions(drawn)]
    reasons = check_photo(replace(drawn.photo, pixels=small), regions, SETTINGS)
    assert [r.code for r in reasons] == ["too_small"]
    assert "45 are needed" in reasons[0].message


def test_one_bad_tooth_of_three_does_not_stop_the_photo() -> None:
    drawn = _drawn()
    pixels = drawn.photo.pixels.astype(float)
    low = int(drawn.teeth[2].corners[:, 1].min())
    high = int(drawn.teeth[2].corners[:, 1].max())
    top = min(int(t.corners[:, 1].min()) for t in drawn.teeth)
    if low == top:
        pixels[:high] *= 0.05
    else:
        pixels[low:] *= 0.05
    assert _codes(_changed(drawn.photo, pixels), drawn) == []


def test_without_a_region_there_is_nothing_to_judge() -> None:
    assert check_photo(_drawn().photo, [], SETTINGS) == ()


def test_a_region_off_the_picture_counts_as_unusable() -> None:
    drawn = _drawn()
    far = _regions(drawn)[0] + 5000.0
    assert measure_light(drawn.photo, far).blur_share == 1.0
