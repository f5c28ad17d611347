"""Opening: a new archive, an old one of every schema, a newer one, none at all."""

from __future__ import annotations

import json
import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory

import pattern.archive
from pattern.archive import schema
from pattern.archive.codec import to_data
from pattern.archive.database import Database
from pattern.archive.location import DATABASE_NAME, find_location
from pattern.archive.store import Archive
from pattern.archive.upgrade import REVISIONS
from pattern.errors import ArchiveDamaged, ArchiveNewer, ArchiveUnavailable, InvalidSettings

ARCHIVES = sorted((Path(__file__).parent.parent / "archives").glob("schema_*"))


@pytest.fixture(params=ARCHIVES, ids=lambda folder: folder.name)
def old(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    return Path(shutil.copytree(request.param, tmp_path / "old"))


def test_there_is_an_archive_of_every_schema() -> None:
    assert [folder.name for folder in ARCHIVES] == [f"schema_{name}" for name in REVISIONS]


def test_an_old_archive_opens_and_says_what_it_said(old: Path) -> None:
    expected = json.loads((old / "expected.json").read_text(encoding="utf-8"))
    with Archive.open(old) as archive:
        for job, lines in zip(expected["jobs"], expected["history"], strict=True):
            told = to_data(archive.job(job["id"]))
            assert _same(job, told), job["id"]
            assert len(archive.history(job["id"])) == lines
            for roll in job["rolls"]:
                for photo in roll["photos"]:
                    archive.photo(photo["sha256"])
        assert archive.draft("J0002", "roll") == {"backlash": "0.00"}
        assert len(archive.held_photos()) == 1


def test_what_a_later_reader_said_is_kept_too(old: Path) -> None:
    before_there_were_any = old_version(old) < "0003"
    with Archive.open(old) as archive:
        said = archive.later_readings("J0001")
        assert archive.verify().is_clean
    if before_there_were_any:
        assert said == {}
    else:
        assert {
            place: [told.reading.lengthwise for told in told_of] for place, told_of in said.items()
        } == {
            (1, 1): [0.31],
            (1, 2): [0.31],
        }


def _same(expected: object, told: object) -> bool:
    """Whether all that was said then is still said; a later version may say more."""
    if isinstance(expected, dict) and isinstance(told, dict):
        return all(key in told and _same(value, told[key]) for key, value in expected.items())
    if isinstance(expected, list) and isinstance(told, list):
        return len(expected) == len(told) and all(map(_same, expected, told))
    return expected == told


def test_an_old_archive_can_be_worked_with(old: Path) -> None:
    from tests.archive.samples import photo_bytes, reading, roll

    data = photo_bytes(99)
    with Archive.open(old) as archive:
        assert archive.add_roll("J0001", roll(), [(data, reading(data))]) == 4
        archive.edit("J0002", customer="Walk-in, again")
        assert [job.id for job in archive.list_jobs(words="again").jobs] == ["J0002"]


def test_an_upgrade_leaves_a_copy_of_the_file_as_it_was(old: Path) -> None:
    version = old_version(old)
    before = sqlite3.connect(old / DATABASE_NAME)
    rows = before.execute("SELECT count(*) FROM entries").fetchone()
    before.close()
    Archive.open(old).close()
    assert old_version(old) == REVISIONS[-1]
    copy = old / f"{DATABASE_NAME}.schema-{version}"
    assert copy.exists() == (version != REVISIONS[-1])
    if copy.exists():
        kept = sqlite3.connect(copy)
        assert kept.execute("SELECT version_num FROM alembic_version").fetchone() == (version,)
        assert kept.execute("SELECT count(*) FROM entries").fetchone() == rows
        kept.close()


def old_version(folder: Path) -> str:
    connection = sqlite3.connect(folder / DATABASE_NAME)
    (version,) = connection.execute("SELECT version_num FROM alembic_version").fetchone()
    connection.close()
    return str(version)


def test_the_migrations_lead_to_the_tables_the_code_uses(tmp_path: Path) -> None:
    with Archive.open(tmp_path / "a") as archive:
        database = Database(archive.location)
        with database.reading() as connection:
            context = MigrationContext.configure(connection)
            differences = [d for d in compare_metadata(context, schema.metadata) if _counts(d)]
        database.close()
    assert differences == []


def _counts(difference: object) -> bool:
    return "words" not in str(difference)  # the full-text tables are the database's own


def test_the_known_revisions_are_alembics() -> None:
    config = Config()
    folder = Path(pattern.archive.__file__).with_name("migrations")
    config.set_main_option("script_location", str(folder))
    scripts = list(ScriptDirectory.from_config(config).walk_revisions())
    assert tuple(script.revision for script in reversed(scripts)) == REVISIONS


def test_opening_an_up_to_date_archive_does_not_load_alembic(tmp_path: Path) -> None:
    Archive.open(tmp_path / "a").close()
    code = (
        "import sys; from pattern.archive.store import Archive; "
        f"Archive.open({str(tmp_path / 'a')!r}).list_jobs(); print('alembic' in sys.modules)"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "False"


def test_an_archive_from_a_newer_program_is_left_alone(tmp_path: Path) -> None:
    Archive.open(tmp_path / "a").close()
    file = tmp_path / "a" / DATABASE_NAME
    connection = sqlite3.connect(file)
    connection.execute("UPDATE alembic_version SET version_num = '9999'")
    connection.commit()
    connection.close()
    before = file.read_bytes()
    with pytest.raises(ArchiveNewer, match=r"schema 9999.*newer version of this program"):
        Archive.open(tmp_path / "a")
    assert file.read_bytes() == before


def test_a_file_that_is_no_archive_is_left_alone(tmp_path: Path) -> None:
    foreign = tmp_path / DATABASE_NAME
    connection = sqlite3.connect(foreign)
    connection.execute("CREATE TABLE songs (title)")
    connection.commit()
    connection.close()
    before = foreign.read_bytes()
    with pytest.raises(ArchiveDamaged, match="no job archive"):
        Archive.open(tmp_path)
    foreign.write_bytes(b"hello" * 1000)
    with pytest.raises(ArchiveDamaged, match="damaged or no job archive"):
        Archive.open(tmp_path)
    assert before != foreign.read_bytes() == b"hello" * 1000


def test_where_the_archive_lies(tmp_path: Path) -> None:
    told = {"CONTACT_PATTERN_ARCHIVE": str(tmp_path / "from environment")}
    assert find_location(tmp_path / "given", told).folder == tmp_path / "given"
    assert find_location(None, told).folder == tmp_path / "from environment"
    own = find_location(None, {}).folder
    assert own is not None
    assert own.name == "contact-pattern"
    server = find_location("postgresql+psycopg://sam@bench/jobs?photos=s3://shop/photos", {})
    assert (server.folder, server.photos) == (None, "s3://shop/photos")
    assert server.database_url == "postgresql+psycopg://sam@bench/jobs"
    assert find_location("postgresql://sam@bench/jobs", {}).database_url == server.database_url


@pytest.mark.parametrize("place", ["mysql://x/y", "http://", "notes.txt"])
def test_a_place_that_cannot_hold_an_archive_is_refused(
    place: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("notes.txt").write_text("x")
    with pytest.raises(InvalidSettings):
        Archive.open(place)
    assert [p.name for p in tmp_path.iterdir()] == ["notes.txt"]


def test_a_wrong_url_is_refused_without_telling_its_password() -> None:
    with pytest.raises(InvalidSettings, match="is no database URL") as refused:
        find_location("postgresql+psycopg://bench:se//cret@host:port/jobs", {})
    assert "cret" not in refused.value.message


def test_many_openings_of_a_new_place_make_one_archive(tmp_path: Path) -> None:
    code = (
        "import sys; from pattern.archive.store import Archive; "
        "archive = Archive.open(sys.argv[1]); print(archive.new_job(customer='x'))"
    )
    command = [sys.executable, "-c", code, str(tmp_path / "a")]
    running = [subprocess.Popen(command, stdout=subprocess.PIPE, text=True) for _ in range(4)]
    told = sorted(process.communicate(timeout=60)[0].strip() for process in running)
    assert told == ["J0001", "J0002", "J0003", "J0004"]
    with Archive.open(tmp_path / "a") as archive:
        assert len(archive.list_jobs().jobs) == 4
    left = sorted(p.name for p in (tmp_path / "a").iterdir() if "-" not in p.name)
    assert left == [DATABASE_NAME]


def test_many_openings_of_an_old_archive_upgrade_it_once(tmp_path: Path) -> None:
    shutil.copytree(ARCHIVES[0], tmp_path / "old")
    code = (
        "import sys; from pattern.archive.store import Archive; "
        "archive = Archive.open(sys.argv[1]); print(len(archive.job('J0001').rolls))"
    )
    command = [sys.executable, "-c", code, str(tmp_path / "old")]
    running = [subprocess.Popen(command, stdout=subprocess.PIPE, text=True) for _ in range(3)]
    assert [process.communicate(timeout=60)[0].strip() for process in running] == ["3", "3", "3"]
    with Archive.open(tmp_path / "old") as archive:
        assert archive.verify().is_clean


def test_an_upgrade_without_room_for_its_copy_changes_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(_path: Path) -> None:
        raise OSError(28, "No space left on device")

    shutil.copytree(ARCHIVES[0], tmp_path / "old")
    monkeypatch.setattr("pattern.archive.upgrade.sync_file", refuse)
    with pytest.raises(ArchiveUnavailable, match="no copy could be made before the upgrade"):
        Archive.open(tmp_path / "old")
    assert old_version(tmp_path / "old") == "0001"
    assert sorted(p.name for p in (tmp_path / "old").glob("*.new-*")) == []
    monkeypatch.undo()
    Archive.open(tmp_path / "old").close()
    assert old_version(tmp_path / "old") == REVISIONS[-1]


@pytest.mark.folder_only
def test_an_archive_that_is_held_says_so(archive: Archive, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("pattern.archive.database.BUSY_SECONDS", 0.1)
    file = archive.location.database_file
    assert file is not None
    other = sqlite3.connect(file, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with Archive(archive.location) as waiting:
        assert waiting.list_jobs().jobs == (), "reading never waits"
        with pytest.raises(ArchiveUnavailable, match="another program holds the archive"):
            waiting.new_job()
        other.execute("ROLLBACK")
        assert waiting.new_job() == "J0001"
    other.close()
