"""The house rules that a machine can check: module sizes, registries, documents that match the code."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import click
import pytest

import pattern
from pattern import errors
from pattern.cli import commands
from tests.documents import GENERATED, ROOT, rewritten

SOURCES = sorted([*ROOT.glob("pattern/**/*.py"), *ROOT.glob("app/**/*.py")])
TESTS = sorted(ROOT.glob("tests/**/*.py"))
README = (ROOT / "README.md").read_text(encoding="utf-8")


def _error_classes(root: type[errors.PatternError]) -> list[type[errors.PatternError]]:
    return [root, *(c for child in root.__subclasses__() for c in _error_classes(child))]


def _walk(command: click.Command, path: str) -> list[tuple[str, click.Command]]:
    found = [(path, command)]
    if isinstance(command, click.Group):
        context = click.Context(command)
        for name in command.list_commands(context):
            child = command.get_command(context, name)
            assert child is not None
            found += _walk(child, f"{path} {name}")
    return found


COMMANDS = _walk(commands, "contact-pattern")


@pytest.mark.parametrize("source", [*SOURCES, *TESTS], ids=lambda p: str(p.relative_to(ROOT)))
def test_a_module_stays_under_four_hundred_lines(source: Path) -> None:
    assert len(source.read_text(encoding="utf-8").splitlines()) <= 400


def test_no_module_has_a_name_that_says_nothing() -> None:
    empty = {"utils.py", "util.py", "helpers.py", "common.py", "misc.py"}
    assert not [s for s in SOURCES if s.name in empty]


def test_every_module_says_what_it_is_for() -> None:
    bare = [
        s
        for s in SOURCES
        if s.stat().st_size and not s.read_text("utf-8").lstrip().startswith('"""')
    ]
    assert bare == []


RUN_BY_MODULE = [
    s for s in [*SOURCES, *TESTS] if '\nif __name__ == "__main__":' in s.read_text("utf-8")
]


@pytest.mark.parametrize("source", RUN_BY_MODULE, ids=lambda p: str(p.relative_to(ROOT)))
def test_what_is_run_by_module_has_a_command_line(source: Path) -> None:
    assert "ArgumentParser(" in source.read_text("utf-8"), (
        "asked for --help, it would start its work"
    )


def test_help_of_the_response_tables_computes_nothing(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "pattern.gears.tables", str(tmp_path), "--help"]
    told = subprocess.run(command, capture_output=True, text=True, timeout=60, cwd=ROOT, check=True)
    assert told.stdout.startswith("usage: python -m pattern.gears.tables")
    assert not list(tmp_path.iterdir())


def test_the_public_names_resolve() -> None:
    for name in pattern.__all__:
        assert getattr(pattern, name) is not None


def test_every_error_is_in_the_drawing_at_the_head_of_its_module() -> None:
    for error in _error_classes(errors.PatternError):
        line = re.search(rf"\b{error.__name__}\b[^\n]*?\b(\d)\b", errors.__doc__ or "")
        assert line, error.__name__
        assert int(line.group(1)) == error.exit_code


def test_an_error_message_names_subject_fault_and_remedy() -> None:
    error = errors.InvalidAxle("0 is too small", subject="ring_teeth", remedy="Count the teeth")
    assert error.message == "ring_teeth: 0 is too small. Count the teeth"


def test_every_exit_code_is_in_the_readme() -> None:
    for error in _error_classes(errors.PatternError)[1:]:
        assert re.search(rf"^\| {error.exit_code} \|", README, re.MULTILINE), error.__name__


@pytest.mark.parametrize("document", GENERATED)
def test_the_generated_parts_of_the_documents_are_current(document: str) -> None:
    remedy = "run: python -m tests.documents"
    assert (ROOT / document).read_text(encoding="utf-8") == rewritten(document), remedy


@pytest.mark.parametrize(("path", "command"), COMMANDS[1:], ids=[p for p, _ in COMMANDS[1:]])
def test_every_command_is_documented_and_says_what_it_does(
    path: str, command: click.Command
) -> None:
    assert f"`{path}" in README, path
    assert command.help


@pytest.mark.parametrize(("path", "command"), COMMANDS, ids=[p for p, _ in COMMANDS])
def test_every_option_has_help(path: str, command: click.Command) -> None:
    for parameter in command.params:
        if isinstance(parameter, click.Option):
            assert parameter.help, f"{path} {parameter.name}"


def test_the_readme_s_pictures_exist() -> None:
    pictures = re.findall(r"!\[[^\]]*\]\(([^)]+)\)", README)
    assert pictures
    for picture in pictures:
        assert (ROOT / picture).is_file(), picture


def test_sample_images_stay_small() -> None:
    files = [f for f in (ROOT / "sample_images").rglob("*") if f.is_file()]
    assert sum(f.stat().st_size for f in files) < 25_000_000
    heavy = {f.stem for f in files if f.stat().st_size > 1_000_000}
    twelve_megapixels = {
        f.stem
        for f in files
        if f.suffix == ".json" and json.loads(f.read_bytes())["size"] == [4000, 3000]
    }
    assert heavy <= twelve_megapixels
    assert len(twelve_megapixels) == 2
