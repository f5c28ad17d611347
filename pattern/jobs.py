"""What is on record about one job: the sheets a shop fills in, the rolls in order, and the history.

Between the archive that keeps it and the report that prints it. Signs and units are those of
`pattern.records`; torques are in lbf·ft and lbf·in as the maker's data give them. Unknown is None
or an empty text, never zero.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

from pattern.errors import InvalidInput
from pattern.records import Advice, Axle, Reading, Roll, Side

Status = Literal["open", "waiting", "done", "withdrawn"]
RollKind = Literal["as_found", "roll", "final"]

STATUSES: tuple[Status, ...] = ("open", "waiting", "done", "withdrawn")
ROLL_KINDS: tuple[RollKind, ...] = ("as_found", "roll", "final")


@dataclass(frozen=True)
class AsFound:
    """The as-found sheet: what was measured and read off before anything was taken apart.

    `backlash_in` are dial readings around the ring gear in inches, in order of turning, normal to
    the tooth at the heel unless `dial` says ``rotation``. `pinion_mark` and `ring_mark` are the
    etched marks as they stand, `cap_marks` how the bearing caps are marked left and right,
    `limited_slip_drag_lbf_ft` the break-away torque of the limited-slip unit.
    """

    backlash_in: tuple[float, ...] = ()
    dial: Literal["normal", "rotation"] = "normal"
    depth_shim_in: float | None = None
    left_shim_in: float | None = None
    right_shim_in: float | None = None
    pinion_mark: str = ""
    ring_mark: str = ""
    cap_marks: str = ""
    ring_bolts: int | None = None
    limited_slip_drag_lbf_ft: float | None = None
    rotating_torque_lbf_in: float | None = None
    notes: str = ""

    def __post_init__(self) -> None:
        _readings("as_found.backlash_in", self.backlash_in)
        for name in ("depth_shim_in", "left_shim_in", "right_shim_in"):
            _measure(f"as_found.{name}", getattr(self, name), 2.0, "inches")
        _measure("as_found.limited_slip_drag_lbf_ft", self.limited_slip_drag_lbf_ft, 1000, "lbf·ft")
        _measure("as_found.rotating_torque_lbf_in", self.rotating_torque_lbf_in, 1000, "lbf·in")
        _one_of("as_found.dial", self.dial, ("normal", "rotation"))
        if self.ring_bolts is not None and not 4 <= self.ring_bolts <= 40:
            raise InvalidInput(
                f"{self.ring_bolts!r} is not between 4 and 40",
                subject="as_found.ring_bolts",
                remedy="Count the ring gear bolts",
            )


@dataclass(frozen=True)
class Part:
    """A part that was fitted."""

    name: str
    number: str = ""
    quantity: int = 1

    def __post_init__(self) -> None:
        if not self.name.strip():
            raise InvalidInput("has no name", subject="parts", remedy="Say what was fitted")
        if not 1 <= self.quantity <= 1000:
            raise InvalidInput(
                f"{self.quantity!r} of {self.name!r}", subject="parts", remedy="Give 1 to 1000"
            )


@dataclass(frozen=True)
class Torque:
    """A tightening torque as it was set, in lbf·ft, and the maker's data it was taken from."""

    fastener: str
    torque_lbf_ft: float
    source: str = ""

    def __post_init__(self) -> None:
        _measure(f"torque of {self.fastener or 'a fastener'}", self.torque_lbf_ft, 2000, "lbf·ft")


@dataclass(frozen=True)
class FinalSheet:
    """The final sheet: what the set left the bench with. Backlash as in `AsFound`.

    `case_preload_in` is the shim thickness added in all for bearing preload, inches.
    """

    backlash_in: tuple[float, ...] = ()
    dial: Literal["normal", "rotation"] = "normal"
    depth_shim_in: float | None = None
    left_shim_in: float | None = None
    right_shim_in: float | None = None
    rotating_torque_lbf_in: float | None = None
    case_preload_in: float | None = None
    torques: tuple[Torque, ...] = ()
    threadlocker: str = ""
    checked_by: str = ""
    notes: str = ""

    def __post_init__(self) -> None:
        _readings("final.backlash_in", self.backlash_in)
        for name in ("depth_shim_in", "left_shim_in", "right_shim_in", "case_preload_in"):
            _measure(f"final.{name}", getattr(self, name), 2.0, "inches")
        _measure("final.rotating_torque_lbf_in", self.rotating_torque_lbf_in, 1000, "lbf·in")
        _one_of("final.dial", self.dial, ("normal", "rotation"))


@dataclass(frozen=True)
class FiledPhoto:
    """A photo of a roll: the automatic reading as filed, and the one corrected by hand if any.

    `side` is as it stands: that of the corrected reading where there is one.
    """

    position: int
    name: str
    sha256: str
    side: Side
    size_bytes: int
    reading: Reading
    corrected: Reading | None = None

    @property
    def best(self) -> Reading:
        """The corrected reading where there is one."""
        return self.corrected or self.reading


@dataclass(frozen=True)
class FiledRoll:
    """One roll on record. `roll` is as it stands after corrections, `as_filed` as first recorded.

    `advice` is the latest given for this roll, `advice_as_filed` the one filed with it. A struck
    roll stays on record with the reason but is left out of the advice.
    """

    number: int
    uid: str
    kind: RollKind
    filed_at: str
    roll: Roll
    as_filed: Roll
    photos: tuple[FiledPhoto, ...] = ()
    backlash_readings_in: tuple[float, ...] = ()
    advice: Advice | None = None
    advice_as_filed: Advice | None = None
    note: str = ""
    struck: str = ""
    version: str = ""
    by: str = ""


@dataclass(frozen=True)
class Entry:
    """One line of a job's history: which section changed, when, by whom, from what to what.

    `roll` is the roll's number or None for the job's own sheets; `before` and `after` are JSON.
    """

    at: str
    by: str
    section: str
    roll: int | None
    before: str | None
    after: str


@dataclass(frozen=True)
class Job:
    """Everything on record about one job. `version` rises with every change to it."""

    id: str
    uid: str
    opened_at: str
    changed_at: str
    status: Status = "open"
    customer: str = ""
    vehicle: str = ""
    axle: Axle | None = None
    as_found: AsFound = field(default_factory=AsFound)
    parts: tuple[Part, ...] = ()
    notes: str = ""
    tags: tuple[str, ...] = ()
    final: FinalSheet = field(default_factory=FinalSheet)
    rolls: tuple[FiledRoll, ...] = ()
    imported_from: str = ""
    version: int = 0

    @property
    def standing_rolls(self) -> tuple[FiledRoll, ...]:
        """The rolls that count, oldest first: what an advice is asked for with."""
        return tuple(roll for roll in self.rolls if not roll.struck)


@dataclass(frozen=True)
class JobLine:
    """One line of the jobs list."""

    id: str
    opened_at: str
    changed_at: str
    status: Status
    customer: str
    vehicle: str
    ring_teeth: int | None
    pinion_teeth: int | None
    ring_diameter_in: float | None
    rolls: int
    tags: tuple[str, ...] = ()


@dataclass(frozen=True)
class JobPage:
    """A page of the jobs list, newest first. `older` is the id to ask the next page with, or None."""

    jobs: tuple[JobLine, ...]
    older: str | None


@dataclass(frozen=True)
class LikeJob:
    """A finished job of the same teeth and diameter, with the shims it ended on, in inches."""

    id: str
    changed_at: str
    vehicle: str
    depth_shim_in: float | None
    left_shim_in: float | None
    right_shim_in: float | None
    depth_shim: str
    pinion_mark: str


@dataclass(frozen=True)
class ShimHint:
    """A depth shim to start from, inches, with its range and the jobs it rests on.

    A hint and no more: etched marks differ from pinion to pinion, see each job's `pinion_mark`.
    """

    depth_shim_in: float
    least_in: float
    most_in: float
    evidence: tuple[LikeJob, ...]


# --- what a later reader made of it ---------------------------------------------------------------

AS_FILED = "as filed"
"""The name under which the readings go that the photos were filed with."""


@dataclass(frozen=True)
class ChangedReading:
    """One filed photo as an earlier and as a later reader read it, and as a hand corrected it if any."""

    job_id: str
    roll: int
    position: int
    name: str
    sha256: str
    size_bytes: int
    before: Reading
    after: Reading
    by_hand: Reading | None = None

    @property
    def distance(self) -> float | None:
        """How far the centre moved, in shares of the tooth; None unless both readers read it."""
        return centre_distance(self.before, self.after)


@dataclass(frozen=True)
class ReadingChanges:
    """How the readings of `photos` changed from the reader `before` to the reader `after`.

    `lengthwise` and `profile` are the median and the 95th percentile of the change, in shares of the
    tooth, of the `both_read`. `beyond_spread` changed by more than two of their stated spreads together,
    `turned` lie on the other half of the tooth and off its middle. `hand_before` and `hand_after` are
    the median distances from the centre that a hand set on `by_hand` photos. `largest` come first.
    """

    before: str
    after: str
    photos: int
    both_read: int
    gained: int
    lost: int
    lengthwise: tuple[float, float] | None = None
    profile: tuple[float, float] | None = None
    beyond_spread: int = 0
    turned: int = 0
    by_hand: int = 0
    hand_before: float | None = None
    hand_after: float | None = None
    largest: tuple[ChangedReading, ...] = ()


def centre_distance(one: Reading | None, other: Reading | None) -> float | None:
    """Between two readings' centres, in shares of the tooth; None unless both were read."""
    if one is None or other is None or one.lengthwise is None or other.lengthwise is None:
        return None
    if one.profile is None or other.profile is None:
        return None
    return math.hypot(one.lengthwise - other.lengthwise, one.profile - other.profile)


# --- validation shared by the records above -------------------------------------------------------


def _readings(name: str, values: tuple[float, ...]) -> None:
    for value in values:
        _measure(name, value, 0.2, "inches, thousandths are meant: 0.008 for eight")


def _measure(name: str, value: float | None, high: float, unit: str) -> None:
    if value is None:
        return
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise InvalidInput(f"{value!r} is not a number", subject=name, remedy=f"Give {unit}")
    if not 0 <= value <= high:
        raise InvalidInput(
            f"{value!r} is outside 0 to {high:g}", subject=name, remedy=f"Expected: {unit}"
        )


def _one_of(name: str, value: str, allowed: tuple[str, ...]) -> None:
    if value not in allowed:
        raise InvalidInput(
            f"{value!r} is not known", subject=name, remedy="Use one of: " + ", ".join(allowed)
        )
