"""The records that pass between the steps, and the conventions they share. Stated once, here.

Axes and signs
    lengthwise   0 at the toe (inner end), 1 at the heel (outer end), along the face width
    profile      0 at the root end of the working flank, 1 at the tip edge; a share of the local depth
    pinion_move  + is toward the ring gear's axis (deeper)
    ring_move    + is away from the pinion (more backlash)
    backlash     normal to the tooth trace at the heel, in the pitch plane (a dial plunger square to
                 the tooth), pinion held; along the rotation it reads about 1.3 times that
    pixels       (x, y), x right, y down, of the photo after EXIF orientation, full resolution;
                 the centre of the first pixel is (0, 0)
    corners      always toe-tip, heel-tip, heel-root, toe-root
    drive/coast  the convex and the concave side of the ring gear's teeth
    tilt_deg     direction of the mark's long axis on the unrolled tooth, in true lengths; positive
                 when its heel end sits nearer the tip

Spreads (`_sd`) are one standard deviation. Unknown is `None`, never zero.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, fields
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pattern.errors import InvalidAxle

Side = Literal["drive", "coast"]
Hand = Literal["right", "left"]
Direction = Literal["left", "right", "up", "down"]
ToothSystem = Literal["tapered", "uniform", "unknown"]
Verdict = Literal["accept", "adjust", "reject", "undecided"]

SIDES: tuple[Side, Side] = ("drive", "coast")
MM_PER_IN = 25.4  # exact, NIST SP 811


# --- photo ------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Photo:
    """A decoded photo, upright.

    `pixels` is (height, width, 3) uint8, sRGB, R first. `sha256` is of the file's bytes, in hex.
    `orientation` is the EXIF value 1 to 8 that was applied; 2, 4, 5 and 7 were mirrored.
    """

    name: str
    sha256: str
    pixels: NDArray[np.uint8] = field(repr=False)
    orientation: int = 1

    @property
    def width_px(self) -> int:
        """Width after orientation."""
        return int(self.pixels.shape[1])

    @property
    def height_px(self) -> int:
        """Height after orientation."""
        return int(self.pixels.shape[0])


# --- teeth ------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class ToothSide:
    """One side of one tooth in a photo. `corners` is (4, 2) px: toe-tip, heel-tip, heel-root, toe-root.

    `tip_edge` and `root_edge` are (n, 2) px curves from toe to heel that start and end at those
    corners (a straight line: n = 2), `corner_sd_px` how well these are known, `confidence` 0 to 1. A
    tooth has ``followed`` when it was found and then laid anew from one that the user drew.
    """

    corners: NDArray[np.float64]
    tip_edge: NDArray[np.float64]
    root_edge: NDArray[np.float64]
    corner_sd_px: float
    confidence: float
    source: Literal["found", "given", "frame", "followed"] = "found"


@dataclass(frozen=True, eq=False)
class ContactPatch:
    """Where compound was wiped away on one tooth side.

    `contact` and `compound` are (rows, columns) float32 in 0 to 1 on the rectified tooth: column 0
    at the toe, last column at the heel, row 0 at the tip, last row at the root; cell centres.
    `boundary_px` is the largest patch's outline in the photo, (n, 2). `edge_sd` is how well the
    patch's edge is known, as a share of the tooth (lengthwise, profile). `rim_step` is the colour
    step across the patch's rim in CIE L*a*b* units. `agreement` (-1 to 1, 0: not asked) is how much
    more the network expects contact inside than beside it. `flags` are codes of what was seen on this
    tooth.
    """

    contact: NDArray[np.float32]
    compound: NDArray[np.float32]
    boundary_px: NDArray[np.float64]
    edge_sd: tuple[float, float]
    compound_name: str
    rim_step: float = 0.0
    flags: tuple[str, ...] = ()
    agreement: float = 0.0


# --- reading ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Extent:
    """The 5 to 95 % range of the contact area along each axis."""

    lengthwise: tuple[float, float]
    profile: tuple[float, float]


@dataclass(frozen=True)
class Reason:
    """Why a photo was declined: a flag's code and one line that says what was seen and what to do."""

    code: str
    message: str


@dataclass(frozen=True, eq=False)
class ToothReading:
    """The pattern on one tooth side. `outline` is (4, 2) px, `contact` the patch's polygon in px."""

    outline: NDArray[np.float64]
    tip_edge: NDArray[np.float64]
    root_edge: NDArray[np.float64]
    confidence: float
    lengthwise: float
    profile: float
    lengthwise_sd: float
    profile_sd: float
    extent: Extent
    tilt_deg: float
    area: float
    contact: NDArray[np.float64]
    flags: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Reading:
    """One photo's reading, or why it was declined: its numbers are None then, and `marked` are polygons
    (n, 2) px of the teeth that the reasons speak of."""

    photo: str
    sha256: str
    status: Literal["read", "declined"]
    side: Side
    hand: Hand
    reasons: tuple[Reason, ...] = ()
    toe: Direction | None = None
    lengthwise: float | None = None
    lengthwise_sd: float | None = None
    profile: float | None = None
    profile_sd: float | None = None
    correlation: float = 0.0
    extent: Extent | None = None
    tilt_deg: float | None = None
    area: float | None = None
    compound: str | None = None
    flags: tuple[str, ...] = ()
    teeth: tuple[ToothReading, ...] = ()
    drift_per_tooth: tuple[float, float] | None = None
    version: str = ""
    settings: str = ""
    side_from: Literal["given"] = "given"
    size_px: tuple[int, int] | None = None
    marked: tuple[NDArray[np.float64], ...] = ()


@dataclass(frozen=True)
class SideReading:
    """What the advice needs of one side: centre, spread, size of the mark, all as shares of the tooth.

    `length` and `width` are the 5 to 95 % extents. `edges` are the edges the mark runs off.
    """

    lengthwise: float
    profile: float
    lengthwise_sd: float = 0.03
    profile_sd: float = 0.05
    length: float | None = None
    width: float | None = None
    tilt_deg: float | None = None
    edges: tuple[Literal["toe", "heel", "tip", "root"], ...] = ()
    bands: int = 1
    wander: float | None = None

    def __post_init__(self) -> None:
        _in_range(self, _READING_RANGES)


# --- axle, rolls, advice -------------------------------------------------------------------------


@dataclass(frozen=True)
class Axle:
    """What is known of the set on the bench. Only the tooth counts and the diameter are needed.

    `depth_shim` says where the selective shim sits: ``pinion_head`` (between the head and its inner
    bearing, or under the inner cup: thicker = deeper), ``cartridge`` (between a bolt-on pinion
    cartridge and the housing: thicker = shallower), ``unknown``. Shim thicknesses are those in the
    axle at the last roll. `target` replaces the middle of the tooth as the aim: (drive, coast)
    readings of the as-found pattern of a used set. `position` and `rotation` decide which side
    carries the vehicle's forward load. Raises InvalidAxle.
    """

    ring_teeth: int
    pinion_teeth: int
    ring_diameter_in: float
    face_width_in: float | None = None
    offset_in: float | None = None
    cutter_radius_in: float | None = None
    tooth_system: ToothSystem = "unknown"
    hand: Hand = "right"
    condition: Literal["new", "used"] = "new"
    backlash_min_in: float = 0.006
    backlash_max_in: float = 0.010
    depth_shim: Literal["pinion_head", "cartridge", "unknown"] = "unknown"
    depth_shim_in: float | None = None
    left_shim_in: float | None = None
    right_shim_in: float | None = None
    ring_gear_side: Literal["left", "right"] = "left"
    target: tuple[SideReading | None, SideReading | None] | None = None
    spiral_angle_deg: float | None = None
    pressure_angle_drive_deg: float | None = None
    pressure_angle_coast_deg: float | None = None
    position: Literal["rear", "front"] = "rear"
    rotation: Literal["standard", "reverse"] = "standard"
    side_adjusters: Literal["shims", "threaded"] = "shims"
    notch_in: float | None = None

    def __post_init__(self) -> None:
        _whole("ring_teeth", self.ring_teeth, 1, 200)
        _whole("pinion_teeth", self.pinion_teeth, 1, 200)
        if self.pinion_teeth >= self.ring_teeth:
            raise InvalidAxle(
                f"{self.pinion_teeth} pinion teeth against {self.ring_teeth} ring gear teeth",
                subject="pinion_teeth",
                remedy="The ring gear has the larger count; give ring gear and pinion in that order",
            )
        _whole("ring_teeth", self.ring_teeth, 12, 120)
        _whole("pinion_teeth", self.pinion_teeth, 3, 40)
        _in_range(self, _AXLE_RANGES)
        _choice("tooth_system", self.tooth_system, ("tapered", "uniform", "unknown"))
        _choice("hand", self.hand, ("right", "left"))
        _choice("condition", self.condition, ("new", "used"))
        _choice("depth_shim", self.depth_shim, ("pinion_head", "cartridge", "unknown"))
        _choice("ring_gear_side", self.ring_gear_side, ("left", "right"))
        _choice("position", self.position, ("rear", "front"))
        _choice("rotation", self.rotation, ("standard", "reverse"))
        _choice("side_adjusters", self.side_adjusters, ("shims", "threaded"))
        if self.backlash_min_in >= self.backlash_max_in:
            raise InvalidAxle(
                f"{self.backlash_min_in} in is not below backlash_max_in, {self.backlash_max_in} in",
                subject="backlash_min_in",
                remedy="Give the maker's lower limit first, then the upper one",
            )

    @property
    def ratio(self) -> float:
        """Ring gear teeth over pinion teeth."""
        return self.ring_teeth / self.pinion_teeth


@dataclass(frozen=True)
class Roll:
    """One test roll: both marks, the backlash, and the moves made since the roll before.

    `backlash_in` is normal to the tooth at the heel. Moves are None on the first roll.
    """

    drive: SideReading | None = None
    coast: SideReading | None = None
    backlash_in: float | None = None
    pinion_move_in: float | None = None
    ring_move_in: float | None = None
    backlash_sd_in: float = 0.0005

    def __post_init__(self) -> None:
        _in_range(self, _ROLL_RANGES)


@dataclass(frozen=True)
class Expected:
    """What the next roll should show after the advised move."""

    drive: SideReading | None
    coast: SideReading | None
    backlash_in: float | None
    backlash_sd_in: float | None


@dataclass(frozen=True)
class Advice:
    """The next step. A size never stands without its spread; None means that no move is advised.

    A move beside ``accept`` is optional: it would bring the marks closer to their place.

    Shim values are new thicknesses in inches, None where the present one is not known (the reasons
    then give the change). `chance` is the probability that the set is right, now for ``accept`` and
    after the move for ``adjust``.
    """

    verdict: Verdict
    pinion_move_in: float | None = None
    pinion_move_sd_in: float | None = None
    ring_move_in: float | None = None
    ring_move_sd_in: float | None = None
    depth_shim_in: float | None = None
    left_shim_in: float | None = None
    right_shim_in: float | None = None
    shim_stack: dict[str, tuple[float, ...]] = field(default_factory=dict)
    expected: Expected | None = None
    chance: float | None = None
    reasons: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    flags: tuple[str, ...] = ()
    version: str = ""
    settings: str = ""


# --- validation shared by the records above ---------------------------------------------------------

_Range = tuple[float, float, str]
_UNKNOWN = "leave it out if it is not known"
_MOVE = (-0.15, 0.15, "inches; thousandths are meant, so 0.004 for four")
_SPREAD = (1e-4, 1.0, "a standard deviation above zero, as a share")
_EXTENT = (1e-3, 1.5, "an extent as a share of the tooth")
_READING_RANGES: dict[str, _Range] = {
    "lengthwise": (-0.25, 1.25, "a share of the tooth: 0 toe, 1 heel"),
    "profile": (-0.25, 1.25, "a share of the tooth: 0 root, 1 tip"),
    "lengthwise_sd": _SPREAD,
    "profile_sd": _SPREAD,
    "length": _EXTENT,
    "width": _EXTENT,
    "tilt_deg": (-90.0, 90.0, "degrees"),
    "bands": (1, 9, "the number of separate bands, 1 or more"),
    "wander": (0.0, 1.5, "a share of the tooth"),
}
_AXLE_RANGES: dict[str, _Range] = {
    "ring_diameter_in": (2.0, 40.0, "the ring gear's outside diameter in inches"),
    "face_width_in": (0.2, 10.0, _UNKNOWN),
    "offset_in": (0.0, 8.0, _UNKNOWN),
    "cutter_radius_in": (0.5, 20.0, _UNKNOWN),
    "spiral_angle_deg": (0.0, 60.0, _UNKNOWN),
    "pressure_angle_drive_deg": (8.0, 35.0, _UNKNOWN),
    "pressure_angle_coast_deg": (8.0, 35.0, _UNKNOWN),
    "depth_shim_in": (0.0, 1.0, _UNKNOWN),
    "left_shim_in": (0.0, 2.0, _UNKNOWN),
    "right_shim_in": (0.0, 2.0, _UNKNOWN),
    "notch_in": (1e-4, 0.1, _UNKNOWN),
    "backlash_min_in": (0.0, 0.1, "the maker's lower limit in inches"),
    "backlash_max_in": (0.0005, 0.1, "the maker's upper limit in inches"),
}
_ROLL_RANGES: dict[str, _Range] = {
    "backlash_in": (0.0, 0.1, "inches, normal to the tooth at the heel"),
    "pinion_move_in": _MOVE,
    "ring_move_in": _MOVE,
    "backlash_sd_in": (1e-5, 0.02, "inches"),
}


def _in_range(record: SideReading | Axle | Roll, ranges: dict[str, _Range]) -> None:
    """Every field lies in its range; None only where it is the field's default."""
    for part in fields(record):
        value = getattr(record, part.name)
        if part.name in ranges and not (value is None and part.default is None):
            _finite(part.name, value, *ranges[part.name])


def _finite(name: str, value: float, low: float, high: float, what: str) -> None:
    if isinstance(value, bool) or not isinstance(value, int | float | np.floating | np.integer):
        raise InvalidAxle(f"{value!r} is not a number", subject=name, remedy=f"Give {what}")
    if not math.isfinite(value) or not low <= value <= high:
        raise InvalidAxle(
            f"{value!r} is outside {low:g} to {high:g}", subject=name, remedy=f"Expected: {what}"
        )


def _whole(name: str, value: int, low: int, high: int) -> None:
    whole = isinstance(value, int | np.integer) and not isinstance(value, bool)
    if not whole or not low <= value <= high:
        what = f"{value!r} is not a whole number from {low} to {high}"
        raise InvalidAxle(what, subject=name, remedy="Count the teeth")


def _choice(name: str, value: str, allowed: tuple[str, ...]) -> None:
    if value not in allowed:
        remedy = "Use one of: " + ", ".join(allowed)
        raise InvalidAxle(f"{value!r} is not known", subject=name, remedy=remedy)
