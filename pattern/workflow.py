"""The whole flow on one screen: photo, teeth, contact, reading, advice, job. Start here.

Each step lives in the folder named after it; the records between them are in `pattern.records`.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from pattern.contact.patch import find_contacts
from pattern.jobs import RollKind
from pattern.photo.decode import load_photo
from pattern.photo.quality import check_photo
from pattern.reading.combine import combine_photos, combine_teeth
from pattern.reading.measure import measure_tooth
from pattern.records import Advice, Axle, Direction, Hand, Photo, Reading, Roll, Side
from pattern.settings import Settings
from pattern.teeth.find import find_teeth
from pattern.teeth.given import frame_tooth, given_teeth
from pattern.teeth.row import given_row

if TYPE_CHECKING:
    from pattern.archive.store import Archive
    from pattern.setup.stacks import ShimKit

__all__ = ["advise", "file_roll", "read_photo", "read_roll"]

Outlines = Sequence[Sequence[Sequence[float]]] | Literal["frame"]


def read_photo(
    path: str | Path | Photo,
    side: Side,
    *,
    hand: Hand = "right",
    outlines: Outlines | None = None,
    toe: Direction | None = None,
    tip: Direction | None = None,
    others_follow: bool = False,
    without: Sequence[tuple[float, float]] = (),
    settings: Settings | None = None,
) -> Reading:
    """Read one photo of one tooth side; a photo that cannot be read comes back *declined*.

    `outlines` are tooth outlines drawn by the user, each four (x, y) corners in pixels in the order
    toe-tip, heel-tip, heel-root, toe-root; then only these are measured. ``"frame"`` means that the
    picture is cropped to one tooth side, tip edge up unless `toe` or `tip` say otherwise. `toe`
    overrides where the toe lies. With `others_follow` the other teeth that are found are laid anew from
    the outlines drawn, flagged ``followed`` and measured too, but for those under the points (x, y) px of
    `without`. Raises UnreadablePhoto and InvalidOutline.
    """
    settings = settings or Settings()
    photo = path if isinstance(path, Photo) else load_photo(Path(path), settings)
    if outlines == "frame":
        found = frame_tooth(photo, side, hand, toe=toe, tip=tip)
    elif others_follow:
        found = given_row(photo, side, hand, outlines or (), settings, without=without)
    elif outlines is not None:
        found = given_teeth(photo, side, hand, outlines)
    else:
        found = find_teeth(photo, side, hand, settings, toe=toe)
    faults = check_photo(photo, found.regions, settings, found.lights) + found.flags
    patches = find_contacts(photo, found, settings)
    teeth = [measure_tooth(t, p, settings) for t, p in zip(found.teeth, patches, strict=True)]
    return combine_teeth(photo, side, hand, found, teeth, patches, faults, settings)


def read_roll(
    drive: Sequence[Reading], coast: Sequence[Reading], backlash_in: float | None, *,
    pinion_move_in: float | None = None, ring_move_in: float | None = None,
) -> Roll:  # fmt: skip
    """Combine the readings of one test roll, several photos a side, with the backlash and moves.

    Declined readings are left out; a side without any reading is None.
    """
    return Roll(
        drive=combine_photos(drive),
        coast=combine_photos(coast),
        backlash_in=backlash_in,
        pinion_move_in=pinion_move_in,
        ring_move_in=ring_move_in,
    )


def advise(
    axle: Axle,
    rolls: Sequence[Roll],
    *,
    kit: ShimKit | None = None,
    settings: Settings | None = None,
) -> Advice:
    """Advise the next correction from all rolls of the job, oldest first. Raises InvalidAxle."""
    from pattern.advice.correction import correct  # the physics doubles the start of a mere reading

    return correct(axle, rolls, kit=kit, settings=settings or Settings())


def file_roll(
    archive: Archive,
    job_id: str,
    roll: Roll,
    photos: Sequence[tuple[Path | bytes, Reading]],
    advice: Advice | None,
    *,
    kind: RollKind = "roll",
    backlash_readings_in: Sequence[float] = (),
    note: str = "",
    by: str = "",
    uid: str = "",
) -> int:
    """File a roll with its photos byte for byte; returns its number in the job. Raises ArchiveError.

    `backlash_readings_in` are the dial's readings around the ring gear, in order of turning. A roll
    filed again under the same `uid` (32 hex digits) is filed once.
    """
    return archive.add_roll(
        job_id, roll, photos, advice,
        kind=kind, backlash_readings_in=backlash_readings_in, note=note, by=by, uid=uid,
    )  # fmt: skip
