"""`contact-pattern advise`: contract of its JSON, words in both units, exit codes, bad files."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from pattern.cli import commands
from pattern.errors import PatternError

CASE: dict[str, Any] = {
    "axle": {
        "ring_teeth": 41, "pinion_teeth": 11, "ring_diameter_in": 8.5, "tooth_system": "tapered",
        "depth_shim": "cartridge", "depth_shim_in": 0.030,
    },
    "rolls": [
        {
            "drive": {"lengthwise": 0.66, "profile": 0.72},
            "coast": {"lengthwise": 0.30, "profile": 0.72},
            "backlash_in": 0.008,
        }
    ],
}  # fmt: skip


def _run(*arguments: object) -> tuple[int, Result]:
    result = CliRunner().invoke(commands, ["advise", *map(str, arguments)], standalone_mode=False)
    if isinstance(result.exception, PatternError):
        return result.exception.exit_code, result
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result.exit_code, result


@pytest.fixture
def case(tmp_path: Path) -> Path:
    file = tmp_path / "case.json"
    file.write_text(json.dumps(CASE))
    return file


def test_json_is_one_object_and_nothing_else_on_stdout(case: Path) -> None:
    code, result = _run(case, "--json")
    advice = json.loads(result.stdout)
    assert code == 0
    assert advice["verdict"] == "adjust"
    assert advice["pinion_move_in"] > 0 and advice["pinion_move_sd_in"] > 0
    assert advice["depth_shim_in"] < 0.030  # under a cartridge thicker is shallower
    assert advice["expected"]["drive"]["profile"] < 0.72


def test_words_name_the_move_the_shim_and_the_caution(case: Path) -> None:
    code, result = _run(case)
    assert code == 0
    assert "deeper" in result.stdout and "take out" in result.stdout
    assert "cartridge" in result.stdout
    assert "Caution:" in result.stdout and "hands" in result.stdout


def test_millimetres_are_the_inches_times_25_4(case: Path) -> None:
    # 1 in = 25.4 mm exactly, NIST SP 811
    inches = json.loads(_run(case, "--json")[1].stdout)["pinion_move_in"]
    told = _run(case, "--units", "mm")[1].stdout
    assert f"{inches * 25.4:.3f} mm deeper" in told
    assert f"pinion deeper {inches * 25.4:.3f} mm" in told  # among the reasons
    assert not re.search(r"\d in\b", told)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"axle": CASE["axle"] | {"ring_teeth": 0}}, "ring_teeth"),
        ({"axle": CASE["axle"] | {"backlash_min_in": 0.012}}, "backlash"),
        ({"rolls": []}, "rolls"),
        ({"rolls": [{"drive": {"lengthwise": 7, "profile": 0.5}}]}, "lengthwise"),
    ],
)
def test_impossible_data_name_the_field(case: Path, change: dict[str, Any], field: str) -> None:
    case.write_text(json.dumps(CASE | change))
    code, result = _run(case)
    assert code == 5
    assert field in str(result.exception)


def test_a_file_that_is_no_case_is_one_clean_line(tmp_path: Path) -> None:
    broken = tmp_path / "case.json"
    broken.write_text("{")
    for file in (broken, tmp_path / "missing.json"):
        code, result = _run(file)
        assert code == 5 and file.name in str(result.exception)
