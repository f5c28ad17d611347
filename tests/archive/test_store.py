"""Jobs and rolls on record: what goes in comes out, and nothing recorded is ever lost by an edit."""

from __future__ import annotations

import json
import sqlite3
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest

from pattern.archive.codec import to_data
from pattern.archive.store import Archive
from pattern.errors import InvalidAxle, InvalidInput
from pattern.jobs import FinalSheet
from tests.archive.samples import (
    AS_FOUND,
    AXLE,
    FINAL,
    PARTS,
    advice,
    declined,
    photo_bytes,
    reading,
    roll,
)


def test_a_job_comes_back_as_it_was_opened(archive: Archive) -> None:
    job_id = archive.new_job(
        customer="Öz & Daughters", vehicle="flat-bed, 1987", axle=AXLE, as_found=AS_FOUND,
        parts=PARTS, notes="“Quote first”", tags=("Rush", "rear  axle", "rush"),
    )  # fmt: skip
    job = archive.job(job_id)
    assert (job.customer, job.vehicle, job.notes) == (
        "Öz & Daughters",
        "flat-bed, 1987",
        "“Quote first”",
    )
    assert (job.axle, job.as_found, job.parts) == (AXLE, AS_FOUND, PARTS)
    assert job.tags == ("rear axle", "rush")
    assert (job.status, job.final, job.rolls) == ("open", FinalSheet(), ())


def test_a_job_may_be_opened_with_nothing_known_yet(archive: Archive) -> None:
    job = archive.job(archive.new_job())
    assert job.axle is None
    assert job.as_found.depth_shim_in is None, "unknown is None, never zero"


def test_a_roll_comes_back_with_photos_readings_moves_and_advice(archive: Archive) -> None:
    job_id = archive.new_job(axle=AXLE)
    drive, coast = photo_bytes(1), photo_bytes(2)
    archive.add_roll(job_id, roll(), [(drive, reading(drive))], advice(), kind="as_found")
    second = roll(0.5, 0.55, pinion_move_in=0.004, ring_move_in=-0.002)
    number = archive.add_roll(
        job_id, second, [(drive, reading(drive)), (coast, declined(coast))], advice(0.001, 0.0),
        backlash_readings_in=(0.008, 0.0085), note="brake was light", by="Sam",
    )  # fmt: skip
    assert number == 2
    first, last = archive.job(job_id).rolls
    assert (first.kind, first.number, first.roll, first.advice) == ("as_found", 1, roll(), advice())
    assert last.roll == second
    assert last.advice == advice(0.001, 0.0)
    assert (last.backlash_readings_in, last.note, last.by) == (
        (0.008, 0.0085),
        "brake was light",
        "Sam",
    )
    assert [(p.position, p.side, p.reading.status) for p in last.photos] == [
        (1, "drive", "read"),
        (2, "coast", "declined"),
    ]
    assert [archive.photo(p.sha256) for p in last.photos] == [drive, coast]


def test_a_reading_comes_back_to_the_last_number(archive: Archive) -> None:
    data = photo_bytes()
    job_id = archive.new_job()
    archive.add_roll(job_id, roll(), [(data, reading(data))])
    stored = archive.job(job_id).rolls[0].photos[0].reading
    assert to_data(stored) == to_data(reading(data))
    assert stored.teeth[0].outline.shape == (4, 2)
    assert stored.teeth[0].contact.dtype == np.float64


def test_a_corrected_reading_stands_beside_the_automatic_one(archive: Archive) -> None:
    data = photo_bytes()
    job_id = archive.new_job()
    archive.add_roll(job_id, roll(), [(data, reading(data))])
    by_hand = reading(data, lengthwise=0.5)
    archive.edit_roll(job_id, 1, readings={1: by_hand}, roll=roll(0.5), by="Sam")
    filed = archive.job(job_id).rolls[0]
    assert to_data(filed.photos[0].reading) == to_data(reading(data))
    assert to_data(filed.photos[0].best) == to_data(by_hand)
    assert (filed.as_filed, filed.roll) == (roll(), roll(0.5))
    archive.edit_roll(job_id, 1, readings={1: None})
    assert to_data(archive.job(job_id).rolls[0].photos[0].best) == to_data(reading(data))


def test_the_side_and_the_kind_of_a_roll_can_be_put_right(archive: Archive) -> None:
    data = photo_bytes()
    job_id = archive.new_job()
    archive.add_roll(job_id, roll(), [(data, reading(data, "drive"))])
    archive.edit_roll(job_id, 1, kind="as_found", readings={1: reading(data, "coast")})
    (filed,) = archive.job(job_id).rolls
    assert (filed.kind, filed.photos[0].side, filed.photos[0].reading.side) == (
        "as_found",
        "coast",
        "drive",
    )
    with pytest.raises(InvalidInput, match="kind"):
        archive.edit_roll(job_id, 1, kind="rehearsal")


def test_an_edit_destroys_nothing(archive: Archive) -> None:
    job_id = archive.new_job(axle=AXLE, customer="A", by="Ann")
    archive.edit(job_id, customer="B", by="Bea")
    archive.edit(job_id, customer="A", final=FINAL, status="done", by="Cy")
    told = [(e.section, e.by, e.before, e.after) for e in archive.history(job_id)]
    assert [line for line in told if line[0] == "customer"] == [
        ("customer", "Ann", None, '"A"'),
        ("customer", "Bea", '"A"', '"B"'),
        ("customer", "Cy", '"B"', '"A"'),
    ]
    job = archive.job(job_id)
    assert (job.customer, job.final, job.status) == ("A", FINAL, "done")


def test_an_edit_that_changes_nothing_leaves_no_line(archive: Archive) -> None:
    job_id = archive.new_job(customer="A")
    lines = len(archive.history(job_id))
    assert archive.edit(job_id, customer="A") == 0
    assert len(archive.history(job_id)) == lines


def test_a_struck_roll_stays_on_record_but_does_not_count(archive: Archive) -> None:
    job_id = archive.new_job()
    archive.add_roll(job_id, roll(), [])
    archive.add_roll(job_id, roll(0.5), [])
    archive.edit_roll(job_id, 1, struck="brake slipped")
    job = archive.job(job_id)
    assert [r.number for r in job.rolls] == [1, 2]
    assert [r.number for r in job.standing_rolls] == [2]
    archive.edit_roll(job_id, 1, struck="")
    assert [r.number for r in archive.job(job_id).standing_rolls] == [1, 2]


@pytest.mark.folder_only
@pytest.mark.parametrize("table", ["rolls", "photos", "roll_photos", "entries"])
@pytest.mark.parametrize("verb", ["DELETE FROM {}", "UPDATE {} SET rowid = rowid + 1000"])
def test_the_file_itself_refuses_to_change_what_was_recorded(
    archive: Archive, table: str, verb: str
) -> None:
    data = photo_bytes()
    job_id = archive.new_job()
    archive.add_roll(job_id, roll(), [(data, reading(data))])
    file = archive.location.database_file
    assert file is not None
    connection = sqlite3.connect(file)
    with pytest.raises(sqlite3.IntegrityError, match="never changed"):
        connection.execute(verb.format(table))
    connection.close()


def test_the_same_photo_in_two_rolls_is_kept_once(archive: Archive) -> None:
    data = photo_bytes()
    job_id = archive.new_job()
    for _ in range(2):
        archive.add_roll(job_id, roll(), [(data, reading(data))])
    assert list(archive.photos.names()) == [reading(data).sha256]


def test_filing_the_same_roll_twice_files_it_once(archive: Archive) -> None:
    job_id = archive.new_job()
    numbers = [archive.add_roll(job_id, roll(), [], uid="5" * 32) for _ in range(3)]
    assert numbers == [1, 1, 1]
    assert len(archive.job(job_id).rolls) == 1
    with pytest.raises(InvalidInput, match="another job"):
        archive.add_roll(archive.new_job(), roll(), [], uid="5" * 32)


def test_a_photo_that_is_not_the_one_that_was_read_is_refused(archive: Archive) -> None:
    job_id = archive.new_job()
    with pytest.raises(InvalidInput, match=r"p1\.jpg: is not the photo that was read"):
        archive.add_roll(job_id, roll(), [(photo_bytes(2), reading(photo_bytes(1)))])
    assert archive.job(job_id).rolls == ()
    assert list(archive.photos.names()) == []


def test_the_workflow_files_a_roll_from_a_file(archive: Archive, tmp_path: Path) -> None:
    from pattern.workflow import file_roll

    photo = tmp_path / "p1.jpg"
    photo.write_bytes(photo_bytes())
    job_id = archive.new_job()
    number = file_roll(
        archive, job_id, roll(), [(photo, reading(photo_bytes()))], None, kind="final", by="Sam"
    )
    filed = archive.job(job_id).rolls[number - 1]
    assert (filed.kind, filed.by, filed.photos[0].name) == ("final", "Sam", "p1.jpg")
    assert archive.photo(filed.photos[0].sha256) == photo.read_bytes()


def test_a_draft_is_kept_replaced_and_dropped(archive: Archive) -> None:
    assert archive.draft("J0001", "roll") is None
    archive.save_draft("J0001", "roll", {"backlash": "0.00", "outline": [[1, 2.5]]})
    archive.save_draft("J0001", "roll", {"backlash": "0.008"})
    archive.save_draft("", "new job", {"customer": "A"})
    assert archive.draft("J0001", "roll") == {"backlash": "0.008"}
    assert archive.draft("", "new job") == {"customer": "A"}
    archive.drop_draft("J0001", "roll")
    assert archive.draft("J0001", "roll") is None


def test_a_draft_that_two_devices_change_keeps_what_both_did(archive: Archive) -> None:
    a, b, c, d = ({"sha256": letter} for letter in "abcd")
    start = {"photos": [a, b], "backlash": None, "note": ""}
    archive.merge_draft("J0001", "roll", {}, start)
    archive.merge_draft("J0001", "roll", start, start | {"photos": [a, b, c], "note": "x"})
    archive.merge_draft("J0001", "roll", start, start | {"photos": [b, d], "backlash": 0.008})
    assert archive.draft("J0001", "roll") == {"photos": [b, c, d], "backlash": 0.008, "note": "x"}


def test_many_devices_changing_one_draft_at_once_lose_nothing(archive: Archive) -> None:
    def device(who: int) -> None:
        for number in range(6):
            archive.merge_draft("J0001", "roll", {}, {f"{who}/{number}": number})

    with ThreadPoolExecutor(4) as devices:
        list(devices.map(device, range(4)))
    assert len(archive.draft("J0001", "roll")) == 24


def test_an_uploaded_photo_is_held_until_a_roll_names_it(archive: Archive) -> None:
    data = photo_bytes()
    sha256 = archive.hold_photo(data)
    assert archive.held_photos() == (sha256,)
    job_id = archive.new_job()
    archive.add_roll(job_id, roll(), [(archive.photo(sha256), reading(data))])
    assert archive.held_photos() == ()
    archive.hold_photo(data)
    assert archive.held_photos() == (), "a roll names it already"


@pytest.mark.parametrize(
    ("sections", "subject"),
    [
        ({"status": "finished"}, "status"),
        ({"colour": "red"}, "colour"),
        ({"as_found": {"backlsh_in": [0.01]}}, "as_found"),
        ({"as_found": {"backlash_in": [0.8]}}, "as_found.backlash_in"),
        ({"as_found": {"backlash_in": 0.008}}, "as_found"),
        ({"as_found": {"ring_bolts": 3}}, "as_found.ring_bolts"),
        ({"parts": [{"name": " "}]}, "parts"),
        (
            {"final": {"torques": [{"fastener": "cap bolts", "torque_lbf_ft": -5}]}},
            "torque of cap bolts",
        ),
        ({"axle": {"ring_teeth": 41}}, "pinion_teeth"),
        ({"axle": 41}, "axle"),
        ({"tags": ["x" * 61]}, "x" * 60),
    ],
)
def test_a_wrong_sheet_is_refused_by_the_name_of_its_field(
    archive: Archive, sections: dict[str, object], subject: str
) -> None:
    job_id = archive.new_job()
    before = archive.history(job_id)
    with pytest.raises(InvalidInput) as refused:
        archive.edit(job_id, **sections)
    assert refused.value.subject == subject
    assert refused.value.remedy
    assert archive.history(job_id) == before


def test_the_axles_own_checks_reach_through(archive: Archive) -> None:
    with pytest.raises(InvalidAxle, match="pinion_teeth"):
        archive.new_job(axle={"ring_teeth": 13, "pinion_teeth": 20, "ring_diameter_in": 8.5})
    assert archive.list_jobs().jobs == ()


@pytest.mark.parametrize("job_id", ["J0009", "9", "J", "", "-1", "J1e3", "１"])
def test_an_unknown_job_is_named(archive: Archive, job_id: str) -> None:
    with pytest.raises(InvalidInput):
        archive.job(job_id)
    with pytest.raises(InvalidInput):
        archive.add_roll(job_id, roll(), [])
    with pytest.raises(InvalidInput):
        archive.edit(job_id, notes="x")


def test_everything_survives_closing(archive: Archive) -> None:
    data = photo_bytes()
    job_id = archive.new_job(axle=AXLE, as_found=AS_FOUND)
    archive.add_roll(job_id, roll(), [(data, reading(data))], advice())
    before = json.dumps(to_data(archive.job(job_id)))
    archive.close()
    with Archive(archive.location) as again:
        assert json.dumps(to_data(again.job(job_id))) == before
