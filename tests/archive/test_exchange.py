"""A job out to a zip and into another archive: whole, described, kept apart, and safe."""

from __future__ import annotations

import copy
import hashlib
import io
import json
import shutil
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from pattern.archive.codec import to_data
from pattern.archive.package import SCHEMA_FILE
from pattern.archive.published import job_schema
from pattern.archive.store import Archive
from pattern.errors import InvalidInput, WouldOverwrite
from tests.archive.pictures import jpeg, place
from tests.archive.samples import AS_FOUND, AXLE, FINAL, PARTS, advice, declined, reading, roll


def fill(archive: Archive) -> str:
    """A job with everything in it: two rolls, a correction, a struck roll, edits."""
    job_id = archive.new_job(
        customer="Öz & Daughters",
        axle=AXLE,
        as_found=AS_FOUND,
        parts=PARTS,
        tags=("rush",),
        by="Ann",
    )
    drive, coast, again = jpeg(1, gps=True), jpeg(2), jpeg(3)
    archive.add_roll(
        job_id,
        roll(),
        [(drive, reading(drive)), (coast, declined(coast))],
        advice(),
        kind="as_found",
    )
    archive.add_roll(
        job_id, roll(0.5, 0.5, 0.008, 0.004, -0.002), [(again, reading(again)), (drive, reading(drive))],
        backlash_readings_in=(0.008, 0.009), note="light brake", by="Sam",
    )  # fmt: skip
    archive.edit_roll(job_id, 2, readings={1: reading(again, lengthwise=0.5)})
    archive.edit_roll(job_id, 1, struck="brake slipped")
    archive.edit(job_id, final=FINAL, status="done", customer="Öz & Daughters GmbH")
    return job_id


@pytest.fixture
def other(tmp_path: Path, empty_archive: Path) -> Iterator[Archive]:
    with Archive.open(shutil.copytree(empty_archive, tmp_path / "other shop")) as opened:
        yield opened


def unzip(path: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(path) as package:
        return {name: package.read(name) for name in package.namelist()}


def rezip(path: Path, members: dict[str, bytes] | list[tuple[str, bytes]]) -> Path:
    pairs = members if isinstance(members, list) else list(members.items())
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as package:
        for name, data in pairs:
            package.writestr(name, data)
    return path


def without_ids(archive: Archive, job_id: str) -> dict[str, Any]:
    told = to_data(archive.job(job_id))
    for name in ("id", "uid", "imported_from", "changed_at", "version"):
        del told[name]
    for filed in told["rolls"]:
        del filed["uid"]
        for photo in filed["photos"]:
            del photo["sha256"], photo["size_bytes"]
    return told  # type: ignore[no-any-return]


def test_a_job_comes_in_with_all_of_its_record(
    archive: Archive, other: Archive, tmp_path: Path
) -> None:
    job_id = fill(archive)
    other.new_job(customer="someone else")
    archive.export_job(job_id, tmp_path / "j.zip", extras={"report.pdf": b"%PDF-1.3"})
    arrival = other.import_job(tmp_path / "j.zip")
    assert (arrival.outcome, arrival.job_id) == ("new", "J0002")
    assert without_ids(other, "J0002") == without_ids(archive, job_id)
    assert other.history("J0002") == archive.history(job_id)
    assert other.job("J0002").uid == archive.job(job_id).uid
    assert other.list_jobs(words="daughters").jobs[0].id == "J0002"
    assert other.verify().is_clean
    assert other.verify().findings == ()


def test_the_photos_go_along_byte_for_byte_but_for_the_place(
    archive: Archive, other: Archive, tmp_path: Path
) -> None:
    job_id = fill(archive)
    archive.export_job(job_id, tmp_path / "j.zip")
    archive.export_job(job_id, tmp_path / "told.zip", with_location=True)
    originals = {archive.photo(p.sha256) for r in archive.job(job_id).rolls for p in r.photos}
    assert any(place(data) for data in originals), "the original still tells its place"
    told = {
        data for name, data in unzip(tmp_path / "told.zip").items() if name.startswith("photos/")
    }
    kept = {data for name, data in unzip(tmp_path / "j.zip").items() if name.startswith("photos/")}
    assert told == originals
    assert len(kept & originals) == 2
    assert not any(place(data) for data in kept)
    arrival = other.import_job(tmp_path / "told.zip")
    shots = [p for r in other.job(arrival.job_id).rolls for p in r.photos]
    assert {other.photo(p.sha256) for p in shots} == originals
    assert all(p.sha256 == p.reading.sha256 for p in shots)


def test_the_json_is_as_its_published_schema_says(archive: Archive, tmp_path: Path) -> None:
    # Outside check: the jsonschema package validates against JSON Schema draft 2020-12.
    schema = json.loads(SCHEMA_FILE.read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    for number, job_id in enumerate((fill(archive), archive.new_job())):
        archive.export_job(job_id, tmp_path / f"{number}.zip")
        told = json.loads(unzip(tmp_path / f"{number}.zip")["job.json"])
        validator.validate(told)
        for spoil in (
            lambda j: j.pop("uid"),
            lambda j: j["entries"][0].update(section="colour"),
            lambda j: j["entries"][0].update(value=5),
            lambda j: j.update(extra=1),
        ):
            spoilt = copy.deepcopy(told)
            spoil(spoilt)
            assert not validator.is_valid(spoilt)


def test_the_published_schema_is_the_present_one() -> None:
    # remade by `python -m pattern.archive.published`
    assert json.loads(SCHEMA_FILE.read_text(encoding="utf-8")) == job_schema()


def test_the_same_job_makes_the_same_zip_and_nothing_is_overwritten(
    archive: Archive, tmp_path: Path
) -> None:
    job_id = fill(archive)
    archive.export_job(job_id, tmp_path / "a.zip")
    archive.export_job(job_id, tmp_path / "b.zip")
    assert (tmp_path / "a.zip").read_bytes() == (tmp_path / "b.zip").read_bytes()
    with pytest.raises(WouldOverwrite):
        archive.export_job(job_id, tmp_path / "a.zip")
    assert {p.name for p in tmp_path.iterdir()} - {"shop"} == {"a.zip", "b.zip"}


def test_a_job_that_is_here_is_left_alone(archive: Archive, tmp_path: Path) -> None:
    job_id = fill(archive)
    archive.export_job(job_id, tmp_path / "j.zip")
    arrival = archive.import_job(tmp_path / "j.zip")
    assert (arrival.outcome, arrival.job_id) == ("already here", job_id)
    assert len(archive.list_jobs().jobs) == 1
    assert archive.verify().findings == ()


def test_clashes_are_kept_apart_and_only_once(
    archive: Archive, other: Archive, tmp_path: Path
) -> None:
    job_id = fill(archive)
    archive.export_job(job_id, tmp_path / "first.zip")
    other.import_job(tmp_path / "first.zip")
    archive.edit(job_id, notes="changed at home")
    other.edit("J0001", notes="changed abroad")
    archive.export_job(job_id, tmp_path / "second.zip")
    told = [other.import_job(tmp_path / "second.zip") for _ in range(3)]
    assert [(a.outcome, a.job_id) for a in told] == [
        ("kept apart", "J0002"), ("already here", "J0002"), ("already here", "J0002")
    ]  # fmt: skip
    assert other.job("J0001").notes == "changed abroad"
    assert other.job("J0002").notes == "changed at home"
    assert other.job("J0002").imported_from == other.job("J0001").uid
    assert len(other.job("J0002").rolls) == len(other.job("J0001").rolls) == 2
    other.edit("J0002", notes="worked on since")
    assert other.import_job(tmp_path / "second.zip").job_id == "J0002"
    assert other.job("J0002").notes == "worked on since"
    assert other.verify().findings == ()


def _json(change: Callable[[dict[str, Any]], object]) -> Callable[[dict[str, bytes]], object]:
    def apply(members: dict[str, bytes]) -> list[tuple[str, bytes]]:
        told = json.loads(members["job.json"])
        change(told)
        return list((members | {"job.json": json.dumps(told).encode()}).items())

    return apply


def _swap_photo(members: dict[str, bytes]) -> dict[str, bytes]:
    name = next(n for n in members if n.startswith("photos/"))
    return members | {name: jpeg(9)}


def _exe_as_photo(members: dict[str, bytes]) -> dict[str, bytes]:
    program = b"MZ" + bytes(100)
    name = next(n for n in members if n.startswith("photos/")).removeprefix("photos/")
    fake = hashlib.sha256(program).hexdigest()
    text = members["job.json"].replace(name.encode(), fake.encode())
    rest = {n: d for n, d in members.items() if not n.endswith(name)}
    return rest | {"job.json": text, f"photos/{fake}": program}


HARMS: dict[str, Callable[[dict[str, bytes]], Any]] = {
    "a path out of the folder": lambda m: m | {"../../evil.txt": b"x"},
    "an absolute path": lambda m: m | {"/etc/evil": b"x"},
    "a backslash path": lambda m: m | {"..\\evil": b"x"},
    "a foreign file": lambda m: m | {"setup.exe": b"MZ"},
    "a photo nobody lists": lambda m: m | {"photos/" + "a" * 64: b"x"},
    "no job.json": lambda m: {n: d for n, d in m.items() if n != "job.json"},
    "a missing photo": lambda m: {n: d for n, d in m.items() if not n.startswith("photos/")},
    "a swapped photo": _swap_photo,
    "a program as a photo": _exe_as_photo,
    "two of one name": lambda m: [*m.items(), ("job.json", m["job.json"])],
    "no JSON": lambda m: m | {"job.json": b"{"},
    "deep JSON": lambda m: m | {"job.json": b"[" * 200_000},
    "other JSON": lambda m: m | {"job.json": b'{"songs": []}'},
    "a newer format": _json(lambda j: j.update(format_version=99)),
    "a wrong number": _json(lambda j: j["rolls"][0]["roll"].update(backlash_in=5.0)),
    "a wrong section": _json(lambda j: j["entries"][0].update(section="colour")),
    "a wrong value": _json(lambda j: j["entries"][0].update(value={"x": 1})),
    "an unknown roll": _json(lambda j: j["entries"][-1].update(roll="f" * 32)),
    "a wrong uid": _json(lambda j: j.update(uid="../../x")),
    "a wrong moment": _json(lambda j: j.update(opened_at="yesterday")),
    "rolls out of order": _json(lambda j: j["rolls"].reverse()),
    "the same roll twice": _json(lambda j: j["rolls"][1].update(uid=j["rolls"][0]["uid"])),
    "a bomb": lambda m: m | {"job.json": b" " * (65 << 20)},
}


@pytest.mark.parametrize("harm", HARMS.values(), ids=HARMS.keys())
def test_anything_else_is_refused_and_leaves_no_trace(
    archive: Archive, other: Archive, tmp_path: Path, harm: Callable[[dict[str, bytes]], Any]
) -> None:
    archive.export_job(fill(archive), tmp_path / "good.zip")
    with pytest.warns(UserWarning) if harm is HARMS["two of one name"] else _no_warning():
        bad = rezip(tmp_path / "bad.zip", harm(unzip(tmp_path / "good.zip")))
    with pytest.raises(InvalidInput) as refused:
        other.import_job(bad)
    assert refused.value.subject == "bad.zip"
    assert refused.value.remedy
    assert other.list_jobs().jobs == ()
    assert list(other.photos.names()) == []
    assert other.verify().findings == ()
    left = {p.name for p in tmp_path.iterdir()} - {"shop"}
    assert left == {"bad.zip", "good.zip", "other shop"}


class _no_warning:
    def __enter__(self) -> None:
        pass

    def __exit__(self, *_: object) -> None:
        pass


def test_a_zip_that_is_not_there_is_said_to_be_that(archive: Archive, tmp_path: Path) -> None:
    for source in (tmp_path / "missing.zip", tmp_path):
        with pytest.raises(InvalidInput, match="is no file here"):
            archive.import_job(source)


@pytest.mark.parametrize("content", [b"", b"hello", b"PK\x03\x04" + bytes(50)])
def test_a_file_that_is_no_zip_is_refused(archive: Archive, tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "x.zip"
    path.write_bytes(content)
    with pytest.raises(InvalidInput, match="no job export"):
        archive.import_job(path)


def test_a_locked_zip_is_refused(archive: Archive, tmp_path: Path) -> None:
    archive.export_job(archive.new_job(), tmp_path / "j.zip")
    data = bytearray((tmp_path / "j.zip").read_bytes())
    for mark, at in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        data[data.index(mark) + at] |= 1  # the bit that says: encrypted
    (tmp_path / "locked.zip").write_bytes(bytes(data))
    with pytest.raises(InvalidInput, match="no job export"):
        archive.import_job(tmp_path / "locked.zip")


def test_the_readings_as_a_table(archive: Archive) -> None:
    import csv

    from pattern.archive.table import readings_csv

    job_id = fill(archive)
    archive.edit_roll(job_id, 1, struck='=HYPERLINK("x")')
    rows = list(csv.DictReader(io.StringIO(readings_csv([archive.job(job_id)]), newline="")))
    told = [(r["roll"], r["side"], r["source"], r["status"], r["lengthwise"]) for r in rows]
    assert told == [
        ("1", "drive", "automatic", "read", "0.42"),
        ("1", "coast", "automatic", "declined", ""),
        ("2", "drive", "automatic", "read", "0.42"),
        ("2", "drive", "by hand", "read", "0.5"),
        ("2", "drive", "automatic", "read", "0.42"),
    ]
    assert rows[0]["struck"] == '\'=HYPERLINK("x")', "a spreadsheet must not run it"
    assert rows[2]["pinion_move_in"] == "0.004"
    assert rows[2]["ring_move_in"] == "-0.002"
