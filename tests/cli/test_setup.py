"""`contact-pattern setup`: data on stdout, one clean line on stderr, the documented exit codes."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import pytest

from pattern.cli import main
from pattern.setup.stacks import ShimKit


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Any:
    def _run(*words: str) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["contact-pattern", "setup", *words])
        with pytest.raises(SystemExit) as stop:
            main()
        out, err = capsys.readouterr()
        return int(stop.value.code or 0), out, err

    return _run


def test_a_stamped_ratio_offers_counts(run: Any) -> None:
    # 3.73 is 41/11: common practice, no source
    code, out, err = run("counts", "3.73", "--json")
    assert (code, err) == (0, "")
    assert json.loads(out)["counts"][0] == {
        "ring_teeth": 41, "pinion_teeth": 11, "ratio": 3.7273, "turns_to_repeat": 11,
    }  # fmt: skip


def test_marks_without_a_convention_give_both_signs(run: Any) -> None:
    # old -3, new +2 is -0.005 in: TM 9-2320-280-34 p. 19-12; the opposite sign: TM 5-3895-369-14 p. 5-409
    code, out, _ = run("shim", "--old", "-3", "--new", "+2", "--old-shim", "0.030")
    assert code == 0
    assert "old_minus_new: change -0.0050 in shim 0.0250 in" in out
    assert "new_minus_old: change +0.0050 in shim 0.0350 in" in out
    assert "the maker's" in out


def test_the_gauge_example(run: Any) -> None:
    # 0.031 - 0.003 = 0.028 in: TM 9-2320-289-34 p. 6-37
    _, out, _ = run(
        "shim", "--convention", "gauge_plus_mark", "--new", "-3", "--gauge", "0.031", "--json"
    )
    assert json.loads(out)["starting_shims"][0]["shim_in"] == pytest.approx(0.028)


def test_backlash_around_the_ring_gear(run: Any) -> None:
    code, out, _ = run(
        "backlash", "0.005", "0.008", "0.007", "0.006", "--min", "0.006", "--max", "0.010", "--json"
    )
    found = json.loads(out)
    assert code == 0
    assert found["minimum_in"] == 0.005
    assert [finding["code"] for finding in found["findings"]] == ["too_tight"]


def test_torque_in_both_units(run: Any) -> None:
    # 45 lbf·in is 5.084 N·m: TM 9-2320-302-34 p. 0082 00-12 by NIST SP 811 App. B
    _, out, _ = run("torque", "18", "2.5")
    assert out.startswith("45.0 lbf·in (5.08 N·m)")


def test_the_kit_is_printed_to_be_edited_and_read_back(run: Any, tmp_path: Path) -> None:
    _, out, _ = run("stack", "--unit", "mm")
    file = tmp_path / "kit.json"
    file.write_text(out)
    assert ShimKit.from_json(out).unit == "mm"
    code, out, _ = run("stack", "--kit", str(file), "--depth", "0.0315", "--json")
    assert code == 0
    assert json.loads(out)["depth"]["total_in"] * 25.4 == pytest.approx(0.80, abs=1e-4)


@pytest.mark.parametrize(
    ("words", "code", "field"),
    [
        (["counts", "11/41"], 5, "pinion_teeth"),
        (["counts", "0/0"], 5, "ring_teeth"),
        (["counts", "many"], 5, "ratio"),
        (["shim", "--new", "+2"], 5, "old_mark"),
        (["shim", "--new", "2.5", "--old", "0"], 5, "mark"),
        (["backlash", "8", "--min", "0.006", "--max", "0.010"], 5, "reading_in"),
        (["backlash", "0.008", "--min", "0.010", "--max", "0.006"], 5, "backlash_min_in"),
        (["backlash", "--min", "0.006", "--max", "0.010"], 2, "READING"),
        (["torque", "8", "2.5", "--low", "14"], 5, "--low/--high"),
        (["stack", "--left", "0.2"], 5, "--left/--right"),
        (["stack", "--kit", "gone.json"], 5, "gone.json"),
        (["wash"], 2, "wash"),
    ],
)
def test_bad_input_is_one_clean_line_with_its_exit_code(
    run: Any, words: list[str], code: int, field: str
) -> None:
    found, out, err = run(*words)
    assert found == code
    assert out == ""
    assert field in err
    assert "Traceback" not in err
