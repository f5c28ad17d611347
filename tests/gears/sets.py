"""Sets that several tests of the physics use. Invented axles of usual sizes."""

from __future__ import annotations

from pattern.gears.blank import Blank, blank_from_axle
from pattern.records import Axle

TAPERED = Axle(41, 11, 8.5, tooth_system="tapered")
UNIFORM = Axle(41, 11, 8.5, tooth_system="uniform")
BEVEL = Axle(45, 11, 8.5, offset_in=0.0, tooth_system="tapered")
LOW_RATIO = Axle(43, 14, 8.8, tooth_system="tapered")
TRUCK = Axle(37, 9, 9.75, offset_in=1.125, tooth_system="uniform")
ALL = {
    "tapered": TAPERED,
    "uniform": UNIFORM,
    "bevel": BEVEL,
    "low ratio": LOW_RATIO,
    "truck": TRUCK,
}


def blank(name: str) -> Blank:
    """The blank of one of the sets."""
    return blank_from_axle(ALL[name])
