"""Invented jobs, readings and photos for the tests of filing."""

from __future__ import annotations

import hashlib

import numpy as np

from pattern.jobs import AsFound, FinalSheet, Part, Torque
from pattern.records import (
    Advice,
    Axle,
    Expected,
    Extent,
    Reading,
    Reason,
    Roll,
    Side,
    SideReading,
    ToothReading,
)

AXLE = Axle(
    ring_teeth=41,
    pinion_teeth=11,
    ring_diameter_in=8.5,
    tooth_system="tapered",
    depth_shim="pinion_head",
    depth_shim_in=0.030,
    left_shim_in=0.250,
    right_shim_in=0.265,
)
AS_FOUND = AsFound(
    backlash_in=(0.012, 0.013, 0.0125, 0.0115),
    depth_shim_in=0.030,
    left_shim_in=0.250,
    right_shim_in=0.265,
    pinion_mark="+2",
    cap_marks="one punch left, two punches right, arrows up",
    ring_bolts=10,
    limited_slip_drag_lbf_ft=42.0,
    notes="Howls at 45 on a light throttle; metal on the drain plug",
)
FINAL = FinalSheet(
    backlash_in=(0.008, 0.0085, 0.008, 0.0075, 0.0078, 0.0083),
    depth_shim_in=0.034,
    left_shim_in=0.246,
    right_shim_in=0.269,
    rotating_torque_lbf_in=17.0,
    case_preload_in=0.008,
    torques=(Torque("ring gear bolts", 77.0, "maker's sheet for this axle"),),
    threadlocker="red, on clean dry threads",
    checked_by="Marta",
)
PARTS = (Part("pinion bearing kit", "PB-88", 1), Part("crush sleeve"))


def photo_bytes(number: int = 0) -> bytes:
    """Bytes that stand for a photo where nothing decodes it."""
    return b"\xff\xd8\xff\xe0" + hashlib.sha256(str(number).encode()).digest() * 40


def tooth(lengthwise: float = 0.42, profile: float = 0.61) -> ToothReading:
    outline = np.array([[10.25, 20.5], [200.0, 30.0], [190.0, 90.0], [14.0, 80.0]])
    return ToothReading(
        outline=outline,
        tip_edge=outline[:2],
        root_edge=outline[[3, 2]],
        confidence=0.91,
        lengthwise=lengthwise,
        profile=profile,
        lengthwise_sd=0.02,
        profile_sd=0.03,
        extent=Extent((0.2, 0.64), (0.35, 0.87)),
        tilt_deg=7.5,
        area=0.19,
        contact=np.array([[60.5, 40.0], [120.0, 42.0], [110.0, 70.0], [64.0, 66.0]]),
        flags=("faint",),
    )


def reading(
    data: bytes,
    side: Side = "drive",
    name: str = "p1.jpg",
    lengthwise: float = 0.42,
    profile: float = 0.61,
) -> Reading:
    return Reading(
        photo=name,
        sha256=hashlib.sha256(data).hexdigest(),
        status="read",
        side=side,
        hand="right",
        toe="left",
        lengthwise=lengthwise,
        lengthwise_sd=0.02,
        profile=profile,
        profile_sd=0.03,
        correlation=0.1,
        extent=Extent((0.2, 0.64), (0.35, 0.87)),
        tilt_deg=7.5,
        area=0.19,
        compound="yellow",
        flags=("faint",),
        teeth=(tooth(lengthwise, profile), tooth(lengthwise + 0.01, profile)),
        version="0.1.0",
        settings="abc123def456",
        size_px=(400, 300),
    )


def declined(data: bytes, side: Side = "coast") -> Reading:
    return Reading(
        photo="dark.jpg",
        sha256=hashlib.sha256(data).hexdigest(),
        status="declined",
        side=side,
        hand="right",
        reasons=(Reason("too_dark", "the picture is too dark on the teeth; add light"),),
        version="0.1.0",
        settings="abc123def456",
    )


def roll(
    lengthwise: float = 0.42, profile: float = 0.61, backlash_in: float = 0.008,
    pinion_move_in: float | None = None, ring_move_in: float | None = None,
) -> Roll:  # fmt: skip
    return Roll(
        drive=SideReading(lengthwise, profile, 0.02, 0.03, length=0.44, width=0.52, edges=("toe",)),
        coast=SideReading(1 - lengthwise, profile, 0.02, 0.03, length=0.46, width=0.5),
        backlash_in=backlash_in,
        pinion_move_in=pinion_move_in,
        ring_move_in=ring_move_in,
    )


def advice(pinion_move_in: float = 0.004, ring_move_in: float = -0.002) -> Advice:
    return Advice(
        verdict="adjust",
        pinion_move_in=pinion_move_in,
        pinion_move_sd_in=0.0011,
        ring_move_in=ring_move_in,
        ring_move_sd_in=0.0008,
        depth_shim_in=0.034,
        left_shim_in=0.248,
        right_shim_in=0.267,
        shim_stack={"depth": (0.020, 0.010, 0.004)},
        expected=Expected(SideReading(0.5, 0.5), SideReading(0.5, 0.5), 0.008, 0.0006),
        chance=0.81,
        reasons=("The mark lies high on both sides: the pinion is too shallow.",),
        cautions=("Keep hands and sleeves out of the mesh while it turns.",),
        version="0.1.0",
        settings="abc123def456",
    )
