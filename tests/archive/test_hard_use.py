"""Bad moments and bad files: a moved folder, a clock set back, zips and databases with bytes changed."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings

from pattern.archive import filing, sheets
from pattern.archive.location import DATABASE_NAME, find_location
from pattern.archive.store import Archive
from pattern.archive.verify import verify
from pattern.errors import ArchiveUnavailable, InvalidInput, PatternError
from tests.archive.pictures import jpeg
from tests.archive.samples import AS_FOUND, AXLE, advice, photo_bytes, reading, roll
from tests.hard.mutations import Harm, byte_harm


@pytest.mark.folder_only
def test_a_folder_moved_away_takes_nothing_more(archive: Archive, tmp_path: Path) -> None:
    job_id = archive.new_job(customer="A")
    (tmp_path / "shop").rename(tmp_path / "moved")
    data = photo_bytes(1)
    with pytest.raises(ArchiveUnavailable, match="no longer there"):
        archive.add_roll(job_id, roll(), [(data, reading(data))])
    with pytest.raises(ArchiveUnavailable, match="no longer there"):
        archive.edit(job_id, customer="B")
    assert not (tmp_path / "shop").exists(), "nothing was begun where the archive used to be"
    (tmp_path / "moved").rename(tmp_path / "shop")
    assert archive.add_roll(job_id, roll(), [(data, reading(data))]) == 1
    assert archive.verify().is_clean


@pytest.mark.folder_only
def test_a_disk_taken_out_leaves_no_new_archive_in_its_mount_point(
    archive: Archive, tmp_path: Path
) -> None:
    archive.close()
    (tmp_path / "shop").rename(tmp_path / "moved")
    (tmp_path / "shop").mkdir()
    with pytest.raises(ArchiveUnavailable):
        archive.list_jobs()
    with pytest.raises(ArchiveUnavailable):
        archive.new_job()
    assert list((tmp_path / "shop").iterdir()) == []


def test_a_clock_set_back_does_not_turn_history_round(
    archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    job_id = archive.new_job(customer="first")
    archive.edit(job_id, customer="second")
    past = "1999-01-01T00:00:00.000Z"
    for module in (sheets, filing):
        monkeypatch.setattr(module, "now", lambda: past)
    archive.edit(job_id, customer="third")
    archive.add_roll(job_id, roll(), [])
    assert archive.new_job(customer="newest") == "J0002"
    job = archive.job(job_id)
    assert (job.customer, job.changed_at) == ("third", past)
    told = [entry.after for entry in archive.history(job_id) if entry.section == "customer"]
    assert told == ['"first"', '"second"', '"third"']
    assert [line.id for line in archive.list_jobs().jobs] == ["J0002", "J0001"]


@pytest.fixture(scope="module")
def yard(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """An archive with a job in it, the same exported, and another archive to import into."""
    folder = tmp_path_factory.mktemp("yard")
    with Archive.open(folder / "shop") as archive:
        job_id = archive.new_job(customer="Ö", axle=AXLE, as_found=AS_FOUND, tags=("rush",))
        data = jpeg(1)
        archive.add_roll(job_id, roll(), [(data, reading(data))], advice(), note="light brake")
        archive.export_job(job_id, folder / "j.zip")
    with Archive.open(folder / "other"):
        pass
    return {"folder": folder, "zip": (folder / "j.zip").read_bytes()}


def import_mutated(yard: dict[str, Any], harm: Harm) -> None:
    path = yard["folder"] / "bad.zip"
    path.write_bytes(harm(yard["zip"]))
    with Archive.open(yard["folder"] / "other") as other:
        try:
            arrival = other.import_job(path)
        except InvalidInput as refused:
            assert refused.subject == "bad.zip"
            assert refused.remedy
        else:
            job = other.job(arrival.job_id)
            assert len(job.rolls) == 1


def open_mutated(yard: dict[str, Any], harm: Harm) -> None:
    place = yard["folder"] / "spoilt"
    shutil.rmtree(place, ignore_errors=True)
    shutil.copytree(yard["folder"] / "shop", place)
    file = place / DATABASE_NAME
    file.write_bytes(harm(file.read_bytes()))
    try:
        verify(find_location(place))
        with Archive.open(place) as archive:
            archive.list_jobs(words="brake")
            archive.job("J0001")
            archive.history("J0001")
    except PatternError as refused:
        assert refused.what


QUIET = list(HealthCheck)


@settings(max_examples=60, deadline=None, suppress_health_check=QUIET, database=None)
@given(harm=byte_harm())
def test_a_changed_zip_is_refused_or_is_still_a_job(yard: dict[str, Any], harm: Harm) -> None:
    import_mutated(yard, harm)


@settings(max_examples=60, deadline=None, suppress_health_check=QUIET, database=None)
@given(harm=byte_harm())
def test_a_changed_database_never_shows_a_traceback(yard: dict[str, Any], harm: Harm) -> None:
    open_mutated(yard, harm)


@pytest.mark.slow
@pytest.mark.timeout(1200)
@settings(max_examples=1000, deadline=None, suppress_health_check=QUIET, database=None)
@given(harm=byte_harm())
def test_a_thousand_changed_zips(yard: dict[str, Any], harm: Harm) -> None:
    import_mutated(yard, harm)


@pytest.mark.slow
@pytest.mark.timeout(1200)
@settings(max_examples=1000, deadline=None, suppress_health_check=QUIET, database=None)
@given(harm=byte_harm())
def test_a_thousand_changed_databases(yard: dict[str, Any], harm: Harm) -> None:
    open_mutated(yard, harm)
