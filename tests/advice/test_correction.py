"""Which way the advice goes, against published direction rules and service rules."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pattern.advice.correction import correct
from pattern.errors import InvalidAxle
from pattern.records import Roll, SideReading
from pattern.settings import Settings
from tests.advice.cases import advise, axle, mark, roll

HIGH_HEEL_HIGH_TOE = ((0.66, 0.72), (0.30, 0.72))


def test_high_heel_on_drive_and_high_toe_on_coast_asks_for_a_deeper_pinion_on_tapered_teeth() -> (
    None
):
    # TM 9-2320-266-34 para 19-5c, figs 19-22/19-23: pinion away from the ring gear's centerline shows
    # "high on the heel on the drive side and high on the toe on the coast side"; the cure is a thicker
    # shim pack behind the inner (rear) pinion bearing cup, which moves the pinion in
    advice = advise(axle(), roll(*HIGH_HEEL_HIGH_TOE))
    assert advice.verdict == "adjust"
    assert advice.pinion_move_in is not None and advice.pinion_move_in >= 0.003
    assert advice.depth_shim_in == pytest.approx(0.030 + advice.pinion_move_in)


def test_the_mirror_image_asks_for_a_shallower_pinion() -> None:
    # TM 9-2320-266-34 para 19-5c read the other way; low = too deep also TM 5-3810-300-24&P2 p. 4-255
    advice = advise(axle(), roll((0.28, 0.28), (0.64, 0.28)))
    assert advice.pinion_move_in is not None and advice.pinion_move_in <= -0.003
    assert advice.depth_shim_in == pytest.approx(0.030 + advice.pinion_move_in)


def test_under_a_cartridge_a_high_contact_takes_shims_out() -> None:
    # TM 5-3810-300-24&P2 p. 4-255: "A high contact indicates pinion is too far out", cured by
    # removing shims under the pinion cage
    advice = advise(axle(depth_shim="cartridge"), roll((0.5, 0.75), (0.45, 0.75)))
    assert advice.pinion_move_in is not None and advice.pinion_move_in > 0
    assert advice.depth_shim_in is not None and advice.depth_shim_in < 0.030


def test_a_deeper_pinion_takes_the_ring_gear_outward_to_hold_the_backlash() -> None:
    # TM 5-3810-300-24&P2 p. 4-255: moving the pinion in, "slight outward movement of hypoid gear may
    # be necessary to maintain correct backlash", and the reverse
    deeper = advise(axle(), roll(*HIGH_HEEL_HIGH_TOE))
    assert deeper.ring_move_in is not None and deeper.ring_move_in > 0
    shallower = advise(axle(), roll((0.28, 0.28), (0.64, 0.28)))
    assert shallower.ring_move_in is not None and shallower.ring_move_in < 0


def test_too_much_backlash_moves_the_ring_gear_toward_the_pinion_and_keeps_the_shim_sum() -> None:
    # TM 9-2320-289-34 p. 6-22: backlash over the limit, increase the ring-gear-side shim and decrease
    # the other equally
    advice = advise(axle(), roll((0.52, 0.54), (0.47, 0.54), 0.014))
    assert advice.ring_move_in is not None and advice.ring_move_in < 0
    assert advice.left_shim_in is not None and advice.left_shim_in > 0.250
    assert advice.right_shim_in is not None
    assert advice.left_shim_in + advice.right_shim_in == pytest.approx(0.515)


def test_on_uniform_teeth_the_same_ends_mean_the_other_depth_error() -> None:
    # common practice, no source; look-alike TM 5-3805-260-24 pp. 3-244/3-245: pinion too far away bears
    # at the toe of the convex and the heel of the concave side
    out = advise(axle(tooth_system="uniform"), roll((0.30, 0.58), (0.64, 0.58)))
    assert out.pinion_move_in is not None and out.pinion_move_in > 0
    near = advise(axle(tooth_system="uniform"), roll((0.64, 0.42), (0.30, 0.42)))
    assert near.pinion_move_in is not None and near.pinion_move_in < 0


@pytest.mark.parametrize("hand", ["right", "left"])
def test_the_hand_of_the_set_changes_nothing_in_tooth_coordinates(hand: str) -> None:
    assert advise(axle(hand=hand), roll(*HIGH_HEEL_HIGH_TOE)) == advise(
        axle(), roll(*HIGH_HEEL_HIGH_TOE)
    )


def test_a_pattern_in_its_place_with_backlash_inside_is_accepted() -> None:
    advice = advise(axle(), roll((0.47, 0.50), (0.47, 0.50)))
    assert advice.verdict == "accept"
    assert advice.pinion_move_in is None and advice.ring_move_in is None
    assert advice.chance is not None and advice.chance > 0.9


def test_every_size_has_a_spread_and_every_advice_its_reasons_and_cautions() -> None:
    advice = advise(axle(), roll(*HIGH_HEEL_HIGH_TOE))
    assert advice.pinion_move_sd_in is not None and advice.pinion_move_sd_in > 0.0005
    assert advice.ring_move_sd_in is not None and advice.ring_move_sd_in > 0.0005
    assert any("heel" in reason for reason in advice.reasons)
    assert any("TM 9-2320-266-34" in reason for reason in advice.reasons)
    assert any("hands" in caution for caution in advice.cautions)


def test_an_unknown_shim_location_gives_the_change_both_ways_and_no_thickness() -> None:
    advice = advise(axle(depth_shim="unknown"), roll(*HIGH_HEEL_HIGH_TOE))
    words = " ".join(advice.reasons)
    assert advice.depth_shim_in is None
    assert "add" in words and "take out" in words and "cartridge" in words


def test_a_used_set_goes_back_to_its_recorded_pattern() -> None:
    # NAVEDTRA 14050A p. 8-90 and TM 9-2320-279-34-1: a used set is matched to the pattern recorded at
    # tear-down, not to the new-gear picture
    as_found = ((0.30, 0.40), (0.62, 0.42))
    target = (mark(*as_found[0]), mark(*as_found[1]))
    used = axle(condition="used", target=target)
    assert advise(used, roll(*as_found)).verdict == "accept"
    assert advise(used, roll((0.47, 0.5), (0.47, 0.5))).verdict == "adjust"


def test_the_same_job_always_gets_the_same_advice() -> None:
    job = [
        roll(*HIGH_HEEL_HIGH_TOE),
        roll((0.55, 0.60), (0.40, 0.58), pinion_move_in=0.005, ring_move_in=0.002),
    ]
    assert advise(axle(), *job) == advise(axle(), *job)


def test_no_roll_and_no_reading_are_refused_by_field() -> None:
    with pytest.raises(InvalidAxle, match="rolls"):
        advise(axle())
    with pytest.raises(InvalidAxle, match="rolls"):
        advise(axle(), Roll(backlash_in=0.008))


def test_zero_backlash_frees_the_set_first_and_leaves_the_pinion() -> None:
    advice = advise(axle(), roll((0.47, 0.5), (0.47, 0.5), 0.0))
    assert advice.verdict == "adjust"
    assert advice.pinion_move_in == 0.0
    assert advice.ring_move_in is not None and advice.ring_move_in > 0.003
    assert "rolls[0].backlash_in" in advice.reasons[0] and "bound" in advice.reasons[0]


@pytest.mark.parametrize("field", ["pinion_move_in", "ring_move_in"])
def test_a_move_recorded_with_the_wrong_sign_is_named(field: str) -> None:
    before = roll((0.62, 0.70), (0.34, 0.70), 0.008)
    honest = {
        "pinion_move_in": roll(
            (0.49, 0.52), (0.46, 0.52), 0.0062, pinion_move_in=0.007, ring_move_in=0.0
        ),
        "ring_move_in": roll(
            (0.57, 0.64), (0.36, 0.64), 0.0044, pinion_move_in=0.0, ring_move_in=-0.005
        ),
    }[field]
    assert (
        advise(axle(), before, honest).verdict == "adjust"
        or "contradiction" not in advise(axle(), before, honest).flags
    )
    moves = {"pinion_move_in": honest.pinion_move_in, "ring_move_in": honest.ring_move_in}
    moves[field] = -(moves[field] or 0.0)
    lied = Roll(honest.drive, honest.coast, honest.backlash_in, **moves)
    advice = advise(axle(), before, lied)
    assert advice.verdict == "undecided"
    assert advice.pinion_move_in is None and advice.ring_move_in is None
    assert f"rolls[1].{field}" in advice.reasons[0]


def test_two_bands_are_a_bridged_profile_and_no_shim_mends_it() -> None:
    # TM 10-3930-643-34 p. 16-30 rejects what shims cannot mend ("cross bearing, reject"); the word
    # "bridged profile" is the gear standards'
    advice = advise(axle(), Roll(mark(0.5, 0.5, bands=2), mark(0.5, 0.5), 0.008))
    assert advice.verdict == "reject" and advice.pinion_move_in is None
    assert "bridged" in advice.reasons[0]


def test_a_mark_that_wanders_round_the_ring_points_at_the_case() -> None:
    advice = advise(axle(), Roll(mark(0.5, 0.5, wander=0.3), mark(0.5, 0.5), 0.008))
    assert advice.verdict == "reject" and "runout" in advice.reasons[0]


def test_one_side_high_and_the_other_low_is_no_matter_of_shims() -> None:
    advice = advise(axle(), roll((0.5, 0.88), (0.5, 0.12)))
    assert advice.verdict == "reject" and "lame" in advice.reasons[0]


@pytest.mark.parametrize("missing", ["drive", "coast", "backlash"])
def test_missing_inputs_widen_the_spread_and_are_named(missing: str) -> None:
    drive, coast = HIGH_HEEL_HIGH_TOE
    full = advise(axle(), roll(drive, coast))
    less = advise(
        axle(),
        roll(
            None if missing == "drive" else drive,
            None if missing == "coast" else coast,
            None if missing == "backlash" else 0.008,
        ),
    )
    assert less.verdict in ("adjust", "undecided")
    assert any(missing in reason.lower() and "not" in reason for reason in less.reasons)
    if less.ring_move_sd_in is not None and full.ring_move_sd_in is not None:
        assert less.pinion_move_sd_in is not None and full.pinion_move_sd_in is not None
        assert (
            less.ring_move_sd_in + less.pinion_move_sd_in
            > full.ring_move_sd_in + full.pinion_move_sd_in
        )


@pytest.mark.parametrize(("seen", "unseen"), [("drive", "coast"), ("coast", "drive")])
def test_one_side_alone_is_not_accepted_but_the_other_is_asked_for(seen: str, unseen: str) -> None:
    # both sides are painted, read and judged: TM 9-2320-279-34-1 and NAVEDTRA 14050A p. 8-90 show
    # drive and coast patterns for every adjustment
    easy = Settings(accept_chance=0.55)
    both = roll((0.47, 0.50), (0.47, 0.50))
    one = replace(both, **{unseen: None})
    assert correct(axle(), [both], settings=easy).verdict == "accept"
    asked = correct(axle(), [one], settings=easy)
    assert asked.verdict == "undecided" and asked.pinion_move_in is None
    assert any(f"paint and photograph the {unseen} side" in reason for reason in asked.reasons)
    # a look without a move that shows both sides does not say that one cannot be seen
    assert correct(axle(), [both, one], settings=easy).verdict != "accept"


def test_a_side_that_cannot_be_seen_is_said_by_filing_the_same_position_again_without_it() -> None:
    easy = Settings(accept_chance=0.55)
    one = roll((0.47, 0.50), None)
    again = replace(one, pinion_move_in=0.0, ring_move_in=0.0)
    told = correct(axle(), [one, again], settings=easy)
    assert told.verdict == "accept"
    assert any("drive side alone" in reason for reason in told.reasons)


def test_an_expected_next_roll_comes_nearer_to_the_middle() -> None:
    advice = advise(axle(), roll(*HIGH_HEEL_HIGH_TOE))
    assert advice.expected is not None and advice.expected.drive is not None
    assert isinstance(advice.expected.drive, SideReading)
    assert abs(advice.expected.drive.profile - 0.5) < 0.1
    assert advice.expected.backlash_in is not None and 0.006 < advice.expected.backlash_in < 0.010
