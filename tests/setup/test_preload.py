"""Rotating torque of the pinion bearings."""

from __future__ import annotations

import math

import pytest

from pattern.errors import InvalidAxle
from pattern.setup.preload import Torque, check_torque, rotating_torque
from pattern.setup.units import NM_PER_LBF_IN

LOW, HIGH = (Torque(value * NM_PER_LBF_IN) for value in (5.0, 45.0))
"""New bearings, 5 to 45 lb-in: TM 9-2320-302-34 p. 0082 00-12."""


@pytest.mark.parametrize(("lbf_in", "nm"), [(45.0, 5.084), (10.0, 1.1298), (30.0, 3.3895)])
def test_torque_is_pull_times_radius(lbf_in: float, nm: float) -> None:
    # "multiply reading by radius": TM 9-2320-302-34 p. 0082 00-12; N·m by NIST SP 811 App. B
    torque = rotating_torque(lbf_in / 2.5, 2.5)
    assert torque.lbf_in == pytest.approx(lbf_in)
    assert torque.nm == pytest.approx(nm, abs=6e-4)


def test_the_same_pull_in_three_units() -> None:
    # 1 lbf = 4.4482216152605 N, 1 kgf = 9.80665 N, both exact: NIST SP 811 App. B
    torque = rotating_torque(10.0, 3.0, "lbf")
    assert rotating_torque(44.482216152605, 3.0, "N").nm == pytest.approx(torque.nm)
    assert rotating_torque(44.482216152605 / 9.80665, 3.0, "kgf").nm == pytest.approx(torque.nm)


def test_inside_the_limits_nothing_is_said() -> None:
    assert check_torque(rotating_torque(8.0, 2.5), LOW, HIGH, spacer="solid") is None


def test_a_thicker_spacer_takes_preload_away() -> None:
    # TM 9-2320-302-34 p. 0082 00-12: a thicker spacer decreases preload, a thinner one increases it
    high = check_torque(rotating_torque(20.0, 2.5), LOW, HIGH, spacer="solid")
    low = check_torque(rotating_torque(1.0, 2.5), LOW, HIGH, spacer="solid")
    assert high is not None
    assert low is not None
    assert "thicker" in high.remedy
    assert "thinner" in low.remedy


def test_a_crush_sleeve_is_never_backed_off() -> None:
    # common practice, no source
    high = check_torque(rotating_torque(20.0, 2.5), LOW, HIGH, spacer="crush")
    low = check_torque(rotating_torque(1.0, 2.5), LOW, HIGH, spacer="crush")
    assert high is not None
    assert low is not None
    assert "new crush sleeve" in high.remedy
    assert "Tighten" in low.remedy


@pytest.mark.parametrize(
    ("call", "field"),
    [
        (lambda: rotating_torque(-1.0, 2.5), "pull"),
        (lambda: rotating_torque(math.nan, 2.5), "pull"),
        (lambda: rotating_torque(5.0, 0.0), "radius_in"),
        (lambda: rotating_torque(5.0, 2.5, "stone"), "unit"),  # type: ignore[arg-type]
        (lambda: check_torque(LOW, HIGH, LOW, spacer="solid"), "low"),
    ],
)
def test_impossible_readings_name_the_field(call: object, field: str) -> None:
    with pytest.raises(InvalidAxle) as caught:
        call()  # type: ignore[operator]
    assert caught.value.subject == field
    assert caught.value.remedy
