"""Tooth readings and photo readings made by hand for the tests of combining."""

from __future__ import annotations

import numpy as np

from pattern.records import ContactPatch, Extent, Photo, Reading, ToothReading, ToothSide

PHOTO = Photo("p.jpg", "a" * 64, np.full((400, 600, 3), 90, np.uint8))


def tooth_side(number: int = 0) -> ToothSide:
    corners = np.array([[500.0, 100], [100, 90], [100, 190], [500, 170]])
    corners = corners + np.array([0.0, 60.0 * number])
    return ToothSide(corners, corners[:2], corners[[3, 2]], corner_sd_px=4.0, confidence=0.9)


def tooth(
    lengthwise: float = 0.4,
    profile: float = 0.6,
    *,
    number: int = 0,
    sd: tuple[float, float] = (0.02, 0.03),
    flags: tuple[str, ...] = (),
) -> ToothReading:
    side = tooth_side(number)
    return ToothReading(
        outline=side.corners,
        tip_edge=side.tip_edge,
        root_edge=side.root_edge,
        confidence=0.9,
        lengthwise=lengthwise,
        profile=profile,
        lengthwise_sd=sd[0],
        profile_sd=sd[1],
        extent=Extent((lengthwise - 0.2, lengthwise + 0.2), (profile - 0.2, profile + 0.2)),
        tilt_deg=5.0,
        area=0.2,
        contact=np.array([[200.0, 120], [300, 120], [300, 150]]),
        flags=flags,
    )


def patch(
    *, empty: bool = False, name: str = "yellow", flags: tuple[str, ...] = ()
) -> ContactPatch:
    contact = np.zeros((72, 216), np.float32)
    if not empty:
        contact[20:50, 60:120] = 1.0
    return ContactPatch(
        contact, 1 - contact, np.zeros((0, 2)), (0.01, 0.02), name, 30.0, agreement=0.6, flags=flags
    )


def reading(
    lengthwise: float = 0.4,
    profile: float = 0.6,
    *,
    sd: tuple[float, float] = (0.02, 0.03),
    flags: tuple[str, ...] = (),
    low: tuple[float, float] | None = None,
) -> Reading:
    start = low or (lengthwise - 0.2, profile - 0.2)
    return Reading(
        photo="p.jpg",
        sha256="a" * 64,
        status="read",
        side="drive",
        hand="right",
        lengthwise=lengthwise,
        profile=profile,
        lengthwise_sd=sd[0],
        profile_sd=sd[1],
        extent=Extent((start[0], lengthwise + 0.2), (start[1], profile + 0.2)),
        tilt_deg=5.0,
        area=0.2,
        compound="yellow",
        flags=flags,
        teeth=(tooth(lengthwise - 0.01, profile), tooth(lengthwise + 0.01, profile, number=1)),
    )


def declined() -> Reading:
    return Reading(photo="q.jpg", sha256="b" * 64, status="declined", side="drive", hand="right")
