"""`contact-pattern read`: photos in, one reading a photo out."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pattern.errors import InvalidOutline, PatternError, WouldOverwrite

if TYPE_CHECKING:
    from pattern.records import Photo, Reading
    from pattern.settings import Settings

_WAYS = click.Choice(["left", "right", "up", "down"])
UNREADABLE, DECLINED = 3, 4


@click.command()
@click.argument("photos", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--side",
    required=True,
    type=click.Choice(["drive", "coast"]),
    help="Ring gear tooth side in the photos: drive is the convex one, coast the concave one.",
)
@click.option(
    "--hand",
    default="right",
    show_default=True,
    type=click.Choice(["right", "left"]),
    help="Hand of the ring gear's spiral.",
)
@click.option("--toe", type=_WAYS, help="Where the toe lies in the picture, over what is found.")
@click.option("--tip", type=_WAYS, help="Where the tip edge lies, with --outline frame.")
@click.option(
    "--outline",
    metavar="FILE|frame",
    help="Measure only these tooth outlines: a JSON list of outlines, each four [x, y] corners "
    "toe-tip, heel-tip, heel-root, toe-root, in pixels of the upright photo; or an object of such "
    "lists by photo name. 'frame': the picture is cropped to one tooth side.",
)
@click.option(
    "--overlay",
    type=click.Path(path_type=Path, file_okay=False),
    help="Write each photo with its reading drawn on it into this folder.",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object a photo on stdout.")
@click.option(
    "--settings",
    "settings_file",
    type=click.Path(path_type=Path, dir_okay=False),
    help="TOML file.",
)
@click.option("--force", is_flag=True, help="Replace pictures that are in the overlay folder.")
def read(
    photos: tuple[Path, ...],
    side: str,
    hand: str,
    toe: str | None,
    tip: str | None,
    outline: str | None,
    overlay: Path | None,
    as_json: bool,
    settings_file: Path | None,
    force: bool,
) -> int:
    """Read the contact pattern in photos of one tooth side.

    Exit code 0 if every photo was read, 4 if one was declined, 3 if one could not be opened, 5 for a
    bad outline. A bad photo never stops the others.
    """
    from pattern.reading.as_json import reading_json
    from pattern.settings import load_settings

    settings = load_settings(settings_file)
    outlines = None if outline in (None, "frame") else load_outlines(Path(str(outline)))
    worst = 0
    rows: list[Reading] = []
    for path in photos:
        options = {"side": side, "hand": hand, "toe": toe, "tip": tip}
        drawn = "frame" if outline == "frame" else outlines_for(outlines, path)
        try:
            photo, reading = _read_one(path, options, drawn, settings)
            if overlay is not None:
                _write_overlay(overlay, path, photo, reading, force)
        except PatternError as error:
            click.echo(error.message, err=True)
            worst = _worse(worst, error.exit_code)
            continue
        if as_json:
            click.echo(json.dumps(reading_json(reading)))
        rows.append(reading)
        worst = _worse(worst, DECLINED if reading.status == "declined" else 0)
    if not as_json and rows:
        _print_table(rows)
    return worst


def _worse(one: int, other: int) -> int:
    """The exit code that counts: a photo that cannot be opened before a bad outline or a declined one."""
    rank = {0: 0, DECLINED: 1, UNREADABLE: 3}
    return max(one, other, key=lambda code: rank.get(code, 2))


def _read_one(
    path: Path, options: dict[str, Any], outlines: Any, settings: Settings
) -> tuple[Photo, Reading]:
    from pattern.photo.decode import load_photo
    from pattern.workflow import read_photo

    photo = load_photo(path, settings)
    try:
        return photo, read_photo(photo, outlines=outlines, settings=settings, **options)
    except InvalidOutline as error:
        raise InvalidOutline(
            error.what, subject=f"{path}: {error.subject}", remedy=error.remedy
        ) from error


def load_outlines(file: Path) -> Any:
    """Outlines drawn by the user, from a JSON file. Raises InvalidOutline."""
    try:
        return json.loads(file.read_text(encoding="utf-8"))
    except OSError as fault:
        raise InvalidOutline(
            f"cannot be opened ({fault.strerror})",
            subject=str(file),
            remedy="Check the file's name",
        ) from fault
    except (ValueError, RecursionError) as fault:
        raise InvalidOutline(
            f"is not JSON: {fault}",
            subject=str(file),
            remedy="Write a list of outlines, each a list of four [x, y] corners",
        ) from fault


def outlines_for(outlines: Any, path: Path) -> Any:
    """The outlines of one photo: of all photos alike, or by the photo's name."""
    if not isinstance(outlines, dict):
        return outlines
    for key in (path.name, path.stem, str(path)):
        if key in outlines:
            return outlines[key]
    return outlines.get("outlines", [])


def _write_overlay(folder: Path, path: Path, photo: Photo, reading: Reading, force: bool) -> None:
    from pattern.report.overlay import draw_overlay

    target = folder / f"{path.stem}_reading.png"
    if target.exists() and not force:
        raise WouldOverwrite(
            "exists already", subject=str(target), remedy="Name another folder or add --force"
        )
    folder.mkdir(parents=True, exist_ok=True)
    target.write_bytes(draw_overlay(photo, reading))


def _print_table(rows: list[Reading]) -> None:
    from rich.console import Console
    from rich.table import Table

    console = Console(file=sys.stdout, width=None if sys.stdout.isatty() else 120)
    table = Table(title=f"{rows[0].side} side, shares of the tooth", title_justify="left")
    for name in (
        "photo",
        "toe to heel",
        "root to tip",
        "length",
        "width",
        "tilt",
        "teeth",
        "notes",
    ):
        table.add_column(name, overflow="fold")
    for reading in rows:
        table.add_row(reading.photo, *_cells(reading))
    console.print(table)
    for reading in rows:
        for reason in reading.reasons:
            console.print(f"{reading.photo}: {reason.message}", markup=False, highlight=False)


def _cells(reading: Reading) -> tuple[str, ...]:
    if reading.status == "declined" or reading.extent is None:
        return ("not read", "", "", "", "", "", ", ".join(r.code for r in reading.reasons))
    low_l, high_l = reading.extent.lengthwise
    low_p, high_p = reading.extent.profile
    return (
        f"{reading.lengthwise:.2f} ± {reading.lengthwise_sd:.2f}",
        f"{reading.profile:.2f} ± {reading.profile_sd:.2f}",
        f"{high_l - low_l:.2f}",
        f"{high_p - low_p:.2f}",
        f"{reading.tilt_deg:+.0f}°",
        str(len(reading.teeth)),
        ", ".join(reading.flags) or "-",
    )
