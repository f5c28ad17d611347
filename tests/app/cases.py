"""An axle, a roll and an advice to put on the screens, and what is looked for on them."""

from __future__ import annotations

from streamlit.testing.v1 import AppTest

from pattern.records import Advice, Axle, Expected, Roll, SideReading

AXLE = Axle(
    41, 11, 8.5, tooth_system="tapered", depth_shim="pinion_head", depth_shim_in=0.030,
    left_shim_in=0.250, right_shim_in=0.265,
)  # fmt: skip
ROLL = Roll(
    SideReading(0.40, 0.60, length=0.4, width=0.5), SideReading(0.55, 0.58), backlash_in=0.009
)
ADJUST = Advice(
    "adjust", pinion_move_in=0.004, pinion_move_sd_in=0.0015, ring_move_in=-0.002,
    ring_move_sd_in=0.001, depth_shim_in=0.034, left_shim_in=0.252, right_shim_in=0.263,
    shim_stack={"depth": (0.020, 0.014)}, chance=0.83, reasons=("Both marks lie high.",),
    expected=Expected(SideReading(0.45, 0.5), SideReading(0.5, 0.5), 0.008, 0.001),
)  # fmt: skip


def button(page: AppTest, label: str):  # type: ignore[no-untyped-def]
    (found,) = [b for b in page.button if b.label == label]
    return found


def field(page: AppTest, label: str):  # type: ignore[no-untyped-def]
    (found,) = [f for f in [*page.number_input, *page.text_input] if f.label == label]
    return found
