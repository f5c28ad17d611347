"""The estimate finds hidden errors, and its stated spread covers them (known truth, drawn sets)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pattern.advice.accounts import ParabolaAccount
from pattern.advice.checks import fits_badly
from pattern.advice.choose import mix, shares
from pattern.advice.correction import fits, settle
from pattern.advice.evidence import gather
from pattern.advice.plausible import mendable
from pattern.advice.response import HOUSING, documented_response
from pattern.records import Roll, SideReading
from pattern.synthetic.closed_loop import SCENARIOS, drawn_job
from pattern.synthetic.drawn_sets import LinearSet, Noise, rolled
from tests.advice.cases import axle, roll

TAPERED = next(s for s in SCENARIOS if s.name == "tapered")


def believed(rolls: list[Roll], **changes: object) -> tuple[np.ndarray, np.ndarray]:
    known = axle(**changes)
    belief, _ = mix(fits(known, gather(known, rolls)))
    place = np.array([belief.pinion_thou, belief.ring_thou])
    return place.mean(axis=1), place.std(axis=1)


def test_the_stated_spread_covers_the_true_error_of_sets_of_another_make() -> None:
    # drawn sets that know nothing of this model; 2 sd should hold about 95 %
    scores = []
    for index in range(20):
        drawn, at, rng = drawn_job(LinearSet, TAPERED, index)
        mean, sd = believed([rolled(drawn, at, None, Noise(), rng)])
        scores.append((np.array(at) - mean) / sd)
    inside = np.mean(np.abs(scores) < 2.0)
    assert 0.85 <= inside <= 1.0
    assert np.std(scores) > 0.4  # nor is it wide for safety's sake


def test_every_roll_narrows_the_estimate() -> None:
    far = roll((0.62, 0.70), (0.34, 0.70), 0.008)
    near = roll((0.52, 0.56), (0.44, 0.56), 0.0072, pinion_move_in=0.005, ring_move_in=0.001)
    assert np.all(believed([far, near])[1] < believed([far])[1])


def test_without_the_backlash_pinion_and_ring_gear_are_hard_to_tell_apart() -> None:
    # common practice, no source: both move one mark along nearly the same line
    marks = (0.62, 0.70), (0.34, 0.70)
    blind, seen = believed([roll(*marks, None)]), believed([roll(*marks, 0.008)])
    assert blind[1][1] > 1.5 * seen[1][1]


def test_the_rolls_tell_the_tooth_system() -> None:
    # the pinion went 0.006 in deeper with the backlash held, and the marks went to the ends that
    # TM 9-2320-266-34 para 19-5c gives for tapered teeth: drive to the toe, coast to the heel
    known = axle(tooth_system="unknown")
    before = roll((0.60, 0.66), (0.36, 0.66), 0.008)
    after = roll((0.48, 0.53), (0.47, 0.53), 0.0083, pinion_move_in=0.006, ring_move_in=0.003)
    belief, _ = mix(fits(known, gather(known, [before, after])))
    assert belief.uniform.mean() < 0.1


def test_a_long_job_is_not_judged_by_copies_of_a_few_draws() -> None:
    # with five rolls the importance weights alone leave 10 to 50 of 2,000 draws
    drawn, at, rng = drawn_job(LinearSet, TAPERED, 1)
    rolls = [rolled(drawn, at, None, Noise(), rng)]
    for moved in ((1.0, 0.0), (-1.0, 1.0), (1.0, -1.0), (0.0, 1.0)):
        at = (at[0] + moved[0], at[1] + moved[1])
        rolls.append(rolled(drawn, at, moved, Noise(), rng))
    found = fits(axle(), gather(axle(), rolls))
    likely = [f for f, s in zip(settle(found), shares(found), strict=True) if s > 0.1]
    assert likely
    for fitted in likely:
        assert len(np.unique(fitted.pinion_thou)) > 0.9 * len(fitted.pinion_thou)


def test_draws_that_are_moved_on_stay_on_the_posterior() -> None:
    # a chain that keeps the posterior changes neither its middle nor its spread beyond sampling
    rolls = [roll((0.62, 0.70), (0.34, 0.70), 0.008)]
    for before in fits(axle(), gather(axle(), rolls)):
        (after,) = settle([before])
        for name in ("pinion_thou", "ring_thou"):
            was, now = getattr(before, name), getattr(after, name)
            assert abs(now.mean() - was.mean()) < 0.3 * was.std()
            assert 0.75 < now.std() / was.std() < 1.33
            assert not np.array_equal(now, was)


def test_the_extents_of_a_vague_reading_are_believed_no_more_than_its_place() -> None:
    # a reading of twice the spread with extents 0.2 apart used to count as contradicting itself, and
    # to settle which account of the set is true
    def vague(length: float, width: float) -> SideReading:
        return SideReading(0.5, 0.5, 0.06, 0.10, length=length, width=width)

    rolls = [Roll(vague(s, s + 0.1), vague(s, s + 0.1), 0.008) for s in (0.30, 0.55)]
    found = fits(axle(), gather(axle(), rolls))
    assert not fits_badly(min(found, key=lambda f: f.misfit))
    clear = [replace(r, drive=replace(r.drive, lengthwise_sd=0.02, profile_sd=0.03),
                     coast=replace(r.coast, lengthwise_sd=0.02, profile_sd=0.03)) for r in rolls]  # fmt: skip
    assert fits_badly(min(fits(axle(), gather(axle(), clear)), key=lambda f: f.misfit))


def test_no_roll_is_needed_to_be_told_twice() -> None:
    marks = roll((0.62, 0.70), (0.34, 0.70), 0.008)
    first, again = believed([marks]), believed([marks])
    assert np.array_equal(first[0], again[0])


@pytest.mark.parametrize(("housing", "likely"), [(0.0, True), (0.3, False)])
def test_a_set_with_one_side_high_and_the_other_low_is_beyond_mending(
    housing: float, likely: bool
) -> None:
    # lame contact: both members take both sides the same way in height, so no shim mends it
    # (TM 10-3930-643-34 p. 16-30 rejects what shims cannot bring together)
    middle = np.full(4, 0.5)
    account = ParabolaAccount(documented_response(axle(), "tapered"), middle, np.full(4, 0.02))
    own = account.prior()[0][None].copy()
    own[0, 4:][HOUSING] = 0.0, housing, 0.0, -housing
    view = account.view(own, np.zeros((1, 1)), np.zeros((1, 1)))
    assert bool(mendable(view, (6.0, 10.0))[0] > 0.5) is likely
