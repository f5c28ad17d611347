"""The advice says what it took for granted, and prints no size or chance that it cannot stand behind."""

from __future__ import annotations

import re

import pytest

from pattern.advice import checks
from pattern.advice.words import chance, slope, stands
from pattern.flags import FLAGS
from pattern.records import Roll
from pattern.setup.stacks import ShimKit, ShimSize
from pattern.setup.units import told_in
from tests.advice.cases import advise, axle, mark, roll

FAR = ((0.66, 0.72), (0.30, 0.72))


def words(*rolls: Roll, **changes: object) -> str:
    return " ".join(advise(axle(**changes), *rolls).reasons)


def test_a_roll_without_a_recorded_move_is_said_to_be_taken_as_none() -> None:
    again = roll((0.65, 0.71), (0.31, 0.73))
    assert "No move is recorded for rolls[1]: taken as none" in words(roll(*FAR), again)
    told = roll((0.65, 0.71), (0.31, 0.73), pinion_move_in=0.0, ring_move_in=0.0)
    assert "No move is recorded" not in words(roll(*FAR), told)


def test_a_used_set_without_its_as_found_pattern_is_told_what_it_aims_at() -> None:
    # NAVEDTRA 14050A p. 8-90 and TM 9-2320-279-34-1: a used set is matched to the recorded pattern
    assert "as-found" in words(roll(*FAR), condition="used")
    target = (mark(0.45, 0.5), mark(0.45, 0.5))
    assert "without its as-found" not in words(roll(*FAR), condition="used", target=target)
    assert "as-found" not in words(roll(*FAR))


@pytest.mark.parametrize(
    ("share", "said"), [(1.0, "over 99%"), (0.0, "under 1%"), (0.5, "50%"), (0.99, "99%")]
)
def test_no_chance_is_called_certain(share: float, said: str) -> None:
    assert chance(share) == said


def test_no_reason_is_certain_and_no_size_is_nothing_with_a_spread() -> None:
    for job in (
        [roll(*FAR)],
        [roll((0.47, 0.5), (0.47, 0.5))],
        [roll(*FAR), roll((0.50, 0.55), (0.44, 0.55), pinion_move_in=0.005, ring_move_in=0.002)],
    ):
        for system in ("tapered", "uniform", "unknown"):
            said = words(*job, tooth_system=system)
            assert not re.search(r"\b(100|0)%", said)
            assert not re.search(r"[+-]?\b0\.000 \(±", said)
            assert not re.search(r"± 0\.000\D", said)


def test_a_size_too_small_to_print_is_said_in_words() -> None:
    assert slope(0.0002, 0.006) == "hardly (± 0.006)"
    assert slope(-0.0204, 0.006) == "-0.020 (± 0.006)"
    assert stands(0.6, 0.4, "shallow", "deep") == "0.001 in too deep (± less than 0.001 in)"


def test_a_kit_that_only_comes_near_is_said_to_do_so() -> None:
    # sides of 0.250 and 0.265 in cannot be laid from pieces of 0.020 in; plain arithmetic
    coarse = ShimKit("coarse", "in", side=(ShimSize(0.004),))
    advice = advise(axle(), roll((0.62, 0.58), (0.45, 0.56), 0.018), kit=coarse)
    assert advice.left_shim_in is not None
    assert abs(advice.left_shim_in / 0.004 - round(advice.left_shim_in / 0.004)) < 1e-6
    assert any("nearest left side stack is" in reason for reason in advice.reasons)


def test_every_fault_of_the_advice_is_a_registered_flag() -> None:
    rolls = [
        Roll(mark(0.5, 0.5, bands=2), mark(0.5, 0.5), 0.008),
        Roll(mark(0.5, 0.5, wander=0.3), mark(0.5, 0.5), 0.008),
        roll((0.5, 0.88), (0.5, 0.12)),
    ]
    found = {fault.code for r in rolls if (fault := checks.damage(r)) is not None}
    found.add(checks.disagreement(rolls[:2]).code)
    found |= {advise(axle(), r).flags[0] for r in rolls}
    assert found == {"bridged_profile", "wander", "lame_contact", "contradiction"}
    for code in found | {"cross_contact"}:
        assert FLAGS[code].effect == "stops"


def test_where_the_shims_place_is_unknown_the_rolls_tell_which_way_the_pinion_went() -> None:
    # which way a shim moves the pinion depends on where it sits (TM 9-2320-266-34 para 19-5c: behind
    # the inner cup thicker is deeper; TM 5-3810-306-34 p. 8-42: under the cage thinner is deeper)
    before = roll((0.60, 0.66), (0.36, 0.66), 0.0095)
    followed = roll((0.49, 0.53), (0.46, 0.53), 0.0080, pinion_move_in=0.005, ring_move_in=0.0)
    against = roll((0.49, 0.53), (0.46, 0.53), 0.0080, pinion_move_in=-0.005, ring_move_in=0.0)
    right = words(before, followed, depth_shim="unknown")
    wrong = words(before, against, depth_shim="unknown")
    as_recorded = re.compile(r"went as recorded with a chance of (?:over |under )?(\d+)%")
    assert int(as_recorded.findall(right)[0]) > 90
    assert int(as_recorded.findall(wrong)[0]) < 10
    assert "as recorded" not in words(before, followed)


def test_every_reason_can_be_told_in_millimetres() -> None:
    # 1 in = 25.4 mm exactly, NIST SP 811 App. B; reasons are kept in inches and told in what is on show
    kit = ShimKit(
        "few",
        "in",
        depth=(ShimSize(0.003, 4), ShimSize(0.010, 4)),
        side=(ShimSize(0.250, 2), ShimSize(0.005, 4)),
    )
    jobs = (
        advise(axle(), roll(*FAR), kit=kit),
        advise(axle(), roll((0.47, 0.5), (0.47, 0.5))),
        advise(axle(), roll((0.47, 0.5), (0.47, 0.5), 0.0)),
        advise(axle(side_adjusters="threaded", notch_in=0.0025), roll(*FAR)),
        advise(axle(depth_shim="unknown", tooth_system="unknown"), roll(*FAR, backlash_in=None)),
        advise(axle(), roll(*FAR), roll(*FAR, pinion_move_in=-0.012, ring_move_in=0.0)),
    )
    length = re.compile(r"(\d\.\d+) in\b")
    for advice in jobs:
        for reason in advice.reasons:
            told = told_in(reason, "mm")
            assert not length.search(told)
            assert "inch" not in told
            for size in length.findall(reason):
                assert f"{float(size) * 25.4:.3f} mm" in told


def test_where_the_trades_table_has_no_word_the_reason_says_what_it_goes_by() -> None:
    # a drive mark plainly toward the toe used to be called near its place; that height decides the pinion on
    # tapered sets is common practice, no source
    said = words(roll((0.33, 0.49), (0.51, 0.46), 0.0095), tooth_system="tapered")
    assert "toward the toe" in said and "near their place" not in said
    assert "goes by the marks' height, sees it about right and says nothing of the pinion" in said
