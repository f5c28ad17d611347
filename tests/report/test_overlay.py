"""The overlay: there, legible, and on the right tooth."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from pattern.records import Photo, Reading, Reason
from pattern.report.overlay import CENTRE, OUTLINE, PATCH, caption, draw_overlay, overlay_image
from tests.reading.made import declined, reading, tooth


def _photo(level: int, size: tuple[int, int] = (600, 400)) -> Photo:
    return Photo("p.jpg", "a" * 64, np.full((size[1], size[0], 3), level, np.uint8))


def _count(image: Image.Image, colour: tuple[int, int, int]) -> int:
    return int((np.abs(np.asarray(image, int) - colour).max(axis=2) < 12).sum())


def _full() -> Reading:
    return replace(reading(), teeth=(tooth(),))


@pytest.mark.parametrize("level", [0, 90, 255])
def test_every_part_is_drawn_on_any_background(level: int) -> None:
    image = overlay_image(_photo(level), _full())
    for colour in (OUTLINE, PATCH, CENTRE):
        assert _count(image, colour) > 60


def test_a_tooth_laid_from_a_drawn_one_has_a_dashed_outline() -> None:
    followed = replace(_full(), teeth=(replace(tooth(), flags=("followed",)),))
    drawn, dashed = (_count(overlay_image(_photo(90), r), OUTLINE) for r in (_full(), followed))
    assert 0.3 * drawn < dashed < 0.85 * drawn


def test_the_caption_says_how_many_teeth_were_laid_from_a_drawn_one() -> None:
    one, other = tooth(), replace(tooth(), flags=("followed",))
    assert "3 teeth, 2 of them laid from" in caption(replace(reading(), teeth=(one, other, other)))
    assert "laid" not in caption(replace(reading(), teeth=(one,)))


def test_the_centre_lies_where_the_reading_says() -> None:
    image = np.asarray(overlay_image(_photo(90), _full()), int)[:400]
    rows, columns = np.nonzero(np.abs(image - CENTRE).max(axis=2) < 12)
    scale = image.shape[1] / 600
    # lengthwise 0.4 from the toe on the right, profile 0.6 of the way up
    assert columns.mean() / scale == pytest.approx(340, abs=6)
    assert rows.mean() / scale == pytest.approx(132, abs=8)


def test_the_picture_is_no_larger_than_asked_and_opens_as_png() -> None:
    data = draw_overlay(_photo(90, (4000, 3000)), _full(), long_side=1000)
    image = Image.open(io.BytesIO(data))
    assert image.format == "PNG"
    assert 900 <= image.width <= 1000


def test_small_teeth_are_shown_large() -> None:
    wide = overlay_image(_photo(90, (4000, 3000)), _full())
    blue = np.abs(np.asarray(wide, int) - OUTLINE).max(axis=2) < 12
    columns = np.nonzero(blue.any(axis=0))[0]
    assert np.ptp(columns) > 0.35 * wide.width


def test_words_keep_their_size_relative_to_the_picture() -> None:
    large = overlay_image(_photo(90, (2400, 1600)), _full(), long_side=1600)
    white = np.asarray(large)[: 1600 * 1600 // 2400].min(axis=2) > 240
    assert white.sum() > 2000  # at a phone's 390 px this leaves letters of 11 px


def test_a_declined_photo_says_why() -> None:
    why = replace(declined(), reasons=(Reason("blurred", "Out of focus. Tap on the teeth."),))
    image = overlay_image(_photo(90), why)
    plain = overlay_image(_photo(90), declined())
    assert image.height >= plain.height > 400
    assert _count(image, OUTLINE) == 0


def test_a_declined_photo_has_the_place_marked_where_it_has_one() -> None:
    place = np.array([[200.0, 100], [400, 100], [400, 180], [200, 180]])
    image = overlay_image(_photo(90), replace(declined(), marked=(place,)))
    marked = np.abs(np.asarray(image, int) - CENTRE).max(axis=2) < 12
    rows, columns = np.nonzero(marked)
    scale = image.width / 600
    assert (columns.min() / scale, columns.max() / scale) == pytest.approx((200, 400), abs=4)
    assert (rows.min() / scale, rows.max() / scale) == pytest.approx((100, 180), abs=4)
    assert _count(overlay_image(_photo(90), declined()), CENTRE) == 0
