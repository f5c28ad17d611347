"""`contact-pattern check`: a shop holds the automatic reading against outlines drawn by hand."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from PIL import Image

from pattern.cli import commands
from pattern.errors import InvalidInput
from tests.drawn import drawn_gear

SAMPLES = Path(__file__).parents[2] / "sample_images"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    drawn = drawn_gear("drive")
    Image.fromarray(drawn.photo.pixels).save(tmp_path / "p1.png")
    truth = {
        "readable": True,
        "side": "drive",
        "hand": "right",
        "lengthwise": drawn.lengthwise,
        "profile": drawn.profile,
        "teeth": [{"outline": outline} for outline in drawn.outlines],
    }
    (tmp_path / "p1.json").write_text(json.dumps(truth))
    return tmp_path


def _run(*arguments: object) -> Result:
    return CliRunner().invoke(commands, ["check", *map(str, arguments)], standalone_mode=False)


def test_readings_with_known_outlines_are_held_against_the_truth(folder: Path) -> None:
    result = _run(folder, "--outlined", "--json")
    rows = {row["name"]: row for row in json.loads(result.stdout)}
    assert rows["readable photos read"]["value"] == 100.0
    assert rows["lengthwise error, median"]["value"] < 0.05
    assert rows["profile error, median"]["value"] < 0.08
    assert rows["wrong directions"]["value"] == 0.0


def test_one_known_outline_is_read_alone_or_with_the_others_following_it(tmp_path: Path) -> None:
    # a rendered sample photo with its truth; see sample_images/README.md
    for name in ("elm_coast.jpg", "elm_coast.json"):
        (tmp_path / name).symlink_to(SAMPLES / name)
    rows = {}
    for how in ("alone", "follow"):
        told = json.loads(_run(tmp_path, "--one-outlined", how, "--json").stdout)
        rows[how] = {row["name"]: row for row in told}
        assert rows[how]["readable photos read"]["value"] == 100.0
        assert rows[how]["lengthwise error, median"]["value"] < 0.03
    corners = {
        how: found["corner error, 95th percentile of tooth length"] for how, found in rows.items()
    }
    assert corners["alone"]["value"] == 0.0, "the known outline itself"
    assert 0.0 < corners["follow"]["value"] < 6.0, "of teeth that were found and laid anew"


def test_each_photo_can_be_shown(folder: Path) -> None:
    result = _run(folder, "--outlined", "--each")
    assert "p1.png: lengthwise" in result.stdout


def test_a_folder_without_answers_says_what_is_missing(tmp_path: Path) -> None:
    result = _run(tmp_path)
    assert isinstance(result.exception, InvalidInput)
    assert "same name" in result.exception.message


def test_a_damaged_answer_is_named(folder: Path) -> None:
    (folder / "p1.json").write_text("{")
    result = _run(folder)
    assert isinstance(result.exception, InvalidInput)
    assert "p1.json" in result.exception.message


def test_an_answer_without_a_side_is_named(folder: Path) -> None:
    (folder / "p1.json").write_text("{}")
    result = _run(folder)
    assert isinstance(result.exception, InvalidInput)
    assert "side" in result.exception.message


def test_the_side_that_a_photo_does_not_show_ought_to_be_declined(folder: Path) -> None:
    result = _run(folder, "--other-side", "--each", "--json")
    rows = {row["name"]: row for row in json.loads(result.stdout)}
    assert rows["readable photos read"]["of"] == 0
    assert rows["bad photos accepted"] == {
        "name": "bad photos accepted", "value": 0.0, "of": 1, "unit": ""
    }  # fmt: skip
    assert "p1.png: declined" in result.stderr
