"""The trade's direction table, against the manuals it is corroborated by."""

from __future__ import annotations

import pytest

from pattern.advice.rules import TABLE, rule, table_direction
from pattern.records import SIDES


def test_pinion_out_on_tapered_teeth_is_high_heel_on_drive_and_high_toe_on_coast() -> None:
    # TM 9-2320-266-34 para 19-5c, figs 19-22/19-23; the table is kept for the pinion going in
    drive, coast = (rule("tapered", "pinion", side) for side in SIDES)
    assert drive is not None and coast is not None
    assert (-drive.lengthwise, -drive.profile) == (+1, +1)
    assert (-coast.lengthwise, -coast.profile) == (-1, +1)


def test_less_backlash_goes_toward_the_toe_on_the_drive_side() -> None:
    # TM 10-3930-660-34 p. 9-29: "Decrease backlash to move contact patterns toward toe"
    drive = rule("tapered", "ring", "drive")
    assert drive is not None and drive.lengthwise == +1  # + is the ring gear away


@pytest.mark.parametrize("system", ["tapered", "uniform"])
def test_a_depth_error_shows_at_opposite_ends_and_at_the_same_height(system: str) -> None:
    # invariant of TM 9-2320-266-34 para 19-5c and TM 5-3805-260-24 pp. 3-244/3-245
    drive, coast = (r for r in TABLE[system] if r.member == "pinion")  # type: ignore[index]
    assert drive.lengthwise == -coast.lengthwise
    assert drive.profile == coast.profile


def test_the_two_tooth_systems_put_a_depth_error_at_the_other_ends() -> None:
    # common practice, no source: why no table is universal
    for tapered, uniform in zip(TABLE["tapered"][:2], TABLE["uniform"][:2], strict=True):
        assert tapered.lengthwise == -uniform.lengthwise


def test_an_unknown_tooth_system_has_no_pinion_rule() -> None:
    assert rule("unknown", "pinion", "drive") is None
    assert rule("unknown", "pinion", "coast") is None


@pytest.mark.parametrize(
    ("system", "drive", "coast", "pinion"),
    [
        ("tapered", (0.2, 0.2), (-0.2, 0.2), +1),
        ("tapered", (-0.2, -0.2), (0.2, -0.2), -1),
        ("uniform", (-0.2, 0.05), (0.2, 0.05), +1),
        ("uniform", (0.2, -0.05), (-0.2, -0.05), -1),
        ("tapered", (0.0, 0.0), (0.0, 0.0), 0),
    ],
)
def test_the_table_reads_the_depth_error_back(
    system: str, drive: tuple[float, float], coast: tuple[float, float], pinion: int
) -> None:
    # tapered: TM 9-2320-266-34 para 19-5c; uniform: common practice, no source
    assert table_direction(system, drive, coast)["pinion"] == pinion  # type: ignore[arg-type]
