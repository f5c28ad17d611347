"""Outlines given by the user: what is taken, what is refused, and the picture's frame."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from pattern.errors import InvalidInput, InvalidOutline
from pattern.records import Direction, Hand, Photo, Side
from pattern.teeth.given import frame_tooth, given_teeth

PHOTO = Photo("p", "0" * 64, np.full((400, 600, 3), 90, np.uint8))
# drive side of a right-hand ring gear, tip up: the toe is on the right
DRIVE = [[500.0, 100.0], [100.0, 90.0], [100.0, 190.0], [500.0, 170.0]]


def _refused(outlines: object, side: Side = "drive") -> str:
    with pytest.raises(InvalidOutline) as caught:
        given_teeth(PHOTO, side, "right", outlines)  # type: ignore[arg-type]
    assert caught.value.exit_code == 5
    assert caught.value.remedy
    return caught.value.message


def test_corners_are_used_as_given() -> None:
    found = given_teeth(PHOTO, "drive", "right", [DRIVE])
    assert np.allclose(found.teeth[0].corners, DRIVE)
    assert found.teeth[0].source == "given"
    assert found.toe == "right"
    assert [flag.code for flag in found.flags] == ["drawn_by_hand"]


def test_six_points_bend_the_long_edges_as_drawn() -> None:
    a, b, c, d = DRIVE
    outline = [a, [300.0, 130.0], b, c, [300.0, 215.0], d]
    tooth = given_teeth(PHOTO, "drive", "right", [outline]).teeth[0]
    assert np.allclose(tooth.tip_edge[len(tooth.tip_edge) // 2], [300, 130])
    assert np.allclose(tooth.root_edge[len(tooth.root_edge) // 2], [300, 215])


@pytest.mark.parametrize("count", [0, 1, 2, 3, 5, 7])
def test_a_wrong_number_of_corners_is_named(count: int) -> None:
    outline = [[100.0 + 20 * n, 100.0 + 10 * n] for n in range(count)]
    assert f"{count} corners" in _refused([outline])


def test_an_outline_that_crosses_itself_is_refused() -> None:
    a, b, c, d = DRIVE
    assert "crosses itself" in _refused([[a, c, b, d]])
    assert "crosses itself" in _refused([[a, b, d, c]])


@pytest.mark.parametrize(
    "outline",
    [
        "four",
        [[1, 2], [3, 4], [5, 6], "x"],
        [[1, 2], [3, 4], [5, 6], [7]],
        [[1, 2], [3, 4], [5, 6], [7, None]],
        [[1, 2], [3, 4], [5, 6], [7, float("nan")]],
        [[1, 2], [3, 4], [5, 6], [7, True]],
        5,
    ],
)
def test_what_is_no_list_of_points_is_refused(outline: object) -> None:
    assert "outline 1" in _refused([outline])


@pytest.mark.parametrize("outlines", [[], None, "frames", 3])
def test_no_outline_at_all_is_refused(outlines: object) -> None:
    assert "no outline" in _refused(outlines)


def test_a_tiny_outline_is_refused() -> None:
    assert "pixels" in _refused([[[105, 100], [100, 100], [100, 103], [105, 103]]])


def test_an_outline_mostly_off_the_picture_is_refused() -> None:
    moved = [[x + 400, y] for x, y in DRIVE]
    assert "outside the picture" in _refused([moved])


def test_tip_and_end_confused_is_noticed() -> None:
    a, b, c, d = DRIVE
    assert "deeper" in _refused([[b, c, d, a]])


def test_the_second_outline_is_named_when_it_is_the_bad_one() -> None:
    assert _refused([DRIVE, DRIVE[:3]]).startswith("outline 2")


@pytest.mark.parametrize("side", ["drive", "coast"])
def test_toe_and_heel_exchanged_never_give_a_reading(side: Side) -> None:
    a, b, c, d = DRIVE
    right = [a, b, c, d] if side == "drive" else [b, a, d, c]
    assert given_teeth(PHOTO, side, "right", [right]).teeth
    assert "wrong way round" in _refused([[right[1], right[0], right[3], right[2]]], side)


def test_the_other_hand_or_the_other_side_turns_the_sense() -> None:
    assert "wrong way round" in _refused([DRIVE], "coast")
    with pytest.raises(InvalidOutline):
        given_teeth(PHOTO, "drive", "left", [DRIVE])
    assert given_teeth(PHOTO, "coast", "left", [DRIVE]).teeth


def test_an_unknown_side_or_hand_is_named() -> None:
    with pytest.raises(InvalidInput, match="side"):
        given_teeth(PHOTO, "front", "right", [DRIVE])  # type: ignore[arg-type]
    with pytest.raises(InvalidInput, match="hand"):
        given_teeth(PHOTO, "drive", "both", [DRIVE])  # type: ignore[arg-type]


# --- frame ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("side", "hand"), list(itertools.product(("drive", "coast"), ("right", "left")))
)
@pytest.mark.parametrize("tip", ["up", "down", "left", "right", None])
def test_the_frames_corners_run_as_side_and_hand_demand(
    side: Side, hand: Hand, tip: Direction | None
) -> None:
    found = frame_tooth(PHOTO, side, hand, tip=tip)
    corners = found.teeth[0].corners
    assert sorted(map(tuple, corners.tolist())) == [(0, 0), (0, 399), (599, 0), (599, 399)]
    middle_tip = corners[:2].mean(axis=0)
    expected = {"up": (299.5, 0), "down": (299.5, 399), "left": (0, 199.5), "right": (599, 199.5)}
    assert tuple(middle_tip) == expected[tip or "up"]
    x, y = corners[:, 0], corners[:, 1]
    clockwise = np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) > 0
    assert clockwise == ((side == "coast") == (hand == "right"))
    assert not any(flag.code == "toe_overridden" for flag in found.flags)


def test_a_toe_up_or_down_says_where_the_tip_is() -> None:
    found = frame_tooth(PHOTO, "drive", "right", toe="up")
    assert found.toe == "up"
    assert tuple(found.teeth[0].corners[:2].mean(axis=0)) == (0, 199.5)


def test_a_toe_against_side_and_hand_is_taken_and_flagged() -> None:
    found = frame_tooth(PHOTO, "drive", "right", toe="left")
    assert found.toe == "left"
    assert np.allclose(found.teeth[0].corners[0], [0, 0])
    assert "toe_overridden" in [flag.code for flag in found.flags]


def test_toe_and_tip_on_one_axis_are_refused() -> None:
    with pytest.raises(InvalidOutline, match="same axis"):
        frame_tooth(PHOTO, "drive", "right", toe="up", tip="down")
