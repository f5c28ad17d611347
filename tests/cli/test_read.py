"""`contact-pattern read`: the contract of its JSON, its exit codes, bad photos among good ones."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import click
import numpy as np
import pytest
from click.testing import CliRunner, Result
from PIL import Image

from pattern.cli import commands
from pattern.errors import PatternError
from pattern.teeth.rectify import lay_flat
from pattern.teeth.surface import ToothSurface
from tests.drawn import Drawn, drawn_gear

DRIVE = drawn_gear("drive")


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    _save(tmp_path / "p1.jpg", DRIVE)
    (tmp_path / "p1.json").write_text(json.dumps(DRIVE.outlines))
    (tmp_path / "broken.jpg").write_bytes(b"no picture at all")
    flat = np.full((300, 400, 3), 128, np.uint8)
    Image.fromarray(flat).save(tmp_path / "bare.png")
    return tmp_path


def _save(path: Path, drawn: Drawn) -> None:
    Image.fromarray(drawn.photo.pixels).save(path, quality=95)


def _run(*arguments: object) -> tuple[int, Result]:
    result = CliRunner().invoke(commands, ["read", *map(str, arguments)], standalone_mode=False)
    if isinstance(result.exception, PatternError):
        return result.exception.exit_code, result
    if result.exception is not None:
        raise result.exception
    return int(result.return_value or 0), result


def test_a_reading_is_one_json_object_a_line_with_the_contracts_fields(bench: Path) -> None:
    code, result = _run(
        bench / "p1.jpg", "--side", "drive", "--outline", bench / "p1.json", "--json"
    )
    assert code == 0
    (line,) = result.stdout.splitlines()
    data = json.loads(line)
    assert data["photo"] == "p1.jpg"
    assert data["status"] == "read"
    assert data["reasons"] == []
    assert (data["side"], data["side_from"], data["toe"]) == ("drive", "given", "right")
    assert data["lengthwise"] == pytest.approx(DRIVE.lengthwise, abs=0.05)
    assert data["profile"] == pytest.approx(DRIVE.profile, abs=0.08)
    assert 0 < data["lengthwise_sd"] < 0.1 and 0 < data["profile_sd"] < 0.1
    assert data["compound"] == "yellow"
    assert set(data["extent"]) == {"lengthwise", "profile"}
    assert {"tilt_deg", "area", "flags", "version", "settings", "sha256"} <= set(data)
    for tooth in data["teeth"]:
        assert np.shape(tooth["outline"]) == (4, 2)
        assert len(tooth["contact"]) > 4
        assert {"confidence", "lengthwise", "profile", "extent"} <= set(tooth)


def test_bad_photos_do_not_stop_the_others(bench: Path) -> None:
    code, result = _run(
        bench / "broken.jpg", bench / "none.jpg", bench / "p1.jpg",
        "--side", "drive", "--outline", bench / "p1.json", "--json",
    )  # fmt: skip
    assert code == 3
    assert json.loads(result.stdout)["status"] == "read"
    assert result.stderr.count("\n") == 2
    for name in ("broken.jpg", "none.jpg"):
        assert name in result.stderr


def test_a_declined_photo_exits_with_four_and_null_numbers(bench: Path) -> None:
    code, result = _run(bench / "bare.png", "--side", "drive", "--outline", "frame", "--json")
    assert code == 4
    data = json.loads(result.stdout)
    assert data["status"] == "declined"
    assert data["reasons"][0]["code"] in ("no_compound", "no_contact", "blurred")
    assert data["reasons"][0]["message"]
    assert sorted(data["marked"][0]) == [[0.0, 0.0], [0.0, 299.0], [399.0, 0.0], [399.0, 299.0]]
    for name in (
        "lengthwise",
        "lengthwise_sd",
        "profile",
        "profile_sd",
        "extent",
        "area",
        "tilt_deg",
    ):
        assert data[name] is None


def test_without_json_a_person_reads_a_table(bench: Path) -> None:
    code, result = _run(bench / "p1.jpg", "--side", "drive", "--outline", bench / "p1.json")
    assert code == 0
    assert "toe to heel" in result.stdout
    assert "0.3" in result.stdout
    assert "drawn_by_hand: the outline was drawn by the user." in result.stdout


def test_a_declined_photo_says_in_words_what_to_do(bench: Path) -> None:
    _, result = _run(bench / "bare.png", "--side", "drive", "--outline", "frame")
    assert "not read" in result.stdout
    assert "photograph" in result.stdout


def test_the_overlay_is_written_and_never_replaced_unasked(bench: Path) -> None:
    out = bench / "pictures"
    arguments = (
        bench / "p1.jpg", "--side", "drive", "--outline", bench / "p1.json", "--overlay", out,
    )  # fmt: skip
    assert _run(*arguments)[0] == 0
    (picture,) = out.iterdir()
    with Image.open(picture) as image:
        assert image.width >= 600
    code, result = _run(*arguments)
    assert code == 8
    assert "exists already" in result.stderr
    assert _run(*arguments, "--force")[0] == 0


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("[[[1, 2], [3, 4], [5, 6]]]", "3 corners"),
        ("[[[500, 100], [100, 190], [100, 90], [500, 170]]]", "crosses itself"),
        ("[", "is not JSON"),
        ("[]", "no outline"),
        ('{"other.jpg": []}', "no outline"),
    ],
)
def test_a_bad_outline_is_named_with_its_file(bench: Path, text: str, word: str) -> None:
    (bench / "bad.json").write_text(text)
    code, result = _run(bench / "p1.jpg", "--side", "drive", "--outline", bench / "bad.json")
    assert code == 5
    shown = result.stderr or str(result.exception)
    assert word in shown
    assert "p1.jpg" in shown or "bad.json" in shown


def test_outlines_by_photo_name_serve_several_photos(bench: Path) -> None:
    (bench / "all.json").write_text(json.dumps({"p1.jpg": DRIVE.outlines[:1]}))
    _, result = _run(bench / "p1.jpg", "--side", "drive", "--outline", bench / "all.json", "--json")
    assert len(json.loads(result.stdout)["teeth"]) == 1


SAMPLES = Path(__file__).parents[2] / "sample_images"


def test_the_other_teeth_follow_a_drawn_one_where_that_is_asked_for(tmp_path: Path) -> None:
    # a rendered sample photo with its truth; see sample_images/README.md
    truth = json.loads((SAMPLES / "elm_coast.json").read_text())
    (tmp_path / "one.json").write_text(json.dumps([truth["teeth"][0]["outline"]]))
    photo = (
        SAMPLES / "elm_coast.jpg", "--side", "coast", "--outline", tmp_path / "one.json", "--json",
    )  # fmt: skip
    _, alone = _run(*photo)
    code, row = _run(*photo, "--others-follow")
    assert code == 0
    told, data = json.loads(alone.stdout), json.loads(row.stdout)
    assert len(told["teeth"]) == 1
    assert "followed" not in told["flags"]
    assert "followed" in data["flags"]
    laid = [tooth for tooth in data["teeth"] if "followed" in tooth["flags"]]
    assert len(laid) == len(data["teeth"]) - 1 >= 2
    assert all(0.5 <= tooth["confidence"] < 1.0 for tooth in laid)
    (drawn,) = [tooth for tooth in data["teeth"] if "followed" not in tooth["flags"]]
    assert drawn["outline"] == told["teeth"][0]["outline"]
    for axis in ("lengthwise", "profile"):
        assert data[axis] == pytest.approx(truth[axis], abs=2 * data[f"{axis}_sd"])


@pytest.mark.parametrize("outline", [(), ("--outline", "frame")])
def test_there_must_be_a_drawn_tooth_to_follow(bench: Path, outline: tuple[str, ...]) -> None:
    with pytest.raises(click.UsageError, match="--outline FILE"):
        _run(bench / "p1.jpg", "--side", "drive", *outline, "--others-follow")


def test_an_unknown_side_is_a_usage_error() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "pattern.cli", "read", "p.jpg", "--side", "front"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 2
    assert "front" in done.stderr
    assert done.stdout == ""


@pytest.mark.parametrize("turns", [0, 1, 2, 3])
def test_a_picture_cropped_to_one_tooth_is_read_in_its_frame(tmp_path: Path, turns: int) -> None:
    close = drawn_gear("drive", tooth_px=500.0, tilt_deg=(0.0, 38.0), teeth=(0,))
    tooth = close.teeth[0]
    flat = lay_flat(close.photo, ToothSurface(tooth.tip_edge, tooth.root_edge))
    # laid out, the toe is on the left; a drive side's photo shows it on the right
    seen = np.rot90(flat.rgb[:, ::-1].astype(np.uint8), turns)
    large = np.kron(seen, np.ones((3, 3, 1), np.uint8))
    Image.fromarray(large).save(tmp_path / "one.png")
    tip = ("up", "left", "down", "right")[turns]
    code, result = _run(
        tmp_path / "one.png", "--side", "drive", "--outline", "frame", "--tip", tip, "--json"
    )
    data = json.loads(result.stdout)
    assert code == 0
    assert data["toe"] == ("right", "up", "left", "down")[turns]
    assert data["lengthwise"] == pytest.approx(close.lengthwise, abs=0.05)
    assert data["profile"] == pytest.approx(close.profile, abs=0.08)
