"""`contact-pattern job` and `archive`: the shop's way through a job from the command line."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from PIL import Image

from pattern.archive.store import Archive
from pattern.cli import commands
from pattern.errors import PatternError
from tests.archive.samples import FINAL, advice, photo_bytes, reading, roll
from tests.drawn import drawn_gear

Run = Callable[..., tuple[int, Result]]
DRIVE, COAST = drawn_gear("drive"), drawn_gear("coast")
NEW = (
    "job", "new", "--customer", "Öz & Daughters", "--vehicle", "flat-bed", "--tag", "rush",
    "--teeth", "41/11", "--diameter", "8.5", "--tooth-system", "tapered",
    "--backlash-limits", "0.006", "0.010", "--depth-shim", "pinion_head", "0.030",
)  # fmt: skip


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("CONTACT_PATTERN_ARCHIVE", str(tmp_path / "shop"))

    def invoke(*arguments: object, stdin: str | None = None) -> tuple[int, Result]:
        words = [str(argument) for argument in arguments]
        result = CliRunner().invoke(commands, words, standalone_mode=False, input=stdin)
        if isinstance(result.exception, PatternError):
            return result.exception.exit_code, result
        if result.exception is not None:
            raise result.exception
        return int(result.return_value or 0), result

    return invoke


@pytest.fixture
def photos(tmp_path: Path) -> Path:
    for name, drawn in (("drive", DRIVE), ("coast", COAST)):
        Image.fromarray(drawn.photo.pixels).save(tmp_path / f"{name}.jpg", quality=95)
        (tmp_path / f"{name}.json").write_text(json.dumps(drawn.outlines))
    Image.new("RGB", (400, 300), (128, 128, 128)).save(tmp_path / "bare.png")
    (tmp_path / "broken.jpg").write_bytes(b"no picture at all")
    return tmp_path


def said(result: Result) -> str:
    """What the error says, as the program's one line on stderr would."""
    assert isinstance(result.exception, PatternError)
    return result.exception.message


def test_a_job_is_opened_found_shown_edited(run: Run) -> None:
    assert run(*NEW)[1].stdout == "J0001\n"
    run("job", "new", "--customer", "Lena")
    listed = run("job", "list", "daugh", "--tag", "rush", "--ratio", "3.73")[1].stdout.splitlines()
    assert len(listed) == 1
    assert listed[0].startswith("J0001")
    lines = run("job", "list", "--json")[1].stdout.splitlines()
    assert [json.loads(line)["id"] for line in lines] == ["J0002", "J0001"]
    sheet = {
        "as_found": {"backlash_in": [0.012, 0.013], "pinion_mark": "+2"},
        "parts": [{"name": "seal"}],
    }
    run("job", "edit", "J0001", "--sheet", "-", "--by", "Ann", stdin=json.dumps(sheet))
    run("job", "edit", "1", "--status", "waiting", "--notes", "axle shaft on order")
    told = json.loads(run("job", "show", "J0001", "--json")[1].stdout)
    assert told["as_found"]["backlash_in"] == [0.012, 0.013]
    assert (told["status"], told["axle"]["depth_shim"]) == ("waiting", "pinion_head")
    shown = run("job", "show", "J0001")[1].stdout
    for word in ("Öz & Daughters", "41/11", "8.5 in", "waiting", "axle shaft on order"):
        assert word in shown
    history = run("job", "history", "J0001")[1].stdout
    assert 'status: "open" -> "waiting"' in history
    assert "by Ann" in history


def test_a_sheet_is_taken_out_changed_and_given_back(run: Run) -> None:
    run(*NEW)
    told = run("job", "show", "J0001", "--sheet")[1].stdout
    run("job", "edit", "J0001", "--sheet", "-", stdin=told)
    assert json.loads(run("job", "show", "J0001", "--sheet")[1].stdout) == json.loads(told)
    sheet = json.loads(told)
    sheet["final"]["torques"] = [{"fastener": "cap bolts", "torque_lbf_ft": 57, "source": "maker"}]
    sheet["axle"]["depth_shim_in"] = 0.031
    run("job", "edit", "J0001", "--sheet", "-", stdin=json.dumps(sheet))
    job = json.loads(run("job", "show", "J0001", "--json")[1].stdout)
    assert job["final"]["torques"][0]["torque_lbf_ft"] == 57.0
    assert job["axle"]["depth_shim_in"] == 0.031
    run("job", "new")
    bare = run("job", "show", "J0002", "--sheet")[1].stdout
    assert run("job", "edit", "J0002", "--sheet", "-", stdin=bare)[0] == 0


def test_a_new_archive_is_told_once(run: Run, tmp_path: Path) -> None:
    assert f"A new archive was made: {tmp_path / 'shop'}" in run(*NEW)[1].stderr
    assert "new archive" not in run(*NEW)[1].stderr


def test_an_axle_may_come_from_a_file(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "axle.json"
    file.write_text('{"ring_teeth": 37, "pinion_teeth": 9, "ring_diameter_mm": 235.0}')
    run("job", "new", "--axle", file)
    told = json.loads(run("job", "show", "1", "--json")[1].stdout)
    assert told["axle"]["ring_diameter_in"] == pytest.approx(235.0 / 25.4)


def test_a_roll_is_read_advised_and_filed_in_one_go(run: Run, photos: Path) -> None:
    run(*NEW)
    code, result = run(
        "job", "add-roll", "J0001", "--drive", photos / "drive.jpg", "--coast", photos / "coast.jpg",
        "--drive-outline", photos / "drive.json", "--coast-outline", photos / "coast.json",
        "--dial", "0.008", "--dial", "0.0084", "--kind", "as_found", "--by", "Sam", "--json",
    )  # fmt: skip
    assert code == 0
    told = json.loads(result.stdout)
    assert (told["job"], told["roll"]) == ("J0001", 1)
    assert told["readings"][0]["lengthwise"] == pytest.approx(DRIVE.lengthwise, abs=0.05)
    assert told["advice"]["verdict"] in ("accept", "adjust", "undecided")
    with Archive.open() as archive:
        (filed,) = archive.job("J0001").rolls
        assert filed.kind == "as_found"
        assert filed.backlash_readings_in == (0.008, 0.0084)
        assert filed.roll.backlash_in == pytest.approx(0.0082)
        assert filed.advice is not None
        assert filed.advice.verdict == told["advice"]["verdict"]
        assert archive.photo(filed.photos[0].sha256) == (photos / "drive.jpg").read_bytes()
        assert filed.photos[0].reading.sha256 == filed.photos[0].sha256


def test_the_same_in_words_with_the_cautions(run: Run, photos: Path) -> None:
    run(*NEW)
    code, result = run(
        "job", "add-roll", "J0001", "--drive", photos / "drive.jpg",
        "--drive-outline", photos / "drive.json", "--backlash", "0.008",
    )  # fmt: skip
    assert code == 0
    assert "J0001 roll 1 filed." in result.stdout
    assert "Caution:" in result.stdout


def test_a_photo_that_cannot_be_opened_files_nothing(run: Run, photos: Path) -> None:
    run(*NEW)
    code, result = run("job", "add-roll", "J0001", "--drive", photos / "broken.jpg")
    assert code == 3
    assert "broken.jpg" in said(result)
    with Archive.open() as archive:
        assert archive.job("J0001").rolls == ()
        assert list(archive.photos.names()) == []


def test_declined_photos_alone_file_nothing_unless_asked(run: Run, photos: Path) -> None:
    run(*NEW)
    bare = ("job", "add-roll", "J0001", "--drive", photos / "bare.png", "--drive-outline", "frame",
            "--no-advice")  # fmt: skip
    code, result = run(*bare)
    assert code == 4
    assert "bare.png:" in result.stderr
    assert "nothing was filed" in result.stderr
    assert run(*bare, "--file-declined")[0] == 4
    with Archive.open() as archive:
        (filed,) = archive.job("J0001").rolls
        assert filed.photos[0].reading.status == "declined"


def test_a_roll_is_corrected_and_struck(run: Run) -> None:
    run(*NEW)
    with Archive.open() as archive:
        archive.add_roll("J0001", roll(), [], advice())
    run("job", "edit-roll", "1", "1", "--pinion-move", "0.003", "--note", "typed wrong")
    run("job", "edit-roll", "1", "1", "--strike", "brake slipped")
    with Archive.open() as archive:
        (filed,) = archive.job("J0001").rolls
        assert (filed.roll.pinion_move_in, filed.as_filed.pinion_move_in) == (0.003, None)
        assert (filed.note, filed.struck) == ("typed wrong", "brake slipped")
    shown = run("job", "show", "1")[1].stdout.replace("\N{NO-BREAK SPACE}", " ")
    assert "struck out: brake slipped" in shown
    assert "pinion moved: deeper 0.003 in\n" in shown
    assert "backlash: 0.008 in\n" in shown
    assert "ring gear toward the pinion 0.002 in" in shown


def test_the_record_is_printed_once_and_not_overwritten(run: Run, tmp_path: Path) -> None:
    run(*NEW)
    assert run("job", "report", "J0001")[1].stdout == "J0001.pdf\n"
    assert (tmp_path / "J0001.pdf").read_bytes().startswith(b"%PDF-")
    code, result = run("job", "report", "J0001")
    assert code == 8
    assert "J0001.pdf: exists already" in said(result)
    assert (
        run("job", "report", "J0001", "--overwrite", "--paper", "Letter", "--units", "mm")[0] == 0
    )
    run("job", "report", "J0001", "--out", "record.html")
    assert (tmp_path / "record.html").read_text(encoding="utf-8").startswith("<!doctype html>")


def test_a_job_goes_from_one_archive_to_another(run: Run, tmp_path: Path) -> None:
    run(*NEW)
    assert run("job", "export", "J0001", "--no-report")[1].stdout == "J0001.zip\n"
    code, result = run("job", "import", "J0001.zip", "--archive", tmp_path / "other")
    assert (code, result.stdout) == (0, "J0001\n")
    assert "new" in result.stderr
    assert "already here" in run("job", "import", "J0001.zip")[1].stderr
    assert run("job", "export", "J0001")[0] == 8
    code, result = run("job", "import", tmp_path / "shop" / "jobs.sqlite")
    assert code == 5
    assert "jobs.sqlite: is no job export" in said(result)


def test_the_hint_names_its_evidence(run: Run) -> None:
    run(*NEW)
    run(*NEW)
    assert "No hint" in run("job", "like", "J0002")[1].stderr
    with Archive.open() as archive:
        archive.edit("J0001", status="done", final=FINAL)
    said = run("job", "like", "J0002")[1].stdout
    assert "Hint: start from a depth shim of 0.0340 in" in said
    assert "on J0001" in said
    told = json.loads(run("job", "like", "J0002", "--json")[1].stdout)
    assert told["hint"]["evidence"][0]["id"] == "J0001"


def test_readings_as_csv_and_the_schema_as_json(run: Run) -> None:
    run(*NEW)
    data = photo_bytes()
    with Archive.open() as archive:
        archive.add_roll("J0001", roll(), [(data, reading(data))])
    lines = run("job", "readings", "J0001")[1].stdout.splitlines()
    assert len(lines) == 2
    assert lines[1].startswith("J0001,1,roll,")
    assert json.loads(run("job", "schema")[1].stdout)["title"].startswith("A job of")


def test_backup_verify_restore_tidy(run: Run, tmp_path: Path) -> None:
    run(*NEW)
    assert run("archive", "backup", "saved")[0] == 0
    assert run("archive", "backup", "saved")[0] == 8
    assert "clean; 1 job, " in run("archive", "verify", "--archive", tmp_path / "saved")[1].stdout
    assert run("archive", "restore", "saved", "--archive", tmp_path / "again")[0] == 0
    assert run("archive", "restore", "saved", "--archive", tmp_path / "again")[0] == 8
    assert run("job", "list", "--archive", tmp_path / "again")[1].stdout.startswith("J0001")
    assert "0 removed" in run("archive", "tidy")[1].stderr
    assert run("archive", "verify", "--archive", tmp_path / "nowhere")[0] == 7


def test_a_roll_is_filed_though_no_correction_fits(run: Run, photos: Path) -> None:
    run(
        "job",
        "new",
        "--teeth",
        "41/11",
        "--diameter",
        "8.5",
        "--backlash-limits",
        "0.0060",
        "0.0061",
    )
    code, result = run(
        "job", "add-roll", "J0001", "--drive", photos / "drive.jpg",
        "--drive-outline", photos / "drive.json", "--backlash", "0.008",
    )  # fmt: skip
    assert code == 6
    assert "backlash_min_in" in result.stderr
    assert "J0001 roll 1 filed." in result.stdout
    assert len(json.loads(run("job", "show", "J0001", "--json")[1].stdout)["rolls"]) == 1


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (("job", "show", "J0077"), 5, "J0077: there is no such job"),
        (("job", "show", "tomorrow"), 5, "tomorrow: is no job number"),
        (("job", "new", "--teeth", "41-11", "--diameter", "8.5"), 5, "--teeth"),
        (("job", "new", "--teeth", "41/11"), 5, "--diameter"),
        (("job", "new", "--teeth", "41/0", "--diameter", "8.5"), 5, "pinion_teeth"),
        (("job", "new", "--teeth", "13/41", "--diameter", "8.5"), 5, "pinion_teeth"),
        (("job", "new", "--teeth", "41/11", "--diameter", "8.5", "--backlash-limits", "0.01", "0.006"), 5,
         "backlash_min_in"),
        (("job", "list", "--status", "lost"), 5, "status"),
        (("job", "edit", "J0001", "--status", "lost"), 5, "status"),
        (("job", "edit-roll", "J0001", "4", "--note", "x"), 5, "there is no roll 4"),
        (("job", "add-roll", "J0077", "--drive", "x.jpg"), 5, "J0077"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_named_with_its_exit_code(
    run: Run, arguments: tuple[str, ...], code: int, words: str
) -> None:
    run(*NEW)
    got, result = run(*arguments)
    assert got == code
    assert words in said(result)


@pytest.mark.parametrize(
    "text", ["", "[]", "{", '{"as_fund": {}}', '{"as_found": {"ring_bolts": "ten"}}']
)
def test_a_wrong_sheet_is_refused_whole(run: Run, text: str) -> None:
    run(*NEW)
    before = run("job", "history", "1")[1].stdout
    code, result = run("job", "edit", "J0001", "--customer", "B", "--sheet", "-", stdin=text)
    assert code == 5
    assert said(result)
    assert run("job", "history", "1")[1].stdout == before
