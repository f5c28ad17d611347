"""`contact-pattern check`: how well the reader does on photos of which the answer is known."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pattern.cli.output import shown
from pattern.errors import InvalidInput, PatternError

if TYPE_CHECKING:
    from pattern.reading.score import Known
    from pattern.records import Reading, Side
    from pattern.settings import Settings


@click.command()
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
@click.option(
    "--outlined",
    is_flag=True,
    help="Read with the known outlines instead of finding the teeth.",
)
@click.option(
    "--one-outlined",
    type=click.Choice(["alone", "follow"]),
    help="Read with one known outline a photo, that of the tooth seen best: it alone, or with the other "
    "teeth that are found following it.",
)
@click.option(
    "--other-side",
    is_flag=True,
    help="Declare the side that each photo does not show: all of them ought to be declined.",
)
@click.option("--each", is_flag=True, help="Show every photo's errors before the table.")
@click.option("--json", "as_json", is_flag=True, help="The table as one JSON object on stdout.")
@click.option(
    "--settings",
    "settings_file",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Settings file (TOML).",
)
def check(
    folder: Path,
    outlined: bool,
    one_outlined: str | None,
    other_side: bool,
    each: bool,
    as_json: bool,
    settings_file: Path | None,
) -> None:
    """Compare readings with what is known of the photos in a folder.

    Beside each photo lies a JSON file of the same name. From a shop's own photos: {"side": "drive",
    "outlines": [[[x, y], [x, y], [x, y], [x, y]], ...]}, the teeth drawn by hand as for `read
    --outline`; what is read with them is then what the automatic reading is held against. From
    rendered photos: their truth, with "readable", "lengthwise", "profile" and "teeth".
    """
    from pattern.reading.score import score
    from pattern.settings import load_settings

    settings = load_settings(settings_file)
    how = one_outlined or ("outlined" if outlined else "found")
    cases: list[tuple[Known, Reading]] = []
    for path, about in _pairs(folder):
        try:
            known, reading = (
                _misdeclared(path, about, settings)
                if other_side
                else _case(path, about, how, settings)
            )
        except PatternError as error:
            click.echo(error.message, err=True)
            continue
        cases.append((known, reading))
        if each:
            click.echo(shown(_line(path, known, reading)), err=as_json)
    if not cases:
        raise InvalidInput(
            "holds no photo with a JSON file of the same name beside it",
            subject=str(folder),
            remedy="Draw outlines as for `contact-pattern read --outline` and name the file after "
            "its photo",
        )
    rows = score(cases)
    if as_json:
        click.echo(json.dumps([asdict(row) for row in rows]))
        return
    for row in rows:
        click.echo(str(row))


def _pairs(folder: Path) -> list[tuple[Path, dict[str, Any]]]:
    """Photos that have a JSON object beside them, in order of name."""
    if not folder.is_dir():
        raise InvalidInput("is no folder", subject=str(folder), remedy="Name a folder of photos")
    found = []
    for path in sorted(folder.iterdir()):
        beside = path.with_suffix(".json")
        if path.suffix.lower() == ".json" or not path.is_file() or not beside.is_file():
            continue
        try:
            about = json.loads(beside.read_text(encoding="utf-8"))
        except (OSError, ValueError, RecursionError) as fault:
            raise InvalidInput(
                f"is not JSON: {fault}", subject=str(beside), remedy="Correct or remove it"
            ) from fault
        if not isinstance(about, dict) or about.get("side") not in ("drive", "coast"):
            raise InvalidInput(
                'needs "side": "drive" or "coast"', subject=str(beside), remedy="Add it"
            )
        found.append((path, about))
    return found


def _case(path: Path, about: dict[str, Any], how: str, settings: Settings) -> tuple[Known, Reading]:
    import numpy as np

    from pattern.photo.decode import load_photo
    from pattern.reading.score import Known
    from pattern.workflow import read_photo

    photo = load_photo(path, settings)
    side, hand = about["side"], about.get("hand", "right")
    outlines, best = _outlines(about)
    by_hand = about.get("lengthwise") is None and bool(about.get("outlines"))
    drawn = None
    if by_hand or how == "outlined":
        drawn = read_photo(photo, side, hand=hand, outlines=outlines or None, settings=settings)
    reading = drawn
    if reading is None or by_hand:
        one = [outlines[best]] if how in ("alone", "follow") and outlines else None
        reading = read_photo(
            photo, side, hand=hand, outlines=one, others_follow=bool(one) and how == "follow",
            settings=settings,
        )  # fmt: skip
    truth = drawn if by_hand and drawn is not None else None
    known = Known(
        readable=truth.status == "read" if truth else bool(about.get("readable", True)),
        lengthwise=truth.lengthwise if truth else about.get("lengthwise"),
        profile=truth.profile if truth else about.get("profile"),
        outlines=tuple(np.array(outline, float) for outline in outlines),
    )
    return known, reading


def _outlines(about: dict[str, Any]) -> tuple[list[Any], int]:
    """Known outlines, and which of them is of the tooth seen best: the middle one of equals."""
    teeth = [t for t in about.get("teeth", []) if t.get("visible", 1.0) >= 0.6]
    outlines = about.get("outlines") or [tooth["outline"] for tooth in teeth]
    seen = (
        [1.0] * len(outlines) if about.get("outlines") else [t.get("visible", 1.0) for t in teeth]
    )
    best = [i for i, share in enumerate(seen) if share >= max(seen) - 0.01]
    return outlines, best[len(best) // 2] if best else 0


def _misdeclared(path: Path, about: dict[str, Any], settings: Settings) -> tuple[Known, Reading]:
    from pattern.photo.decode import load_photo
    from pattern.reading.score import Known
    from pattern.workflow import read_photo

    other: Side = "coast" if about["side"] == "drive" else "drive"
    hand = about.get("hand", "right")
    return Known(False), read_photo(load_photo(path, settings), other, hand=hand, settings=settings)


def _line(path: Path, known: Known, reading: Reading) -> str:
    if reading.lengthwise is None or reading.profile is None:
        codes = ", ".join(reason.code for reason in reading.reasons)
        return f"{path.name}: declined ({codes}), {'readable' if known.readable else 'bad'}"
    if not known.readable or known.lengthwise is None or known.profile is None:
        return f"{path.name}: read, but it is a bad photo"
    return (
        f"{path.name}: lengthwise {reading.lengthwise - known.lengthwise:+.3f}, "
        f"profile {reading.profile - known.profile:+.3f}"
    )
