"""Records to JSON and back: nothing lost, old rows read, wrong ones refused by name."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pattern.archive.codec import from_data, from_json, to_data, to_json
from pattern.errors import ArchiveDamaged
from pattern.jobs import AsFound, FinalSheet, Part
from pattern.records import Advice, Axle, Expected, Reading, Roll, SideReading
from tests.archive.samples import AXLE, advice, photo_bytes, reading, roll

SHARES = st.floats(-0.25, 1.25)
SPREADS = st.floats(1e-4, 1.0)
MAYBE = st.none() | st.floats(1e-3, 1.5)
SIDES = st.builds(
    SideReading, SHARES, SHARES, SPREADS, SPREADS, MAYBE, MAYBE, st.none() | st.floats(-90, 90),
    st.lists(st.sampled_from(["toe", "heel", "tip", "root"]), max_size=2).map(tuple),
)  # fmt: skip
ROLLS = st.builds(
    Roll, st.none() | SIDES, st.none() | SIDES, st.none() | st.floats(0, 0.1),
    st.none() | st.floats(-0.15, 0.15), st.none() | st.floats(-0.15, 0.15),
)  # fmt: skip
ADVICE = st.builds(
    Advice, st.sampled_from(["accept", "adjust", "reject", "undecided"]), MAYBE, MAYBE, MAYBE, MAYBE,
    shim_stack=st.dictionaries(st.text(max_size=8), st.lists(st.floats(0, 1), max_size=3).map(tuple), max_size=2),
    expected=st.none() | st.builds(Expected, st.none() | SIDES, st.none() | SIDES, MAYBE, MAYBE),
    reasons=st.lists(st.text(max_size=40), max_size=3).map(tuple),
)  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(ROLLS, ADVICE)
def test_what_goes_in_comes_out_to_the_last_bit(made: Roll, told: Advice) -> None:
    assert from_json(Roll, to_json(made)) == made
    assert from_json(Advice, to_json(told)) == told


def test_equal_records_make_equal_text() -> None:
    assert to_json(roll()) == to_json(roll())
    assert to_json(advice()) != to_json(replace(advice(), chance=0.5))


def test_numpy_values_become_plain_ones() -> None:
    made = Roll(backlash_in=np.float64(0.008))  # type: ignore[arg-type]
    assert json.loads(to_json(made))["backlash_in"] == 0.008
    assert to_data(np.array([[1.234, 5.0]])) == [[1.23, 5.0]]
    assert to_data(float("nan")) is None, "unknown is null, never a number"


def test_an_old_row_reads_with_a_newer_program() -> None:
    data = to_data(AXLE)
    del data["notch_in"], data["position"]
    data["a_field_since_dropped"] = 5
    assert from_data(Axle, data) == AXLE


@pytest.mark.parametrize(
    ("kind", "data", "words"),
    [
        (AsFound, {"backlsh_in": []}, "'backlsh_in' is none of backlash_in"),
        (Axle, {"ring_teeth": 41}, "pinion_teeth is missing"),
        (Part, {"name": 5}, "5 where a text is expected"),
        (FinalSheet, {"depth_shim_in": "thick"}, "'thick' where a number is expected"),
        (FinalSheet, {"torques": {}}, "where a list is expected"),
        (FinalSheet, [], "where the fields of FinalSheet are expected"),
        (AsFound, {"dial": "sideways"}, "'sideways' is none of normal, rotation"),
    ],
)
def test_what_a_person_typed_is_refused_by_name(kind: type, data: object, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        from_data(kind, data, strict=True)


@pytest.mark.parametrize("text", ["", "{", "[]", '{"drive": 5}', '{"backlash_in": 7}', "null"])
def test_a_spoilt_row_is_named(text: str) -> None:
    with pytest.raises(ArchiveDamaged, match=r"^job J0001, roll 2: a stored Roll does not fit"):
        from_json(Roll, text, where="job J0001, roll 2")


def test_empty_outlines_keep_their_shape() -> None:
    data = to_data(reading(photo_bytes()))
    data["teeth"][0]["contact"] = []
    assert from_data(Reading, data).teeth[0].contact.shape == (0, 2)
