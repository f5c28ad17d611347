"""Compound told from metal, and the patch found, on drawn teeth."""

from __future__ import annotations

import numpy as np
import pytest

from pattern.contact.colour_name import colour_name
from pattern.contact.patch import find_contacts
from pattern.photo.colour import to_lab
from pattern.reading.moments import moments_of
from pattern.records import Side, ToothSide
from pattern.settings import Settings
from pattern.teeth.found import FoundTeeth
from tests.drawn import BLUE, GREEN, GREY, RED, WHITE, YELLOW, Drawn, Mark, drawn_gear

SETTINGS = Settings()


def _found(drawn: Drawn) -> FoundTeeth:
    """The drawn teeth with their true outlines: these tests judge the patch alone."""
    return FoundTeeth(
        tuple(ToothSide(t.corners, t.tip_edge, t.root_edge, 1.0, 1.0) for t in drawn.teeth)
    )


def _centre(drawn: Drawn) -> tuple[float, float]:
    patches = find_contacts(drawn.photo, _found(drawn), SETTINGS)
    measured = [moments_of(np.where(p.contact > 0.5, p.contact, 0)) for p in patches]
    assert all(m is not None for m in measured)
    return (
        float(np.median([m.lengthwise for m in measured if m])),
        float(np.median([m.profile for m in measured if m])),
    )


@pytest.mark.parametrize(
    ("colour", "name", "steel"),
    [
        (YELLOW, "yellow", 105.0),
        (WHITE, "white", 90.0),
        (BLUE, "blue", 130.0),
        (GREEN, "green", 100.0),
        (RED, "orange-red", 110.0),
        (GREY, "white", 80.0),
    ],
    ids=["yellow", "white", "blue", "green", "orange-red", "grey-white"],
)
def test_the_patch_is_found_in_every_compound(
    colour: tuple[int, int, int], name: str, steel: float
) -> None:
    drawn = drawn_gear("drive", colour=colour, steel=steel, tilt_deg=(5.0, 38.0))
    assert _centre(drawn) == pytest.approx((drawn.lengthwise, drawn.profile), abs=0.03)
    patches = find_contacts(drawn.photo, _found(drawn), SETTINGS)
    assert {p.compound_name for p in patches} <= {name, "grey"} if colour == GREY else {name}


@pytest.mark.parametrize("steel", [95.0, 125.0, 150.0, 170.0])
def test_a_compound_close_to_the_steels_own_grey_is_read_right_or_not_at_all(steel: float) -> None:
    drawn = drawn_gear("coast", colour=GREY, steel=steel, tilt_deg=(5.0, 38.0), teeth=(0,))
    patch = find_contacts(drawn.photo, _found(drawn), SETTINGS)[0]
    moments = moments_of(np.where(patch.contact > 0.5, patch.contact, 0))
    assert moments is not None or steel > 100
    if moments is not None:
        expected = (drawn.lengthwise, drawn.profile)
        assert (moments.lengthwise, moments.profile) == pytest.approx(expected, abs=0.06)


@pytest.mark.parametrize(
    ("lengthwise", "profile"), [(0.2, 0.5), (0.8, 0.5), (0.5, 0.25), (0.5, 0.78)]
)
@pytest.mark.parametrize("side", ["drive", "coast"])
def test_a_mark_off_the_middle_is_read_where_it_lies(
    side: Side, lengthwise: float, profile: float
) -> None:
    mark = Mark(lengthwise, profile, 0.16, 0.17)
    drawn = drawn_gear(side, mark=mark, tilt_deg=(0.0, 40.0), teeth=(0,))
    assert _centre(drawn) == pytest.approx((lengthwise, profile), abs=0.04)


def test_the_slant_of_a_diagonal_mark_has_its_sign() -> None:
    for turn in (-0.25, 0.25):
        mark = Mark(0.5, 0.5, 0.30, 0.14, turn)
        drawn = drawn_gear("drive", mark=mark, tilt_deg=(0.0, 40.0), teeth=(0,))
        patch = find_contacts(drawn.photo, _found(drawn), SETTINGS)[0]
        moments = moments_of(patch.contact)
        assert moments is not None
        assert np.sign(moments.tilt_deg) == np.sign(turn)


def test_compound_without_a_roll_has_no_patch() -> None:
    for colour in (YELLOW, BLUE, RED):
        drawn = drawn_gear("drive", colour=colour, mark=None, tilt_deg=(0.0, 40.0), teeth=(0,))
        patch = find_contacts(drawn.photo, _found(drawn), SETTINGS)[0]
        assert not patch.contact.any()


def test_the_patchs_rim_lies_on_the_mark_in_the_photo() -> None:
    drawn = drawn_gear("drive", tilt_deg=(0.0, 40.0), teeth=(0,))
    patch = find_contacts(drawn.photo, _found(drawn), SETTINGS)[0]
    seen = drawn.contact_map.nonzero()
    low, high = patch.boundary_px.min(axis=0), patch.boundary_px.max(axis=0)
    assert low == pytest.approx((seen[1].min(), seen[0].min()), abs=5)
    assert high == pytest.approx((seen[1].max(), seen[0].max()), abs=5)


def test_a_washed_out_mark_is_flagged_as_glare() -> None:
    drawn = drawn_gear("drive", colour=WHITE, steel=250.0, gain=2.5, teeth=(0,))
    patch = find_contacts(drawn.photo, _found(drawn), SETTINGS)[0]
    assert {"glare", "some_glare"} & set(patch.flags)


# --- colour ----------------------------------------------------------------------------------------


def test_lab_agrees_with_published_values() -> None:
    # S61: IEC 61966-2-1 sRGB through CIE L*a*b* (D65): white, red and blue as scikit-image has them
    colours = np.array([[[255, 255, 255], [255, 0, 0], [0, 0, 255]]], np.uint8)
    expected = [[100.0, 0.0, 0.0], [53.2406, 80.0923, 67.2028], [32.2957, 79.1856, -107.8573]]
    assert to_lab(colours)[0] == pytest.approx(np.array(expected), abs=0.35)


@pytest.mark.parametrize(
    ("rgb", "name"),
    [
        ((222, 190, 40), "yellow"),
        ((240, 240, 235), "white"),
        ((130, 130, 128), "grey"),
        ((40, 70, 170), "blue"),
        ((50, 140, 70), "green"),
        ((205, 75, 30), "orange-red"),
        ((30, 30, 30), "dark"),
    ],
)
def test_compounds_have_the_trades_plain_names(rgb: tuple[int, int, int], name: str) -> None:
    lab = to_lab(np.full((2, 2, 3), rgb, np.uint8)).reshape(-1, 3)
    assert colour_name(lab) == name


def test_a_warm_lamp_does_not_make_white_compound_yellow() -> None:
    warm = to_lab(np.full((2, 2, 3), (235, 215, 180), np.uint8)).reshape(-1, 3)
    steel = to_lab(np.full((2, 2, 3), (140, 126, 98), np.uint8)).reshape(-1, 3)
    assert colour_name(warm, steel) == "white"
