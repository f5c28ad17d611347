"""Teeth into a photo's reading, photos into a side's."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pattern.reading.combine import combine_photos, combine_teeth
from pattern.reading.pooling import pool, stand_out
from pattern.records import Photo, Reading, Reason, ToothReading
from pattern.settings import Settings
from pattern.teeth.found import FoundTeeth
from tests.reading.made import PHOTO, declined, patch, reading, tooth, tooth_side

SETTINGS = Settings()


def _combined(
    teeth: list[ToothReading | None],
    *,
    photo: Photo = PHOTO,
    faults: tuple[Reason, ...] = (),
    names: str = "yellow",
    flags: tuple[str, ...] = (),
) -> Reading:
    found = FoundTeeth(tuple(tooth_side(n) for n in range(len(teeth))), toe="right")
    patches = [patch(empty=t is None, name=names, flags=flags) for t in teeth]
    return combine_teeth(photo, "drive", "right", found, teeth, patches, faults, SETTINGS)


def test_teeth_that_agree_are_averaged_with_a_smaller_spread() -> None:
    one = _combined([tooth(0.4, 0.6)])
    three = _combined([tooth(v, 0.6, number=n) for n, v in enumerate((0.39, 0.40, 0.41))])
    assert three.status == "read"
    assert three.lengthwise == pytest.approx(0.40, abs=1e-9)
    assert one.lengthwise_sd is not None and three.lengthwise_sd is not None
    assert three.lengthwise_sd < one.lengthwise_sd


def test_what_all_teeth_share_is_not_averaged_away() -> None:
    many = _combined([tooth(0.4, 0.6, number=n) for n in range(12)])
    assert many.lengthwise_sd is not None
    assert many.lengthwise_sd > 0.5 * 0.02


def test_scatter_between_teeth_widens_the_spread() -> None:
    calm = _combined([tooth(v, 0.6, number=n) for n, v in enumerate((0.40, 0.40, 0.40))])
    wild = _combined([tooth(v, 0.6, number=n) for n, v in enumerate((0.34, 0.40, 0.46))])
    assert calm.lengthwise_sd is not None and wild.lengthwise_sd is not None
    assert wild.lengthwise_sd > 1.5 * calm.lengthwise_sd


def test_one_stray_tooth_of_five_is_left_out() -> None:
    values = (0.40, 0.41, 0.39, 0.40, 0.85)
    combined = _combined([tooth(v, 0.6, number=n) for n, v in enumerate(values)])
    assert combined.lengthwise == pytest.approx(0.40, abs=0.01)
    assert len(combined.teeth) == 4


def test_teeth_that_show_different_patterns_stop_the_photo() -> None:
    values = (0.2, 0.5, 0.8)
    combined = _combined([tooth(v, 0.6, number=n) for n, v in enumerate(values)])
    assert combined.status == "declined"
    assert [r.code for r in combined.reasons] == ["teeth_disagree"]
    assert "0.20 to 0.80" in combined.reasons[0].message
    assert combined.lengthwise is None


def test_a_steady_drift_is_runout_and_noise_is_not() -> None:
    steady = [tooth(0.36 + 0.03 * n, 0.6, number=n, sd=(0.01, 0.02)) for n in range(5)]
    combined = _combined(list(steady))
    assert "runout" in combined.flags
    assert combined.drift_per_tooth is not None
    assert combined.drift_per_tooth[0] == pytest.approx(0.03, abs=1e-6)
    rng = np.random.default_rng(4)
    for _ in range(20):
        noisy = [
            tooth(0.4 + rng.normal(scale=0.015), 0.6 + rng.normal(scale=0.02), number=n)
            for n in range(5)
        ]
        assert "runout" not in _combined(list(noisy)).flags


def test_a_tooth_skipped_in_the_row_counts_as_a_step() -> None:
    teeth = [tooth(0.36 + 0.02 * n, 0.6, number=n, sd=(0.01, 0.02)) for n in (0, 1, 2, 4, 5)]
    drift = _combined(list(teeth)).drift_per_tooth
    assert drift is not None
    assert drift[0] == pytest.approx(0.02, abs=1e-6)


def test_a_reason_that_stops_leaves_no_numbers() -> None:
    combined = _combined([tooth()], faults=(Reason("blurred", "Out of focus."),))
    assert combined.status == "declined"
    assert combined.lengthwise is combined.profile is combined.extent is combined.area is None
    assert combined.teeth == ()


def test_a_warning_rides_along() -> None:
    combined = _combined([tooth()], faults=(Reason("drawn_by_hand", "Drawn."),))
    assert combined.status == "read"
    assert combined.flags == ("drawn_by_hand", "few_teeth")


def test_a_single_tooth_is_flagged() -> None:
    assert "few_teeth" in _combined([tooth()]).flags
    by_hand = Reason(
        "drawn_by_hand", ""
    )  # of drawn teeth too, one alone has misled on trial photos
    assert "few_teeth" in _combined([tooth()], faults=(by_hand,)).flags
    assert "few_teeth" not in _combined([tooth(number=0), tooth(number=1)]).flags


def test_a_tooths_flag_counts_when_half_of_the_teeth_show_it() -> None:
    two = [tooth(number=0, flags=("edge_cut",)), tooth(number=1)]
    assert "edge_cut" in _combined(list(two)).flags
    three = [*two, tooth(number=2)]
    assert "edge_cut" not in _combined(list(three)).flags


@pytest.mark.parametrize(
    ("orientation", "is_mirrored"), [(1, False), (2, True), (6, False), (7, True)]
)
def test_a_mirrored_file_is_flagged(orientation: int, is_mirrored: bool) -> None:
    photo = Photo("p.jpg", "a" * 64, PHOTO.pixels, orientation)
    assert ("mirrored" in _combined([tooth()], photo=photo).flags) is is_mirrored


@pytest.mark.parametrize(
    ("names", "flags", "code"),
    [
        ("yellow", (), "no_contact"),
        ("grey", (), "no_compound"),
        ("yellow", ("glare",), "glare"),
    ],
)
def test_teeth_without_a_patch_say_why(names: str, flags: tuple[str, ...], code: str) -> None:
    combined = _combined([None, None], names=names, flags=flags)
    assert combined.status == "declined"
    assert [r.code for r in combined.reasons] == [code]


def test_no_teeth_at_all_say_so() -> None:
    empty = combine_teeth(PHOTO, "drive", "right", FoundTeeth(()), [], [], (), SETTINGS)
    assert [r.code for r in empty.reasons] == ["no_teeth"]


def test_a_reading_carries_version_settings_and_hash() -> None:
    combined = _combined([tooth()])
    assert combined.sha256 == PHOTO.sha256
    assert combined.settings == SETTINGS.fingerprint
    assert combined.version
    assert combined.size_px == (600, 400)


# --- pooling ---------------------------------------------------------------------------------------


def test_equal_spreads_give_the_plain_mean() -> None:
    pooled = pool(np.array([0.3, 0.5]), np.array([0.1, 0.1]), shared=0.0)
    assert pooled.mean == pytest.approx(0.4)


def test_without_scatter_the_pooled_spread_is_that_of_a_weighted_mean() -> None:
    sds = np.array([0.02, 0.03, 0.06])
    pooled = pool(np.array([0.4, 0.4, 0.4]), sds, shared=0.0)
    assert pooled.sd == pytest.approx(float(1 / np.sqrt((1 / sds**2).sum())))
    assert pooled.scatter == 0.0


def test_stated_spread_covers_the_true_error() -> None:
    # 400 photos: shared error, tooth-to-tooth scatter and own error all drawn at random
    rng = np.random.default_rng(8)
    within = []
    for _ in range(400):
        count = int(rng.integers(1, 6))
        sds = rng.uniform(0.015, 0.04, count)
        shared = rng.normal(scale=np.sqrt(0.5) * sds.mean())
        values = 0.5 + shared + rng.normal(scale=np.sqrt(0.5) * sds)
        pooled = pool(values, sds)
        within.append(abs(pooled.mean - 0.5) <= 2 * pooled.sd)
    assert np.mean(within) >= 0.93


def test_two_against_one_proves_nothing() -> None:
    assert not stand_out(np.array([0.4, 0.41, 0.9]), np.full(3, 0.02)).any()
    assert stand_out(np.array([0.4, 0.41, 0.39, 0.9]), np.full(4, 0.02)).tolist() == [0, 0, 0, 1]


# --- photos ------------------------------------------------------------------------------------------


def test_photos_of_a_side_are_pooled_and_declined_ones_left_out() -> None:
    side = combine_photos([reading(0.40), declined(), reading(0.44)])
    assert side is not None
    assert side.lengthwise == pytest.approx(0.42)
    assert side.length == pytest.approx(0.40)
    assert side.width == pytest.approx(0.40)
    assert side.wander == pytest.approx(0.0141, abs=1e-3)


def test_without_a_reading_there_is_no_side() -> None:
    assert combine_photos([]) is None
    assert combine_photos([declined()]) is None


def test_the_better_photo_counts_more() -> None:
    side = combine_photos([reading(0.40, sd=(0.01, 0.02)), reading(0.44, sd=(0.06, 0.06))])
    assert side is not None
    assert side.lengthwise < 0.412


def test_a_mark_that_runs_off_an_edge_names_the_edge() -> None:
    side = combine_photos([reading(0.2, 0.6, flags=("edge_cut",), low=(0.01, 0.4))])
    assert side is not None
    assert side.edges == ("toe",)
    free = combine_photos([reading(0.2, 0.6, low=(0.01, 0.4))])
    assert free is not None and free.edges == ()


def test_two_bands_are_handed_on() -> None:
    side = combine_photos([reading(flags=("two_bands",))])
    assert side is not None and side.bands == 2


@pytest.mark.parametrize(
    ("width_px", "agreement", "status"),
    [(600, 0.58, "read"), (600, 0.1, "declined"), (1400, 0.58, "declined"), (1400, 0.7, "read")],
)
def test_one_found_tooth_with_a_mark_at_an_edge_is_read_only_where_the_network_bears_it_out(
    width_px: int, agreement: float, status: str
) -> None:
    # the tooth is 400 px long; where it does not fill the picture its neighbours should show the same
    picture = Photo("p.jpg", "a" * 64, np.full((400, width_px, 3), 90, np.uint8))
    found = FoundTeeth((tooth_side(),), toe="right")
    marked = replace(patch(), agreement=agreement)
    teeth = [tooth(flags=("edge_cut",))]
    combined = combine_teeth(picture, "drive", "right", found, teeth, [marked], (), SETTINGS)
    assert combined.status == status


@pytest.mark.parametrize(
    ("count", "agreement", "status"), [(2, 0.6, "declined"), (2, 0.8, "read"), (3, 0.6, "read")]
)
def test_a_faint_mark_at_an_edge_takes_three_teeth_or_a_network_that_is_sure_of_it(
    count: int, agreement: float, status: str
) -> None:
    # an outline that slipped over a neighbour's rim shows the same on one or two teeth
    found = FoundTeeth(tuple(tooth_side(n) for n in range(count)), toe="right")
    patches = [replace(patch(), agreement=agreement) for _ in range(count)]
    teeth = [tooth(number=n, flags=("faint", "edge_cut")) for n in range(count)]
    combined = combine_teeth(PHOTO, "drive", "right", found, teeth, patches, (), SETTINGS)
    assert combined.status == status
    if status == "declined":
        assert "faint" in combined.reasons[0].message


@pytest.mark.parametrize(
    ("count", "area", "status"), [(1, 0.03, "declined"), (1, 0.07, "read"), (2, 0.03, "read")]
)
def test_a_speck_on_one_found_tooth_alone_is_no_mark(count: int, area: float, status: str) -> None:
    # a spot the brush missed on a tooth that was never rolled, seen on a picture of that kind
    found = FoundTeeth(tuple(tooth_side(n) for n in range(count)), toe="right")
    teeth = [replace(tooth(number=n), area=area) for n in range(count)]
    patches = [patch() for _ in range(count)]
    combined = combine_teeth(PHOTO, "drive", "right", found, teeth, patches, (), SETTINGS)
    assert combined.status == status
    if status == "declined":
        assert combined.reasons[0].code == "no_contact"
        assert "3 %" in combined.reasons[0].message


@pytest.mark.parametrize(
    ("count", "agreement", "status"),
    [(1, 0.34, "declined"), (1, 0.53, "declined"), (1, 0.6, "read"), (2, 0.34, "read")],
)
def test_a_bare_patch_on_one_found_tooth_where_no_mark_is_expected_is_none(
    count: int, agreement: float, status: str
) -> None:
    # a rusty tooth between shining painted ones was read, and pointed the wrong way
    found = FoundTeeth(tuple(tooth_side(n) for n in range(count)), toe="right")
    patches = [replace(patch(), agreement=agreement) for _ in range(count)]
    teeth = [tooth(number=n) for n in range(count)]
    combined = combine_teeth(PHOTO, "drive", "right", found, teeth, patches, (), SETTINGS)
    assert combined.status == status


@pytest.mark.parametrize(
    ("name", "agreement", "flags", "status"),
    [
        ("grey", 0.37, ("faint",), "declined"),
        ("grey", 0.55, ("faint",), "declined"),
        ("grey", 0.65, ("faint",), "read"),
        ("grey", 0.42, (), "read"),
        ("yellow", 0.37, ("faint",), "read"),
    ],
)
def test_faint_patches_in_the_colour_of_steel_are_reflections_unless_marks_are_expected_there(
    name: str, agreement: float, flags: tuple[str, ...], status: str
) -> None:
    # a bare ring gear in warm light was read as painted with grey compound
    found = FoundTeeth(tuple(tooth_side(n) for n in range(4)), toe="right")
    patches = [replace(patch(name=name), agreement=agreement) for _ in range(4)]
    teeth = [tooth(number=n, flags=flags) for n in range(4)]
    combined = combine_teeth(PHOTO, "drive", "right", found, teeth, patches, (), SETTINGS)
    assert combined.status == status
    if status == "declined":
        assert combined.reasons[0].code == "no_compound"


def test_a_middle_that_drifts_by_a_third_of_the_depth_over_the_teeth_is_no_one_pattern() -> None:
    # six teeth seen ever more edgewise: read 0.2 off, to the other side of the middle
    def combined(profiles: list[float]) -> Reading:
        return _combined([tooth(0.4, at, number=n) for n, at in enumerate(profiles)])

    drifting = combined([0.72, 0.63, 0.57, 0.46, 0.38, 0.37])
    assert [r.code for r in drifting.reasons] == ["teeth_disagree"]
    assert combined([0.66, 0.60, 0.55, 0.48, 0.42, 0.40]).status == "read"
