"""Which shims are in the axle now: the sheet's, and every move made since."""

from __future__ import annotations

import pytest

from pattern.advice.present import present_axle
from pattern.errors import InvalidAxle
from pattern.jobs import FiledRoll, Job
from pattern.records import Axle, Roll, SideReading

AXLE = Axle(
    41, 11, 8.5, depth_shim="pinion_head", depth_shim_in=0.030, ring_gear_side="left",
    left_shim_in=0.250, right_shim_in=0.265,
)  # fmt: skip
MARK = SideReading(0.6, 0.4)


def job(axle: Axle, *rolls: Roll, kind: str = "roll", struck: str = "") -> Job:
    filed = tuple(
        FiledRoll(number, f"{number:032x}", kind, "", roll, roll, struck=struck)  # type: ignore[arg-type]
        for number, roll in enumerate(rolls, start=1)
    )
    return Job("J0001", "0" * 32, "", "", axle=axle, rolls=filed)


def test_a_job_without_moves_has_the_shims_of_its_sheet() -> None:
    assert present_axle(job(AXLE, Roll(MARK))) == AXLE


def test_the_moves_of_all_rolls_add_up_at_the_pinion_head() -> None:
    """Between pinion head and inner bearing thicker is deeper (common practice, no source)."""
    made = job(AXLE, Roll(MARK), Roll(MARK, pinion_move_in=0.005))
    now = present_axle(made, Roll(MARK, pinion_move_in=-0.002))
    assert now is not None
    assert now.depth_shim_in == pytest.approx(0.033)


def test_under_a_cartridge_deeper_means_thinner() -> None:
    """TM 5-3810-306-34 p. 8-42: thinner cage shims move the drive pinion toward the bevel gear."""
    axle = Axle(41, 11, 8.5, depth_shim="cartridge", depth_shim_in=0.030)
    now = present_axle(job(axle, Roll(MARK, pinion_move_in=0.004)))
    assert now is not None
    assert now.depth_shim_in == pytest.approx(0.026)


def test_a_ring_gear_move_keeps_the_sum_of_the_side_shims() -> None:
    """TM 9-2320-289-34 p. 6-19 Table 6-1: ring side 0.250, opposite 0.265 in; a move of 0.010 in
    makes 0.240 and 0.275. The thinner ring side lets the ring gear away from the pinion."""
    now = present_axle(job(AXLE, Roll(MARK, ring_move_in=0.010)))
    assert now is not None
    assert (now.left_shim_in, now.right_shim_in) == (pytest.approx(0.240), pytest.approx(0.275))


def test_a_shim_whose_place_is_not_known_is_not_known_after_a_move() -> None:
    axle = Axle(41, 11, 8.5, depth_shim_in=0.030)
    now = present_axle(job(axle, Roll(MARK, pinion_move_in=0.004)))
    assert now is not None
    assert now.depth_shim_in is None


def test_moves_that_no_shim_could_make_are_refused() -> None:
    with pytest.raises(InvalidAxle, match="too thin"):
        present_axle(job(AXLE, Roll(MARK, pinion_move_in=-0.040)))


def test_a_used_set_aims_at_the_pattern_it_was_found_with_unless_that_roll_is_struck() -> None:
    used = Axle(41, 11, 8.5, condition="used")
    aimed = present_axle(job(used, Roll(MARK), kind="as_found"))
    assert aimed is not None
    assert aimed.target == (MARK, None)
    for other in (job(used, Roll(MARK)), job(used, Roll(MARK), kind="as_found", struck="smeared")):
        plain = present_axle(other)
        assert plain is not None
        assert plain.target is None
