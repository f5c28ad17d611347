"""The library calls that the screens make, with their results kept by content hash and settings."""

from __future__ import annotations

import base64
import hashlib
import io
import json
import logging
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from importlib import import_module
from threading import Thread
from typing import TYPE_CHECKING

import streamlit as st

from app.components.outline_editor import Outline, Points, in_row
from app.drafts import PhotoDraft, RollDraft
from app.figures import shown
from app.state import archive, settings
from pattern.archive.store import Archive
from pattern.errors import InvalidAxle
from pattern.jobs import Job
from pattern.records import Advice, Axle, Expected, Hand, Photo, Reading, Roll, Side, SideReading
from pattern.report.measures import Units
from pattern.settings import Settings

if TYPE_CHECKING:
    from PIL.Image import Image

    from pattern.gears.blank import System
    from pattern.setup.stacks import ShimKit

Step = tuple[int, SideReading | None, SideReading | None]
"""A roll's number and what its drive and coast side showed."""

LOG = logging.getLogger("contact_pattern.page")
KIT = "shim-kit"
EDITOR_PX = 1600
OVERLAY_PX = 1000


@st.cache_resource(show_spinner=False)
def warm() -> Thread:
    """Load the heavy libraries beside the first page, once, so that the first photo need not wait."""
    names = ("pattern.workflow", "pattern.report.overlay", "pattern.advice.correction")
    thread = Thread(target=lambda: [import_module(name) for name in names], daemon=True)
    thread.start()
    return thread


def read_draft(photo: PhotoDraft, hand: Hand) -> Reading:
    """The reading of a photo in work, with its outlines as the user left them."""
    return _read(
        archive(), settings(), photo.sha256, photo.name, photo.side, hand, photo.outlines,
        photo.follow and bool(photo.outlines), photo.without, settings().fingerprint,
    )  # fmt: skip


def found_outlines(photo: PhotoDraft, hand: Hand) -> Reading:
    """The reading with outlines found automatically, whatever the user drew."""
    plain = PhotoDraft(photo.sha256, photo.name, photo.side)
    return read_draft(plain, hand)


def keep_photo(data: bytes, name: str, side: Side) -> PhotoDraft:
    """Store an uploaded photo once it is known to open. Raises UnreadablePhoto, ArchiveError."""
    from pattern.photo.decode import decode_photo

    decode_photo(data, name, settings())
    return PhotoDraft(archive().hold_photo(data), name, side)


def readings_of(draft: RollDraft, hand: Hand) -> list[tuple[PhotoDraft, Reading]]:
    """All readings of a roll in work, drive first."""
    return [(photo, read_draft(photo, hand)) for photo in draft.in_order()]


def editable(photo: PhotoDraft, reading: Reading | None) -> tuple[Outline, ...]:
    """Outlines as the editor moves them: those the user drew, and those found or laid from them.

    With teeth that follow, in their order along the row, so that a tooth keeps its number when its
    neighbour is corrected.
    """
    from pattern.archive.outline_points import six_points

    teeth = reading.teeth if reading else ()
    if photo.outlines is None:
        return in_row([Outline(six_points(t), "found", t.confidence) for t in teeth])
    drawn = [Outline(points, "drawn") for points in photo.outlines]
    laid = [
        Outline(six_points(t), "followed", t.confidence) for t in teeth if "followed" in t.flags
    ]
    return in_row(drawn + laid) if photo.follow else tuple(drawn)


def tooth_count_remarks(ring_teeth: int, pinion_teeth: int) -> tuple[str, ...]:
    """What is unusual about the counts, or why they cannot be."""
    from pattern.setup.ratio import check_counts

    try:
        return check_counts(ring_teeth, pinion_teeth)
    except InvalidAxle as error:
        return (error.message,)


def roll_of(draft: RollDraft, axle: Axle) -> Roll:
    """The roll in work as a record: readings combined, backlash normal to the tooth."""
    from pattern.setup.dial import normal_backlash
    from pattern.workflow import read_roll

    read = readings_of(draft, axle.hand)
    roll = read_roll(
        [r for p, r in read if p.side == "drive"], [r for p, r in read if p.side == "coast"],
        None, pinion_move_in=draft.pinion_move_in, ring_move_in=draft.ring_move_in,
    )  # fmt: skip
    if draft.backlash_in is None:
        return roll
    normal = normal_backlash(draft.backlash_in, draft.dial)
    return replace(roll, backlash_in=normal.backlash_in, backlash_sd_in=normal.backlash_sd_in)


def advice_for(job: Job, axle: Axle, roll: Roll) -> Advice:
    """The advice after all rolls of the job and this one. Raises InvalidInput, NoCorrection."""
    earlier = [filed.roll for filed in job.standing_rolls]
    return _advised(axle, (*earlier, roll), shop_kit(), settings())


@lru_cache(maxsize=64)
def _advised(
    axle: Axle, rolls: tuple[Roll, ...], kit: ShimKit | None, settings: Settings
) -> Advice:
    """Kept by what it is made from: every touch of the screen asks for the same advice again."""
    from pattern.workflow import advise

    return advise(axle, rolls, kit=kit, settings=settings)


def shim_changes(axle: Axle, advice: Advice) -> dict[str, float]:
    """What the moves add to shims whose present thickness is not known, inches, + is thicker.

    By the names ``depth``, ``left`` and ``right``. Without a depth shim whose place is not known, which
    could go either way.
    """
    from pattern.setup.side_shims import side_shims_for
    from pattern.setup.stacks import depth_shim_for

    changes = {}
    if advice.pinion_move_in and axle.depth_shim_in is None and axle.depth_shim != "unknown":
        (shim,) = depth_shim_for(advice.pinion_move_in, axle.depth_shim)
        changes["depth"] = shim.change_in
    if advice.ring_move_in and axle.side_adjusters == "shims":
        sides = side_shims_for(advice.ring_move_in, axle.ring_gear_side)
        if axle.left_shim_in is None:
            changes["left"] = sides.left_change_in
        if axle.right_shim_in is None:
            changes["right"] = sides.right_change_in
    return changes


def present_axle(job: Job, in_work: Roll | None = None) -> Axle:
    """The axle with the shims that are in it now. Raises InvalidAxle."""
    from pattern.advice import present

    axle = present.present_axle(job, in_work)
    assert axle is not None
    return axle


def shop_kit() -> ShimKit | None:
    """The shims in the drawer as the shop listed them, None if it did not. Raises InvalidAxle."""
    from pattern.setup.stacks import ShimKit, ShimSize

    kept = archive().draft("", KIT) or {}
    unit: Units = kept.get("unit", "in")
    depth, side = (
        tuple(ShimSize(round(shown(size, unit), 5)) for size in kept.get(place) or ())
        for place in ("depth", "side")
    )
    return ShimKit("shop", unit, depth, side) if depth or side else None


def file_draft(job: Job, draft: RollDraft, roll: Roll, advice: Advice | None) -> int:
    """File the roll in work with its photos, each with its automatic reading and, apart from it, the
    one corrected by hand. Filing twice, from two browsers, files it once.
    """
    from pattern.workflow import file_roll

    assert job.axle is not None
    hand, photos = job.axle.hand, draft.in_order()
    automatic = [(archive().photo(p.sha256), _automatic(p, hand)) for p in photos]
    number = file_roll(archive(), job.id, roll, automatic, advice, kind=draft.kind, uid=draft.uid)
    corrected = {
        position: read_draft(photo, hand)
        for position, photo in enumerate(photos, start=1)
        if photo.outlines is not None
    }
    if corrected:
        archive().edit_roll(job.id, number, readings=corrected)
    return number


def _automatic(photo: PhotoDraft, hand: Hand) -> Reading:
    """The automatic reading; where the finder fails on a photo with drawn outlines, the drawn one."""
    if photo.outlines is None:
        return found_outlines(photo, hand)
    try:
        return found_outlines(photo, hand)
    except Exception:  # a fault in finding teeth must not keep a hand-drawn roll from being filed
        LOG.exception("teeth of %s could not be found", photo.name)
        return read_draft(photo, hand)


def photo_url(sha256: str, name: str) -> str:
    """A photo as a data address for the outline editor, at most EDITOR_PX long."""
    return _photo_url(archive(), settings(), sha256, name)


def size_px(sha256: str, name: str) -> tuple[int, int]:
    """Width and height of the upright photo, full resolution."""
    photo = _photo(archive(), settings(), sha256, name)
    return photo.width_px, photo.height_px


def overlay(sha256: str, name: str, reading: Reading) -> bytes:
    """The reading drawn on its photo, as a JPEG file small enough for a phone."""
    from pattern.reading.as_json import reading_json

    drawn = hashlib.sha256(json.dumps(reading_json(reading)).encode()).hexdigest()
    return _overlay(archive(), settings(), reading, sha256, name, drawn)


def progress_drawings(axle: Axle, steps: Sequence[Step]) -> tuple[str, str]:
    """Drive and coast side with the pattern at each (number, drive, coast), oldest first, as SVG."""
    from pattern.report.tooth_chart import tooth_chart

    drive = [(number, reading) for number, reading, _ in steps if reading is not None]
    coast = [(number, reading) for number, _, reading in steps if reading is not None]
    return tooth_chart("drive", drive, axle), tooth_chart("coast", coast, axle)


def tooth_systems(axle: Axle) -> tuple[System, ...]:
    """One system where it is known, both where it is not."""
    from pattern.advice.what_if import systems_of

    return systems_of(axle)


def what_if(
    axle: Axle, rolls: Sequence[Roll], pinion_in: float, ring_in: float, system: System
) -> Expected:
    """Marks and backlash after moves that the user tries. Raises InvalidInput."""
    from pattern.advice import what_if as library

    return library.what_if(axle, rolls, pinion_in, ring_in, system)


def report(job: Job, units: Units) -> bytes:
    """The job's record as PDF bytes."""
    from pattern.report.pdf import job_pdf

    return job_pdf(job, archive().photo, units=units)


def toe_is_left(side: Side, hand: Hand) -> bool:
    """Where the toe lies when the tip edge is up."""
    from pattern.teeth.chirality import toe_from_tip

    return toe_from_tip("up", side, hand) == "left"


@st.cache_data(max_entries=300, show_spinner=False)
def _read(
    _archive: Archive,
    _settings: Settings,
    sha256: str,
    name: str,
    side: Side,
    hand: Hand,
    outlines: Sequence[Points] | None,
    follow: bool,
    without: tuple[tuple[float, float], ...],
    fingerprint: str,
) -> Reading:
    from pattern.workflow import read_photo

    photo = _photo(_archive, _settings, sha256, name)
    return read_photo(
        photo, side, hand=hand, outlines=outlines, others_follow=follow, without=without,
        settings=_settings,
    )  # fmt: skip


@st.cache_data(max_entries=60, show_spinner=False)
def _overlay(
    _archive: Archive, _settings: Settings, _reading: Reading, sha256: str, name: str, drawn: str
) -> bytes:
    from pattern.report.overlay import overlay_image

    photo = _photo(_archive, _settings, sha256, name)
    return _jpeg(overlay_image(photo, _reading, long_side=OVERLAY_PX, caption=False))


@st.cache_resource(max_entries=3, show_spinner=False)
def _photo(_archive: Archive, _settings: Settings, sha256: str, name: str) -> Photo:
    from pattern.photo.decode import decode_photo

    return decode_photo(_archive.photo(sha256), name, _settings)


@st.cache_data(max_entries=12, show_spinner=False)
def _photo_url(_archive: Archive, _settings: Settings, sha256: str, name: str) -> str:
    from PIL import Image as pictures

    from pattern.photo.levels import factor_for, reduced

    photo = _photo(_archive, _settings, sha256, name)
    long_side = max(photo.width_px, photo.height_px)
    image = pictures.fromarray(reduced(photo, factor_for(photo, long_side / EDITOR_PX)))
    image.thumbnail((EDITOR_PX, EDITOR_PX))
    return "data:image/jpeg;base64," + base64.b64encode(_jpeg(image)).decode()


def _jpeg(image: Image) -> bytes:
    out = io.BytesIO()
    image.convert("RGB").save(out, "JPEG", quality=82)
    return out.getvalue()
