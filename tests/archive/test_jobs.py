"""What the records of a job say by themselves."""

from __future__ import annotations

import pytest

from pattern.errors import InvalidInput
from pattern.jobs import AsFound, FinalSheet, Part, Torque


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        (lambda: AsFound(backlash_in=(0.3,)), "as_found.backlash_in"),
        (lambda: AsFound(depth_shim_in=float("nan")), "as_found.depth_shim_in"),
        (lambda: AsFound(depth_shim_in=-0.01), "as_found.depth_shim_in"),
        (lambda: AsFound(ring_bolts=2), "as_found.ring_bolts"),
        (lambda: AsFound(dial="sideways"), "as_found.dial"),  # type: ignore[arg-type]
        (lambda: FinalSheet(case_preload_in=3.0), "final.case_preload_in"),
        (lambda: FinalSheet(rotating_torque_lbf_in="17"), "final.rotating_torque_lbf_in"),  # type: ignore[arg-type]
        (lambda: Torque("cap bolts", 1e9), "torque of cap bolts"),
        (lambda: Part("  "), "parts"),
        (lambda: Part("seal", quantity=0), "parts"),
    ],
)
def test_a_sheet_refuses_what_cannot_be_by_its_name(wrong, field: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(InvalidInput) as refused:
        wrong()
    assert refused.value.subject == field
    assert refused.value.remedy
