"""`contact-pattern predict` as a user meets it."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from pattern.cli.predict import predict
from pattern.errors import InvalidAxle, WouldOverwrite

SET = ["--teeth", "41/11", "--diameter", "8.5"]


def run(*arguments):
    return CliRunner().invoke(predict, [*SET, *arguments])


def test_both_systems_are_told_when_the_depth_is_not_known():
    result = run("--pinion", "+0.004", "--ring", "-0.002")
    assert result.exit_code == 0
    assert "tapered depth, pinion +0.0040 in, ring gear -0.0020 in" in result.output
    assert "uniform depth" in result.output
    assert "square to the tooth at the heel" in result.output
    assert "tooth_system" in result.stderr


def test_json_is_one_object_alone_on_stdout():
    result = run("--system", "tapered", "--pinion", "0.004", "--json")
    data = json.loads(result.stdout)
    assert data["drive"]["lengthwise"] < 0.5
    assert data["coast"]["lengthwise"] > 0.5
    assert data["drive"]["profile"] < 0.5
    assert "other" not in data
    assert data["backlash_in"] < 0.008


def test_the_drawing_is_written_and_never_over_another(tmp_path):
    file = tmp_path / "marks.svg"
    assert run("--system", "uniform", "--svg", str(file)).exit_code == 0
    assert file.read_text(encoding="utf-8").startswith("<svg")
    assert isinstance(run("--system", "uniform", "--svg", str(file)).exception, WouldOverwrite)


@pytest.mark.parametrize("teeth", ["41", "41-11", "a/b"])
def test_counts_in_another_form_are_refused_by_name(teeth):
    fault = CliRunner().invoke(predict, ["--teeth", teeth, "--diameter", "8.5"]).exception
    assert isinstance(fault, InvalidAxle)
    assert fault.subject == "--teeth"


def test_impossible_data_name_the_field():
    fault = run("--offset", "4.0").exception
    assert isinstance(fault, InvalidAxle)
    assert fault.subject == "offset_in"


def test_a_mark_seen_on_the_set_changes_how_far_it_moves():
    short, long_ = (
        json.loads(
            run(
                "--system", "tapered", "--pinion", "0.003", "--drive-mark", f"{size}x0.5", "--json"
            ).stdout
        )
        for size in (0.3, 0.65)
    )
    assert long_["drive"]["lengthwise"] < short["drive"]["lengthwise"] < 0.5


@pytest.mark.parametrize("size", ["0.4", "longx0.3", "0.4:0.5"])
def test_a_size_in_another_form_is_a_usage_error(size):
    result = run("--drive-mark", size)
    assert result.exit_code == 2
    assert "like 0.45x0.5" in result.output
