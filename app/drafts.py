"""A roll in work: what is kept with the job before it is filed, so that nothing is lost on the way.

The archive is the only owner. Every change is read, changed and written in one step, so a phone and
the bench can work on one roll without undoing each other.
"""

from __future__ import annotations

import threading
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field, replace
from typing import Any, Literal

from app.components.outline_editor import Points
from pattern.archive.store import Archive
from pattern.jobs import FiledRoll, RollKind
from pattern.records import SIDES, Side

_ONE_AT_A_TIME = threading.Lock()  # sessions are threads of one process


@dataclass(frozen=True)
class PhotoDraft:
    """A photo of a roll in work. `outlines` are six points a tooth, None while found by itself.

    With `follow` the other teeth that are found are laid anew from the outlines, but for those under the
    points (x, y) px of `without`.
    """

    sha256: str
    name: str
    side: Side
    outlines: tuple[Points, ...] | None = None
    follow: bool = False
    without: tuple[tuple[float, float], ...] = ()


@dataclass
class RollDraft:
    """What is known of a roll so far. Moves are None where not said; signs as in the records."""

    kind: RollKind = "roll"
    photos: list[PhotoDraft] = field(default_factory=list)
    backlash_in: float | None = None
    dial: Literal["normal", "rotation"] = "normal"
    pinion_move_in: float | None = None
    ring_move_in: float | None = None
    uid: str = field(default_factory=lambda: uuid.uuid4().hex)

    def of_side(self, side: Side) -> list[PhotoDraft]:
        """Photos of one side, in the order they came."""
        return [photo for photo in self.photos if photo.side == side]

    def add(self, photo: PhotoDraft) -> None:
        """Add a photo; the same file on the same side is kept once."""
        if all((p.sha256, p.side) != (photo.sha256, photo.side) for p in self.photos):
            self.photos.append(photo)

    def change(self, old: PhotoDraft, **changes: Any) -> None:
        """Change one photo, found by hash and side."""
        same = (old.sha256, old.side)
        self.photos = [
            replace(p, **changes) if (p.sha256, p.side) == same else p for p in self.photos
        ]

    def redraw(
        self,
        photo: PhotoDraft,
        outlines: tuple[Points, ...] | None,
        follow: bool = False,
        without: tuple[tuple[float, float], ...] = (),
    ) -> None:
        """Keep what the user drew on a photo; None: let the teeth be found again."""
        drawn = outlines is not None
        self.change(
            photo, outlines=outlines, follow=follow and drawn, without=without if drawn else ()
        )

    def remove(self, old: PhotoDraft) -> None:
        """Take one photo out."""
        self.photos = [p for p in self.photos if (p.sha256, p.side) != (old.sha256, old.side)]

    def in_order(self) -> list[PhotoDraft]:
        """Drive photos first, then coast."""
        return [photo for side in SIDES for photo in self.of_side(side)]


def load_draft(archive: Archive, job_id: str, number: int) -> RollDraft:
    """The roll in work, empty if nothing was entered."""
    kept = archive.draft(job_id, _key(number))
    return _from_json(kept) if kept else RollDraft()


@contextmanager
def changed_draft(archive: Archive, job_id: str, number: int) -> Iterator[RollDraft]:
    """The roll in work, to be changed; written back at the end of the block."""
    with _ONE_AT_A_TIME:
        draft = load_draft(archive, job_id, number)
        before = _to_json(draft)
        yield draft
        archive.merge_draft(job_id, _key(number), before, _to_json(draft))


def start_draft(archive: Archive, job_id: str, number: int, last: FiledRoll | None) -> RollDraft:
    """Load the draft; a new one after a filed roll begins with the moves that were advised."""
    if archive.draft(job_id, _key(number)) is None:
        with changed_draft(archive, job_id, number) as fresh:
            if last is not None and last.advice is not None:
                fresh.pinion_move_in = last.advice.pinion_move_in
                fresh.ring_move_in = last.advice.ring_move_in
    return load_draft(archive, job_id, number)


def drop_draft(archive: Archive, job_id: str, number: int) -> None:
    """Forget the roll in work once it is filed."""
    archive.drop_draft(job_id, _key(number))


def _key(number: int) -> str:
    return f"roll-{number}"


def _to_json(draft: RollDraft) -> dict[str, Any]:
    """What follows and what does not only where it is said: a photo kept by an earlier version, which did
    not know it, must come out as it went in, or the merge takes it for another."""
    data = asdict(draft)
    for photo in data["photos"]:
        for name in ("follow", "without"):
            if not photo[name]:
                del photo[name]
    return data


def _from_json(kept: dict[str, Any]) -> RollDraft:
    photos = [
        PhotoDraft(
            photo["sha256"],
            photo["name"],
            photo["side"],
            None
            if photo.get("outlines") is None
            else tuple(tuple((x, y) for x, y in tooth) for tooth in photo["outlines"]),
            bool(photo.get("follow")),
            tuple((x, y) for x, y in photo.get("without") or ()),
        )
        for photo in kept.get("photos", [])
    ]
    known = {name: kept[name] for name in RollDraft.__dataclass_fields__ if name in kept}
    return RollDraft(**(known | {"photos": photos}))
