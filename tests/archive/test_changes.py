"""What a comparison of two readers says, against readings whose differences are known."""

from __future__ import annotations

import base64
import csv
import io
import re
from dataclasses import replace

import pytest
from PIL import Image

from pattern.archive.again import Outcome, keep, tasks
from pattern.archive.changes import reading_changes
from pattern.archive.codec import to_json
from pattern.archive.store import Archive
from pattern.archive.table import readings_csv
from pattern.errors import InvalidInput
from pattern.jobs import AS_FILED
from pattern.records import Reading
from pattern.report.changes import changes_html, changes_lines
from tests.archive.pictures import jpeg
from tests.archive.samples import declined, reading, roll


def file_photos(archive: Archive, *filed: Reading | None) -> str:
    """One roll with a photo for each reading; None is filed declined."""
    job_id, shots = archive.new_job(), []
    for number, told in enumerate(filed):
        data = jpeg(number)
        made = declined(data) if told is None else replace(told, sha256=reading(data).sha256)
        shots.append((data, replace(made, photo=f"p{number + 1}.jpg")))
    archive.add_roll(job_id, roll(), shots)
    return job_id


def read_later(archive: Archive, reader: str, *later: Reading | None) -> None:
    """What `reader` says of the photos, in their order; None leaves the filed declined reading."""
    to_do = list(tasks(archive.database, reader))
    readings = [declined(b"") if told is None else told for told in later]
    keep(
        archive.database,
        reader,
        [Outcome(task, to_json(told)) for task, told in zip(to_do, readings, strict=True)],
    )


def at(lengthwise: float, profile: float = 0.5, spread: float = 0.02) -> Reading:
    made = reading(b"", lengthwise=lengthwise, profile=profile)
    return replace(made, lengthwise_sd=spread, profile_sd=spread)


def test_moves_losses_and_gains_are_counted(archive: Archive) -> None:
    file_photos(archive, at(0.40), at(0.40), at(0.60, 0.70), None, at(0.5), None)
    read_later(archive, "new", at(0.43), at(0.40), at(0.60, 0.60), at(0.5), None, None)
    told = reading_changes(archive.database)
    assert (told.before, told.after, told.photos) == (AS_FILED, "new", 6)
    assert (told.both_read, told.gained, told.lost) == (3, 1, 1)
    # |changes| toe to heel 0.03, 0, 0 and root to tip 0, 0, 0.10: median and 95th percentile, linear
    # between order statistics, by hand: 0 + 0.9 * 0.03 and 0 + 0.9 * 0.10
    assert told.lengthwise == pytest.approx((0.0, 0.027))
    assert told.profile == pytest.approx((0.0, 0.090))
    # two spreads of 0.02 together are 0.0283, twice that 0.0566: only the 0.10 is beyond
    assert (told.beyond_spread, told.turned) == (1, 0)


@pytest.mark.parametrize(
    ("before", "after", "turned"),
    [
        (0.35, 0.55, 1),  # over the middle, and the one was well off it
        (0.48, 0.63, 1),
        (0.47, 0.53, 0),  # over the middle, neither is off it
        (0.30, 0.45, 0),  # nearer the middle, same half
    ],
)
def test_a_mark_that_changed_its_half_is_said(
    archive: Archive, before: float, after: float, turned: int
) -> None:
    file_photos(archive, at(before))
    read_later(archive, "new", at(after))
    assert reading_changes(archive.database).turned == turned


def test_the_largest_changes_come_first_and_lost_readings_before_gained_ones(
    archive: Archive,
) -> None:
    moves = [0.01, 0.09, 0.0, 0.05, 0.30]
    file_photos(archive, *(at(0.4) for _ in moves), None, at(0.4))
    read_later(archive, "new", *(at(0.4 + move) for move in moves), at(0.5), None)
    told = reading_changes(archive.database)
    assert [c.name for c in told.largest] == [
        "p5.jpg", "p2.jpg", "p4.jpg", "p1.jpg", "p7.jpg", "p6.jpg",
    ]  # fmt: skip
    assert [c.name for c in reading_changes(archive.database, largest=2).largest] == [
        "p5.jpg",
        "p2.jpg",
    ]


def test_the_hand_is_the_judge_where_it_corrected(archive: Archive) -> None:
    job_id = file_photos(archive, at(0.40), at(0.40), at(0.40))
    archive.edit_roll(job_id, 1, readings={1: at(0.50), 2: at(0.46, 0.58)})
    read_later(archive, "new", at(0.48), at(0.46, 0.54), at(0.9))
    told = reading_changes(archive.database)
    assert told.by_hand == 2
    # before: 0.10 and hypot(0.06, 0.08) = 0.10; now: 0.02 and 0.04
    assert told.hand_before == pytest.approx(0.10)
    assert told.hand_after == pytest.approx(0.03)


def test_any_two_readers_can_be_compared(archive: Archive) -> None:
    file_photos(archive, at(0.40), at(0.40))
    read_later(archive, "a", at(0.42), at(0.40))
    read_later(archive, "b", at(0.42), at(0.45))
    told = reading_changes(archive.database, before="a", after="b")
    assert told.lengthwise == pytest.approx((0.025, 0.0475))
    assert reading_changes(archive.database, before="b", after=AS_FILED).photos == 2


@pytest.mark.parametrize("names", [{}, {"after": "nobody"}, {"before": "nobody"}])
def test_a_reader_that_read_nothing_is_refused(archive: Archive, names: dict[str, str]) -> None:
    file_photos(archive, at(0.4))
    with pytest.raises(InvalidInput, match="no photo"):
        reading_changes(archive.database, **names)


def test_more_photos_than_a_page_are_all_compared(
    archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    file_photos(archive, *(at(0.4) for _ in range(7)))
    read_later(archive, "new", *(at(0.41) for _ in range(7)))
    monkeypatch.setattr("pattern.archive.changes._PAGE", 3)
    assert reading_changes(archive.database).photos == 7


def test_the_page_shows_the_numbers_and_a_pair_of_pictures_for_each_large_change(
    archive: Archive,
) -> None:
    job_id = file_photos(archive, at(0.40), None, at(0.4))
    archive.edit_roll(job_id, 1, readings={1: at(0.50)})
    read_later(archive, "new <1>", at(0.48), at(0.5), at(0.4))
    told = reading_changes(archive.database)
    page = changes_html(told, archive.photo)
    assert "new &lt;1&gt;" in page
    for what, value in changes_lines(told):
        assert what in page
        assert value in page
    pictures = re.findall(r'alt="([^"]+)" src="data:image/jpeg;base64,([^"]+)"', page)
    assert [words.split(",")[1].strip() for words, _ in pictures] == [
        "before", "now", "by hand", "before", "now",
    ]  # fmt: skip
    shown = [Image.open(io.BytesIO(base64.b64decode(data))) for _, data in pictures]
    assert all(min(image.size) > 100 for image in shown)
    assert shown[0].tobytes() != shown[1].tobytes()
    assert "toe to heel 0.40 → 0.48" in page
    assert "read now, declined before (too_dark)" in page


def test_the_table_of_readings_has_a_row_for_each_later_one(archive: Archive) -> None:
    job_id = file_photos(archive, at(0.40), at(0.5))
    archive.edit_roll(job_id, 1, readings={1: at(0.45)})
    read_later(archive, "new", at(0.48), at(0.5))
    text = readings_csv([archive.job(job_id)], archive.later_readings)
    rows = list(csv.DictReader(io.StringIO(text)))
    assert [(r["photo"], r["source"], r["lengthwise"]) for r in rows] == [
        ("p1.jpg", "automatic", "0.4"), ("p1.jpg", "by hand", "0.45"),
        ("p1.jpg", "again, new", "0.48"),
        ("p2.jpg", "automatic", "0.5"), ("p2.jpg", "again, new", "0.5"),
    ]  # fmt: skip


def test_a_photo_that_is_gone_does_not_stop_the_page(archive: Archive) -> None:
    file_photos(archive, at(0.40))
    read_later(archive, "new", at(0.48))
    told = reading_changes(archive.database)
    archive.photos.remove(told.largest[0].sha256)
    assert "cannot be shown" in changes_html(told, archive.photo)
