"""The drawing of marks: well-formed, named, with the toe on the side that the geometry puts it."""

from __future__ import annotations

import re
import xml.etree.ElementTree as Tree

import numpy as np
import pytest

from pattern.gears.blank import blank_from_axle
from pattern.gears.drawing import draw_marks_svg, toe_on_left
from pattern.gears.easeoff import EaseOff
from pattern.gears.evaluate import evaluate
from pattern.gears.flank import ring_flank
from pattern.gears.kinematics import Moves
from pattern.records import SIDES, Axle, SideReading
from tests.gears.sets import blank

TEXT = "{http://www.w3.org/2000/svg}text"
READING = SideReading(0.7, 0.3, length=0.4, width=0.4, tilt_deg=8.0)


def texts(svg):
    return {t.text: (float(t.get("x")), float(t.get("y"))) for t in Tree.fromstring(svg).iter(TEXT)}


@pytest.mark.parametrize("hand", ["right", "left"])
@pytest.mark.parametrize("side", SIDES)
def test_the_toe_is_where_the_surfaces_put_it(side, hand):
    """Looked at from outside along the normal with the tip up, from the flank itself."""
    one = blank_from_axle(Axle(41, 11, 8.5, hand=hand, tooth_system="tapered"))
    toe, heel, root, tip = (
        ring_flank(one, side, u, v)[0] for u, v in ((0, 0.5), (1, 0.5), (0.5, 0), (0.5, 1))
    )
    look = -ring_flank(one, side, 0.5, 0.5)[1]
    to_the_right = np.cross(look, tip - root)
    assert (float((heel - toe) @ to_the_right) > 0) == toe_on_left(side, hand)


def test_both_sides_toe_heel_face_and_flank_are_named():
    marks = evaluate(blank("tapered"), Moves(), EaseOff(), EaseOff())
    svg = draw_marks_svg(marks.drive, marks.coast)
    for word in (
        "Drive side",
        "Coast side",
        "convex",
        "concave",
        "toe",
        "heel",
        "face",
        "flank",
        "root",
        "top land",
    ):
        assert f">{word}<" in svg
    assert Tree.fromstring(svg).get("viewBox") == "0 0 300 272"


def test_right_and_left_hand_are_mirrored():
    first = draw_marks_svg(READING, None, hand="right")
    second = draw_marks_svg(READING, None, hand="left")
    assert first.index(">toe<") and first != second
    cross = [float(re.search(r'class="c" d="M([\d.]+)', svg)[1]) + 5 for svg in (first, second)]
    assert cross[0] + cross[1] == pytest.approx(300, abs=0.3)


def test_a_mark_toward_the_heel_is_drawn_at_the_heel():
    svg = draw_marks_svg(None, READING)
    x = float(re.search(r'class="c" d="M([\d.]+)', svg)[1]) + 5
    assert abs(x - texts(svg)["heel"][0]) < abs(x - texts(svg)["toe"][0])


def test_words_tell_what_the_picture_shows():
    svg = draw_marks_svg(READING, None, title="Roll 2 <before>")
    assert "70% of the way from toe to heel" in svg
    assert "Coast side: no mark." in svg
    assert Tree.fromstring(svg)[0].text == "Roll 2 <before>"


def test_an_expected_mark_is_told_apart_by_more_than_colour():
    svg = draw_marks_svg(READING, READING, expected_drive=SideReading(0.5, 0.5))
    assert svg.count('class="next"') == 1
    assert "stroke-dasharray" in svg


def test_computed_marks_keep_their_shape():
    marks = evaluate(blank("tapered"), Moves(), EaseOff(), EaseOff())
    path = re.search(r'class="mark" d="([^"]+)"', draw_marks_svg(marks.drive, None))[1]
    xs = np.array([float(x) for x in re.findall(r"[ML]([\d.]+) ", path)])
    span = (xs.max() - xs.min()) / 276
    low, high = marks.drive.extent_lengthwise
    assert span == pytest.approx((high - low) / 0.8, abs=0.08)
