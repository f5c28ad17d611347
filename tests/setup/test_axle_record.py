"""The axle and its rolls as JSON and TOML: messages name the field, nothing is guessed."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pattern.errors import InvalidAxle
from pattern.records import Axle, Roll, SideReading
from pattern.setup.axle_record import (
    axle_from_fields,
    case_from_fields,
    case_json,
    load_axle,
    load_case,
    parse_case,
    roll_from_fields,
)

CASE: dict[str, Any] = {
    "axle": {
        "ring_teeth": 41,
        "pinion_teeth": 11,
        "ring_diameter_in": 8.5,
        "tooth_system": "tapered",
        "backlash_min_in": 0.006,
        "backlash_max_in": 0.010,
        "depth_shim": "cartridge",
        "depth_shim_in": 0.030,
    },
    "rolls": [
        {"drive": {"lengthwise": 0.61, "profile": 0.42, "edges": ["heel"]}, "backlash_in": 0.008},
        {
            "drive": {"lengthwise": 0.52, "profile": 0.47},
            "coast": {"lengthwise": 0.48, "profile": 0.45, "lengthwise_sd": 0.02},
            "backlash_in": 0.007,
            "pinion_move_in": -0.004,
            "ring_move_in": 0.0,
        },
    ],
}

READER_LINE: dict[str, Any] = {
    "photo": "p1.jpg", "sha256": "00", "status": "read", "reasons": [], "side": "drive",
    "side_from": "given", "toe": "left", "lengthwise": 0.61, "lengthwise_sd": 0.02, "profile": 0.42,
    "profile_sd": 0.03, "extent": {"lengthwise": [0.38, 0.83], "profile": [0.15, 0.66]},
    "tilt_deg": 8.0, "area": 0.21, "compound": "yellow", "flags": [], "teeth": [], "version": "0",
}  # fmt: skip


def test_a_case_becomes_the_records() -> None:
    axle, rolls = parse_case(json.dumps(CASE))
    assert axle == Axle(
        ring_teeth=41, pinion_teeth=11, ring_diameter_in=8.5, tooth_system="tapered",
        depth_shim="cartridge", depth_shim_in=0.030,
    )  # fmt: skip
    assert rolls[0] == Roll(
        drive=SideReading(0.61, 0.42, edges=("heel",)), coast=None, backlash_in=0.008
    )
    assert rolls[1].pinion_move_in == -0.004
    assert rolls[1].coast == SideReading(0.48, 0.45, lengthwise_sd=0.02)


def test_what_is_not_given_stays_unknown() -> None:
    axle, rolls = case_from_fields(
        {"axle": {"ring_teeth": 41, "pinion_teeth": 11, "ring_diameter_in": 8.5}, "rolls": [{}]}
    )
    assert axle.tooth_system == "unknown"
    assert axle.depth_shim == "unknown"
    assert axle.depth_shim_in is None
    assert rolls == [Roll()]


shares = st.floats(0.0, 1.0)
readings = st.builds(
    SideReading,
    lengthwise=shares,
    profile=shares,
    lengthwise_sd=st.floats(0.001, 0.2),
    profile_sd=st.floats(0.001, 0.2),
    length=st.none() | st.floats(0.01, 1.0),
    width=st.none() | st.floats(0.01, 1.0),
    tilt_deg=st.none() | st.floats(-80, 80),
    edges=st.lists(st.sampled_from(["toe", "heel", "tip", "root"]), max_size=4).map(tuple),
    bands=st.integers(1, 3),
    wander=st.none() | st.floats(0.0, 0.5),
)
axles = st.builds(
    Axle,
    ring_teeth=st.integers(30, 60),
    pinion_teeth=st.integers(6, 20),
    ring_diameter_in=st.floats(6.0, 14.0),
    offset_in=st.none() | st.floats(0.0, 3.0),
    tooth_system=st.sampled_from(["tapered", "uniform", "unknown"]),
    hand=st.sampled_from(["right", "left"]),
    condition=st.sampled_from(["new", "used"]),
    depth_shim=st.sampled_from(["pinion_head", "cartridge", "unknown"]),
    left_shim_in=st.none() | st.floats(0.0, 0.3),
    target=st.none() | st.tuples(readings, st.none() | readings),
    side_adjusters=st.sampled_from(["shims", "threaded"]),
)
moves = st.none() | st.floats(-0.02, 0.02)
later_rolls = st.builds(
    Roll,
    drive=st.none() | readings,
    coast=st.none() | readings,
    backlash_in=st.none() | st.floats(0.0, 0.03),
    pinion_move_in=moves,
    ring_move_in=moves,
)
first_rolls = st.builds(Roll, drive=st.none() | readings, coast=st.none() | readings)


@given(axles, first_rolls, st.lists(later_rolls, max_size=3))
def test_a_case_survives_json(axle: Axle, first: Roll, later: list[Roll]) -> None:
    rolls = [first, *later]
    assert parse_case(case_json(axle, rolls)) == (axle, rolls)


def test_numpy_numbers_are_written_as_plain_ones() -> None:
    axle = Axle(ring_teeth=41, pinion_teeth=11, ring_diameter_in=float(np.float64(8.5)))
    roll = Roll(drive=SideReading(np.float32(0.5), np.float64(0.25)))  # type: ignore[arg-type]
    assert parse_case(case_json(axle, [roll]))[1][0].drive == SideReading(0.5, 0.25)


def test_the_same_case_as_a_toml_file(tmp_path: Path) -> None:
    file = tmp_path / "job.toml"
    file.write_text(
        "[axle]\nring_teeth = 41\npinion_teeth = 11\nring_diameter_in = 8.5\n"
        'tooth_system = "tapered"\ndepth_shim = "cartridge"\ndepth_shim_in = 0.030\n'
        "[[rolls]]\nbacklash_in = 0.008\n[rolls.drive]\nlengthwise = 0.61\nprofile = 0.42\n"
    )
    axle, rolls = load_case(file)
    assert (axle, len(rolls)) == (parse_case(json.dumps(CASE))[0], 1)
    assert load_axle(file) == axle


def test_an_axle_file_by_itself_or_in_a_case(tmp_path: Path) -> None:
    alone, case = tmp_path / "axle.json", tmp_path / "case.json"
    alone.write_text(json.dumps(CASE["axle"]))
    case.write_text(json.dumps(CASE))
    assert load_axle(alone) == load_axle(case)


def test_millimetres_are_taken_where_inches_are_meant() -> None:
    # 1 in = 25.4 mm exactly: NIST SP 811 App. B
    axle = axle_from_fields(
        {"ring_teeth": 41, "pinion_teeth": 11, "ring_diameter_mm": 215.9, "offset_mm": 38.1}
    )
    assert axle.ring_diameter_in == pytest.approx(8.5)
    assert axle.offset_in == pytest.approx(1.5)


def test_a_line_of_the_reader_serves_as_a_side() -> None:
    drive = roll_from_fields({"drive": READER_LINE}).drive
    assert drive is not None
    assert (drive.lengthwise, drive.profile, drive.tilt_deg) == (0.61, 0.42, 8.0)
    assert (drive.lengthwise_sd, drive.profile_sd) == (0.02, 0.03)
    assert (drive.length, drive.width) == pytest.approx((0.83 - 0.38, 0.66 - 0.15))
    assert roll_from_fields({"drive": READER_LINE | {"flags": ["two_bands"]}}).drive.bands == 2  # type: ignore[union-attr]


def test_a_declined_photo_is_a_missing_side_and_a_swapped_one_an_error() -> None:
    declined = {"status": "declined", "side": "coast", "lengthwise": None, "profile": None}
    assert roll_from_fields({"coast": declined}).coast is None
    with pytest.raises(InvalidAxle, match="reading is of the drive side") as caught:
        roll_from_fields({"coast": READER_LINE})
    assert caught.value.subject == "coast"


def test_the_as_found_pattern_is_the_target() -> None:
    found = {"drive": {"lengthwise": 0.42, "profile": 0.5}}
    axle = axle_from_fields(CASE["axle"] | {"condition": "used", "target": found})
    assert axle.target == (SideReading(0.42, 0.5), None)


def test_a_stamped_ratio_never_stands_in_for_the_counts() -> None:
    # 3.73 is 41/11: common practice, no source
    without = {"ratio": 3.73, "pinion_teeth": 11, "ring_diameter_in": 8.5}
    with pytest.raises(InvalidAxle, match="41/11") as caught:
        axle_from_fields(without)
    assert caught.value.subject == "ring_teeth"
    assert axle_from_fields(CASE["axle"] | {"ratio": 3.73}).ring_teeth == 41
    with pytest.raises(InvalidAxle, match="stamped"):
        axle_from_fields(CASE["axle"] | {"ratio": 4.10})


Change = Callable[[dict[str, Any]], object]


@pytest.mark.parametrize(
    ("change", "field"),
    [
        (lambda c: c.pop("axle"), "axle"),
        (lambda c: c.pop("rolls"), "rolls"),
        (lambda c: c.update(job="7"), "job"),
        (lambda c: c.update(rolls={}), "rolls"),
        (lambda c: c.update(rolls=[7]), "rolls.0"),
        (lambda c: c["axle"].pop("ring_teeth"), "axle.ring_teeth"),
        (lambda c: c["axle"].update(ring_teeth=0), "axle.ring_teeth"),
        (lambda c: c["axle"].update(ring_teeth="41"), "axle.ring_teeth"),
        (lambda c: c["axle"].update(ring_teeth=True), "axle.ring_teeth"),
        (lambda c: c["axle"].update(ring_teeth=11, pinion_teeth=41), "axle.pinion_teeth"),
        (lambda c: c["axle"].update(ring_teeth=20, pinion_teeth=21), "axle.pinion_teeth"),
        (lambda c: c["axle"].update(ring_tooth=41), "axle.ring_tooth"),
        (lambda c: c["axle"].update(ring_diameter_in=float("nan")), "axle.ring_diameter_in"),
        (lambda c: c["axle"].update(ring_diameter_in=10**400), "axle.ring_diameter_in"),
        (lambda c: c["axle"].update(face_width_mm=10**400), "axle.face_width_mm"),
        (lambda c: c["axle"].update(offset_in=1.0, offset_mm=25.4), "axle.offset_mm"),
        (lambda c: c["axle"].update(backlash_min_in=0.02), "axle.backlash_min_in"),
        (lambda c: c["axle"].update(depth_shim="under it"), "axle.depth_shim"),
        (lambda c: c["axle"].update(target=7), "axle.target"),
        (lambda c: c["axle"].update(target={"drive": None}), "axle.target"),
        (
            lambda c: c["axle"].update(target={"coast": {"lengthwise": 7, "profile": 0.5}}),
            "axle.target.coast.lengthwise",
        ),
        (lambda c: c["rolls"][0].update(backlash_in=-0.001), "rolls.0.backlash_in"),
        (lambda c: c["rolls"][0].update(backlash_in=8), "rolls.0.backlash_in"),
        (lambda c: c["rolls"][0].update(pinion_move_in=0.004), "rolls.0.pinion_move_in"),
        (lambda c: c["rolls"][1].update(pinion_move_in=4), "rolls.1.pinion_move_in"),
        (lambda c: c["rolls"][1].update(ring_move_in="out"), "rolls.1.ring_move_in"),
        (lambda c: c["rolls"][1].update(drive=0.5), "rolls.1.drive"),
        (lambda c: c["rolls"][1]["coast"].pop("profile"), "rolls.1.coast.profile"),
        (lambda c: c["rolls"][1]["coast"].update(profile=None), "rolls.1.coast.profile"),
        (lambda c: c["rolls"][0]["drive"].update(edges="heel"), "rolls.0.drive.edges"),
        (lambda c: c["rolls"][0]["drive"].update(edges=["left"]), "rolls.0.drive.edges.0"),
        (lambda c: c["rolls"][0]["drive"].update(bands=0), "rolls.0.drive.bands"),
        (lambda c: c["rolls"][0]["drive"].update(wander=float("nan")), "rolls.0.drive.wander"),
        (
            lambda c: c["rolls"][0].update(
                drive=READER_LINE | {"extent": {"lengthwise": [None, 1]}}
            ),
            "rolls.0.drive.extent.lengthwise",
        ),
    ],
)
def test_bad_fields_are_named_with_the_file(change: Change, field: str) -> None:
    case = copy.deepcopy(CASE)
    change(case)
    with pytest.raises(InvalidAxle) as caught:
        parse_case(json.dumps(case), "job.json")
    assert caught.value.subject == f"job.json: {field}"
    assert caught.value.remedy
    assert len(caught.value.message) < 300


def test_a_misspelt_field_is_met_with_the_right_name() -> None:
    with pytest.raises(InvalidAxle, match="Did you mean ring_teeth"):
        axle_from_fields({"ring_theet": 41, "pinion_teeth": 11, "ring_diameter_in": 8.5})


@pytest.mark.parametrize(
    "text",
    [
        "", "{", "[]", "null", "7", '"axle"', '{"axle": 1, "axle": 2}', "[" * 100_000,
        '{"axle": ' + "1" * 5000 + "}", "\ufeff{}",
    ],
)  # fmt: skip
def test_text_that_is_no_case_is_refused_with_the_file(text: str) -> None:
    with pytest.raises(InvalidAxle, match=r"job\.json"):
        parse_case(text, "job.json")


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("job.json", b"\xff\xfe\x00"),
        ("job.json", b""),
        ("job.toml", b"[axle\nring_teeth = 41"),
        ("job.toml", b""),
    ],
)
def test_files_that_cannot_be_read_are_named(tmp_path: Path, name: str, content: bytes) -> None:
    file = tmp_path / name
    file.write_bytes(content)
    with pytest.raises(InvalidAxle, match=name.replace(".", r"\.")):
        load_case(file)


def test_a_missing_file_and_a_folder_are_named(tmp_path: Path) -> None:
    for path in (tmp_path / "gone.json", tmp_path):
        with pytest.raises(InvalidAxle) as caught:
            load_axle(path)
        assert caught.value.subject == str(path)
