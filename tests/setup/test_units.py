"""Units against NIST SP 811, Appendix B."""

from __future__ import annotations

import pytest

from pattern.setup import units


def test_the_inch_is_25_4_mm_exactly() -> None:
    # NIST SP 811 App. B: 1 in = 25.4 mm exactly
    assert units.mm_from_in(1.0) == 25.4
    assert units.in_from_mm(25.4) == 1.0


def test_pound_force_inches_and_feet_are_the_published_newton_metres() -> None:
    # NIST SP 811 App. B: lbf·in 1.129 848 E-01 N·m, lbf·ft 1.355 818 E+00 N·m
    assert pytest.approx(1.129848e-01, abs=5e-8) == units.NM_PER_LBF_IN
    assert pytest.approx(1.355818e00, abs=5e-7) == units.NM_PER_LBF_FT
    # the same, exact: 4.4482216152605 N x 0.0254 m and 0.3048 m
    assert pytest.approx(0.1129848290276167, rel=1e-15) == units.NM_PER_LBF_IN
    assert pytest.approx(1.3558179483314004, rel=1e-15) == units.NM_PER_LBF_FT


@pytest.mark.parametrize(("lbf_in", "nm"), [(45, 5.084), (10, 1.1298), (30, 3.3895)])
def test_published_preload_limits_convert(lbf_in: float, nm: float) -> None:
    # limits of TM 9-2320-302-34 p. 0082 00-12, converted by NIST SP 811
    # (the manual's own "5 lb-in = 0.56" is cut off, 0.565 is meant, and is not used)
    assert units.nm_from_lbf_in(lbf_in) == pytest.approx(nm, abs=6e-4)
    assert units.lbf_in_from_nm(units.nm_from_lbf_in(lbf_in)) == pytest.approx(lbf_in)


@pytest.mark.parametrize(
    ("inches", "millimetres"),
    [
        # 1 in = 25.4 mm exactly, NIST SP 811 App. B
        ("pinion deeper 0.004 in.", "pinion deeper 0.102 mm."),
        ("about right (± 0.003 in), ring gear", "about right (± 0.076 mm), ring gear"),
        ("0.006 to 0.010 in is narrow", "0.152 to 0.254 mm is narrow"),
        ("backlash 0.0083 in (± 0.0007). If", "backlash 0.211 mm (± 0.018). If"),
        ("rolls[0].backlash_in: 0.02 in does not go", "rolls[0].backlash_in: 0.508 mm does not go"),
        # neither shares of the tooth nor the fields' names nor sources are lengths
        ("at 0.47 of the length, in 2 bands", "at 0.47 of the length, in 2 bands"),
        ("rolls[1].pinion_move_in: look", "rolls[1].pinion_move_in: look"),
        ("(TM 9-2320-266-34 para 19-5c)", "(TM 9-2320-266-34 para 19-5c)"),
    ],
)
def test_a_sentence_with_lengths_is_told_in_millimetres(inches: str, millimetres: str) -> None:
    assert units.told_in(inches, "mm") == millimetres
    assert units.told_in(inches, "in") == inches
