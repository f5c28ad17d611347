"""The physics of random sets: finite, mirrored, monotonic where theory says so; or refused by name.

`pytest -m slow tests/hard/test_physics.py -s` draws 400 sets; the default run a few of them.
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import fields, replace
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pattern.errors import InvalidAxle, InvalidInput
from pattern.gears.blank import Blank, blank_from_axle
from pattern.gears.easeoff import EaseOff
from pattern.gears.evaluate import evaluate, evaluate_batch
from pattern.gears.kinematics import Moves
from pattern.gears.predict import predict
from pattern.records import SIDES, Axle

QUIET = settings(deadline=None, database=None, suppress_health_check=list(HealthCheck))
FEW, MANY = 10, 400


def _maybe(numbers: st.SearchStrategy[float]) -> st.SearchStrategy[float | None]:
    return st.none() | numbers


@st.composite
def axles(draw: st.DrawFn) -> Axle:
    """Axles as shops have them: 6.5 to 14 in, ratios 2.5 to 5.5, with more or less known of them."""
    diameter = draw(st.floats(6.5, 14.0))
    pinion = draw(st.integers(8, 16))
    ring = draw(st.integers(max(33, math.ceil(2.5 * pinion)), min(52, math.floor(5.5 * pinion))))
    width = draw(_maybe(st.floats(0.12, 0.18)))
    offset = draw(_maybe(st.just(0.0) | st.floats(0.08, 0.18)))
    cutter = draw(_maybe(st.floats(0.3, 0.55)))
    return Axle(
        ring, pinion, diameter,
        tooth_system=draw(st.sampled_from(("tapered", "uniform"))),
        hand=draw(st.sampled_from(("right", "left"))),
        face_width_in=None if width is None else width * diameter,
        offset_in=None if offset is None else offset * diameter,
        cutter_radius_in=None if cutter is None else cutter * diameter,
    )  # fmt: skip


def ease_offs() -> st.SearchStrategy[EaseOff]:
    """Crowning along and across, bias, mm: the range that `pattern.gears.prior` draws from."""
    return st.builds(
        EaseOff, st.floats(0.015, 0.08), st.floats(0.008, 0.03), st.floats(-0.01, 0.01)
    )


CASES = st.tuples(axles(), ease_offs(), ease_offs(), st.floats(-0.05, 0.05))
Case = tuple[Axle, EaseOff, EaseOff, float]


def _blank(axle: Axle, count: Counter[str]) -> Blank | None:
    """The blank, or None where the set cannot be, which names a field of the axle."""
    try:
        found = blank_from_axle(axle)
        evaluate(found, Moves(), EaseOff(0.03, 0.02), EaseOff(0.03, 0.02))
    except InvalidAxle as refused:
        assert refused.subject in {field.name for field in fields(Axle)}, refused.message
        assert refused.remedy
        count[f"refused: {refused.subject}"] += 1
        return None
    count["computed"] += 1
    return found


def check_finite_and_mirrored(case: Case, count: Counter[str]) -> None:
    axle, drive, coast, move_mm = case
    one = _blank(axle, count)
    if one is None:
        return
    other = blank_from_axle(replace(axle, hand="left" if axle.hand == "right" else "right"))
    moves = Moves(move_mm, -0.5 * move_mm)
    marks, mirrored = evaluate(one, moves, drive, coast), evaluate(other, moves, drive, coast)
    assert math.isfinite(marks.backlash_mm)
    assert mirrored.backlash_mm == pytest.approx(marks.backlash_mm, abs=1e-6)
    for side in SIDES:
        here, there = marks.side(side), mirrored.side(side)
        assert np.isfinite(here.mask).all()
        assert np.allclose(here.mask, there.mask, atol=1e-4)
        if here.lengthwise is not None and math.isfinite(here.lengthwise):
            assert -0.05 <= here.lengthwise <= 1.05
            assert -0.05 <= here.profile <= 1.05
            assert there.lengthwise == pytest.approx(here.lengthwise, abs=1e-4)
            assert there.profile == pytest.approx(here.profile, abs=1e-4)


LADDER_MM = np.linspace(-0.06, 0.06, 7)


def check_monotonic(case: Case, count: Counter[str]) -> None:
    axle, drive, coast, _ = case
    one = _blank(axle, count)
    if one is None:
        return
    pinion = evaluate_batch(one, Moves(LADDER_MM, np.zeros(7)), _times(drive, 7), _times(coast, 7))
    ring = evaluate_batch(one, Moves(np.zeros(7), LADDER_MM), _times(drive, 7), _times(coast, 7))
    assert (np.diff(pinion.backlash_mm) < 0).all(), "a deeper pinion takes backlash away"
    assert (np.diff(ring.backlash_mm) > 0).all(), "a ring gear farther away gives backlash"
    # (tan φ drive + tan φ coast) sin Γ: the elementary relation, common practice, no source
    wanted = sum(math.tan(one.pressure_rad(side)) for side in SIDES)
    wanted *= math.sin(one.cones.ring_angle_rad)
    rate = np.diff(ring.backlash_mm).mean() / np.diff(LADDER_MM).mean()
    assert rate == pytest.approx(wanted, rel=0.25)
    for side in SIDES:
        profile = pinion.side(side).profile
        assert np.nanmin(np.diff(profile)) < 0 or np.isnan(profile).all()
        assert np.nansum(np.diff(profile)) < 0, f"{side}: deeper goes to the root"


def _times(ease: EaseOff, count: int) -> EaseOff:
    return EaseOff(*(np.full(count, getattr(ease, f.name)) for f in fields(EaseOff)))


def check_crowning_and_film(case: Case, count: Counter[str]) -> None:
    axle, ease, _, _ = case
    one = _blank(axle, count)
    if one is None:
        return
    shares = np.array([1.0, 1.6, 2.4])
    more = replace(_times(ease, 3), lengthwise_mm=ease.lengthwise_mm * shares)
    still = Moves(np.zeros(3), np.zeros(3))
    crowned = evaluate_batch(one, still, more, more)
    film = np.array([0.004, 0.00635, 0.010])
    painted = evaluate_batch(one, still, _times(ease, 3), _times(ease, 3), film_mm=film)
    for side in SIDES:
        assert (np.diff(crowned.side(side).length) < 1e-3).all(), "more crowning, shorter mark"
        assert (np.diff(painted.side(side).area) > 0).all(), "thicker film, larger mark"


CHECKS = {
    "finite and mirrored": check_finite_and_mirrored,
    "monotonic in the moves": check_monotonic,
    "monotonic in crowning and film": check_crowning_and_film,
}


def _draw(name: str, examples: int) -> None:
    count: Counter[str] = Counter()

    @settings(QUIET, max_examples=examples)
    @given(case=CASES)
    def one(case: Case) -> None:
        CHECKS[name](case, count)

    one()
    print(f"{name}: {dict(count)}")
    assert count["computed"] > 0.3 * count.total(), "hardly any usual set was computed"


@pytest.mark.parametrize("name", CHECKS)
def test_random_sets_are_computed_as_theory_says_or_refused_by_name(name: str) -> None:
    _draw(name, FEW)


@pytest.mark.slow
@pytest.mark.timeout(3600)
@pytest.mark.parametrize("name", CHECKS)
def test_four_hundred_random_sets(name: str) -> None:
    _draw(name, MANY)


# --- axles that cannot be -----------------------------------------------------------------------------------

WILD: dict[str, Any] = {
    "ring_teeth": st.integers(12, 120), "pinion_teeth": st.integers(3, 40),
    "ring_diameter_in": st.floats(2.0, 40.0), "face_width_in": _maybe(st.floats(0.2, 10.0)),
    "offset_in": _maybe(st.floats(0.0, 8.0)), "cutter_radius_in": _maybe(st.floats(0.5, 20.0)),
    "spiral_angle_deg": _maybe(st.floats(0.0, 60.0)),
    "pressure_angle_drive_deg": _maybe(st.floats(8.0, 35.0)),
    "pressure_angle_coast_deg": _maybe(st.floats(8.0, 35.0)),
    "tooth_system": st.sampled_from(("tapered", "uniform", "unknown")),
}  # fmt: skip


def _wild(given_fields: dict[str, Any], pinion_in: float, ring_in: float) -> str:
    """Numbers, or a refusal that names a field: nothing else may come of whatever passes as an axle."""
    try:
        found = predict(Axle(**given_fields), pinion_in, ring_in)
    except (InvalidAxle, InvalidInput) as refused:
        assert refused.subject.split(",")[0] in {f.name for f in fields(Axle)} | {
            "pinion_move_in", "ring_move_in",
        }, refused.message  # fmt: skip
        assert refused.remedy
        return "refused"
    assert math.isfinite(found.backlash_in) and found.backlash_in > 0
    for side in (found.drive, found.coast):
        if side is not None:
            assert all(
                math.isfinite(v) for v in (side.lengthwise, side.profile, side.lengthwise_sd)
            )
    return "computed"


def _draw_wild(examples: int) -> None:
    count: Counter[str] = Counter()

    @settings(QUIET, max_examples=examples)
    @given(st.fixed_dictionaries(WILD), st.floats(-0.05, 0.05), st.floats(-0.05, 0.05))
    def one(given_fields: dict[str, Any], pinion_in: float, ring_in: float) -> None:
        count[_wild(given_fields, pinion_in, ring_in)] += 1

    one()
    print(f"wild axles: {dict(count)}")
    assert count["refused"] > 0.2 * examples


@pytest.mark.parametrize("offset_in", [1e-22, 1e-12, 1e-9, 3e-5])
def test_an_offset_too_small_to_measure_is_none(offset_in: float) -> None:
    """Found by drawing axles at random: a division by zero, and sound sets called undercut."""
    plain = predict(Axle(41, 11, 8.5, offset_in=0.0, tooth_system="tapered"), 0.002, 0.0)
    found = predict(Axle(41, 11, 8.5, offset_in=offset_in, tooth_system="tapered"), 0.002, 0.0)
    assert found.drive and found.coast and plain.drive and plain.coast
    assert found.drive.lengthwise == pytest.approx(plain.drive.lengthwise, abs=1e-3)
    assert found.coast.profile == pytest.approx(plain.coast.profile, abs=1e-3)


def test_a_sliver_of_a_mark_is_one_band_and_no_refusal() -> None:
    """Found by drawing axles at random: so thin a mark that the lattice counts no band in it."""
    axle = Axle(69, 3, 2.0, tooth_system="tapered", pressure_angle_drive_deg=25.0)
    found = predict(axle, 0.0, 0.046875)
    assert {side.bands for side in (found.drive, found.coast) if side} == {1}


def test_an_axle_that_cannot_be_is_refused_by_the_field() -> None:
    _draw_wild(15)


@pytest.mark.slow
@pytest.mark.timeout(3600)
def test_a_thousand_wild_axles() -> None:
    _draw_wild(1000)
