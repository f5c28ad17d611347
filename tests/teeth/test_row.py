"""Teeth of one photo help each other, on drawn ring gears and on the sample photos."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pattern.errors import InvalidOutline
from pattern.photo.decode import load_photo
from pattern.records import Photo, ToothSide
from pattern.settings import Settings
from pattern.teeth.find import find_teeth
from pattern.teeth.found import FoundTeeth
from pattern.teeth.given import given_teeth
from pattern.teeth.row import follow_corrected, given_row
from pattern.workflow import read_photo
from tests.drawn import Drawn, drawn_gear

SAMPLES = Path(__file__).parents[2] / "sample_images"
SETTINGS = Settings()
Outline = list[list[float]]


def _sides(drawn: Drawn) -> list[ToothSide]:
    """The drawn teeth as if found without any error."""
    return [ToothSide(t.corners, t.tip_edge, t.root_edge, 1.0, 0.9) for t in drawn.teeth]


def _moved(tooth: ToothSide, by: np.ndarray, sd_px: float) -> ToothSide:
    return replace(
        tooth, corners=tooth.corners + by, tip_edge=tooth.tip_edge + by,
        root_edge=tooth.root_edge + by, corner_sd_px=sd_px,
    )  # fmt: skip


def _apart(teeth: tuple[ToothSide, ...] | list[ToothSide], true: list[ToothSide]) -> float:
    pairs = zip(teeth, true, strict=True)
    return float(np.mean([np.linalg.norm(t.corners - o.corners, axis=1) for t, o in pairs]))


def test_one_corrected_tooth_moves_the_others_toward_the_truth() -> None:
    drawn = drawn_gear("drive", tilt_deg=(8.0, 40.0))
    true = _sides(drawn)
    # found with a common fault: everything 8 px toward the tip
    up = true[0].corners[:2].mean(axis=0) - true[0].corners[2:].mean(axis=0)
    off = [_moved(t, 8.0 * up / np.linalg.norm(up), 4.0) for t in true]
    followed = follow_corrected(drawn.photo, true[:1], off[:1], off[1:], "drive", "right")
    assert _apart(off[1:], true[1:]) == pytest.approx(8.0)
    assert _apart(followed, true[1:]) < 0.6 * 8.0


def test_a_tooth_corrected_for_its_own_fault_moves_the_others_by_half_of_it_at_most() -> None:
    drawn = drawn_gear("drive", tilt_deg=(8.0, 40.0))
    true = [_moved(t, np.zeros(2), 4.0) for t in _sides(drawn)]
    wrong = _moved(true[0], np.array([0.0, 6.0]), 4.0)
    corrected = replace(true[0], corner_sd_px=1.0)
    followed = follow_corrected(drawn.photo, [corrected], [wrong], true[1:], "drive", "right")
    assert _apart(followed, true[1:]) < 0.6 * 6.0


def test_the_farther_a_followed_tooth_was_moved_the_less_sure_it_is() -> None:
    drawn = drawn_gear("drive", tilt_deg=(8.0, 40.0))
    true = _sides(drawn)
    sure = []
    for by_px in (1.0, 12.0):
        off = [_moved(t, np.array([0.0, by_px]), 4.0) for t in true]
        (one, _) = follow_corrected(drawn.photo, true[:1], off[:1], off[1:], "drive", "right")
        assert one.source == "followed"
        sure.append((one.confidence, -one.corner_sd_px))
    assert sure[1] < sure[0] < (off[1].confidence, 0.0)


def test_without_a_correction_there_is_nothing_to_follow() -> None:
    drawn = drawn_gear("drive", tilt_deg=(8.0, 40.0))
    assert follow_corrected(drawn.photo, [], [], _sides(drawn), "drive", "right") == ()


def test_where_no_ring_gear_explains_the_row_no_tooth_follows() -> None:
    drawn = drawn_gear("drive", tilt_deg=(8.0, 40.0))
    true = _sides(drawn)
    elsewhere = _moved(true[0], np.array([-300.0, 250.0]), 1.0)
    elsewhere = replace(elsewhere, corners=elsewhere.corners[[2, 3, 0, 1]])
    turned = replace(
        elsewhere, tip_edge=elsewhere.root_edge[::-1], root_edge=elsewhere.tip_edge[::-1]
    )
    assert follow_corrected(drawn.photo, [turned], [None], true[1:], "drive", "right") == ()


# --- on photos ---------------------------------------------------------------------------------------


class Case:
    """A sample photo, the teeth found in it, and the true outline of each (six points, px)."""

    def __init__(self, name: str) -> None:
        (file,) = [p for p in SAMPLES.glob(f"{name}.*") if p.suffix != ".json"]
        self.truth = json.loads((SAMPLES / f"{name}.json").read_text(encoding="utf-8"))
        self.photo: Photo = load_photo(file, SETTINGS)
        self.side, self.hand = self.truth["side"], self.truth["hand"]
        found = find_teeth(self.photo, self.side, self.hand, SETTINGS)
        self.teeth = [t for t in found.teeth if self.error(t) < 0.15]  # of which the truth is known

    def true_outline(self, tooth: ToothSide) -> Outline:
        """Of the true tooth that lies nearest."""

        def apart(true: dict[str, Outline]) -> float:
            return float(np.linalg.norm(np.array(true["outline"]) - tooth.corners))

        best = min(self.truth["teeth"], key=apart)
        tip, root, (a, b, c, d) = best["tip_edge"], best["root_edge"], best["outline"]
        return [a, tip[len(tip) // 2], b, c, root[len(root) // 2], d]

    def error(self, tooth: ToothSide) -> float:
        """Mean distance of the corners from the true ones, as a share of the tooth's length."""
        true = np.array(self.true_outline(tooth))[[0, 2, 3, 5]]
        length = np.linalg.norm(true[1] - true[0])
        return float(np.linalg.norm(tooth.corners - true, axis=1).mean() / length)

    def row(self, *outlines: Outline, without: tuple[tuple[float, float], ...] = ()) -> FoundTeeth:
        return given_row(self.photo, self.side, self.hand, outlines, SETTINGS, without=without)


@pytest.fixture(scope="module")
def maple() -> Case:
    return Case("maple_drive")


@pytest.mark.parametrize("name", ["maple_drive", "elm_coast", "juniper_drive", "hazel_coast"])
def test_the_other_teeth_of_a_photo_come_nearer_to_the_truth(name: str) -> None:
    # rendered sample photos with their truth; see sample_images/README.md
    case = Case(name)
    row = case.row(case.true_outline(case.teeth[0]))
    followed = [t for t in row.teeth if t.source == "followed" and case.error(t) < 0.15]
    assert len(followed) == len(case.teeth) - 1
    before = np.mean([case.error(t) for t in case.teeth[1:]])
    assert np.mean([case.error(t) for t in followed]) < before


def test_a_drawn_outline_is_used_as_given(maple: Case) -> None:
    outline = maple.true_outline(maple.teeth[1])
    (alone,) = given_teeth(maple.photo, maple.side, maple.hand, [outline]).teeth
    first = maple.row(outline).teeth[0]
    assert first.source == "given"
    assert (first.corners == alone.corners).all()
    assert (first.tip_edge == alone.tip_edge).all()


def test_no_tooth_is_measured_twice(maple: Case) -> None:
    outlines = [maple.true_outline(t) for t in maple.teeth]
    row = maple.row(*outlines)
    given = [t for t in row.teeth if t.source == "given"]
    assert len(given) == len(outlines)
    depth = np.median([np.linalg.norm(t.corners[0] - t.corners[3]) for t in given])
    for other in (
        t for t in row.teeth if t.source == "followed"
    ):  # a neighbour that is not painted
        apart = [np.linalg.norm((t.corners - other.corners).mean(axis=0)) for t in given]
        assert min(apart) > depth


def test_a_tooth_that_the_user_points_at_is_left_out(maple: Case) -> None:
    outline = maple.true_outline(maple.teeth[0])
    everything = maple.row(outline)
    x, y = everything.teeth[2].corners.mean(axis=0)
    less = maple.row(outline, without=((float(x), float(y)),))
    assert len(less.teeth) == len(everything.teeth) - 1
    assert all(np.linalg.norm(t.corners.mean(axis=0) - (x, y)) > 20 for t in less.teeth)


def test_what_followed_is_said_with_what_to_do(maple: Case) -> None:
    row = maple.row(maple.true_outline(maple.teeth[0]))
    (told,) = [f for f in row.flags if f.code == "followed"]
    assert told.message.startswith(f"{len(row.teeth) - 1} other outline(s) laid from them.")
    assert len(row.regions) == len(row.teeth)


def test_without_a_drawn_outline_none_can_follow(maple: Case) -> None:
    with pytest.raises(InvalidOutline, match="no outline given"):
        read_photo(maple.photo, maple.side, hand=maple.hand, others_follow=True)


def test_where_no_teeth_are_found_only_the_drawn_ones_are_measured() -> None:
    drawn = drawn_gear("drive")
    grey = replace(drawn.photo, pixels=np.full_like(drawn.photo.pixels, 128))
    row = given_row(grey, "drive", drawn.hand, drawn.outlines[:1], SETTINGS)
    assert [t.source for t in row.teeth] == ["given"]
