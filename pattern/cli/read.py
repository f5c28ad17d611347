"""`contact-pattern read`: photos in, one reading a photo out."""

from __future__ import annotations

import contextlib
import hashlib
import json
import signal
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pattern import __version__
from pattern.cli.output import shown
from pattern.errors import InvalidOutline

if TYPE_CHECKING:
    from pattern.cli.read_many import Outcome
    from pattern.records import Reading
    from pattern.settings import Settings

_WAYS = click.Choice(["left", "right", "up", "down"])
UNREADABLE, DECLINED = 3, 4


@click.command()
@click.argument(
    "photos", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="PHOTO..."
)
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
    "--others-follow",
    is_flag=True,
    help="With --outline FILE: also measure the other teeth that are found, laid anew from those drawn.",
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
@click.option(
    "--jobs",
    type=click.IntRange(1, 64),
    metavar="N",
    help="Processes to read with; as many as there are cores where the photos are many enough.",
)
@click.option(
    "--skip-done",
    "done_file",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Pass over photos that have a line in FILE, made with --json and the same settings, side "
    "and hand. To go on with a run that was stopped: --json --skip-done all.jsonl >> all.jsonl",
)
def read(
    photos: tuple[Path, ...],
    side: str,
    hand: str,
    toe: str | None,
    tip: str | None,
    outline: str | None,
    others_follow: bool,
    overlay: Path | None,
    as_json: bool,
    settings_file: Path | None,
    force: bool,
    jobs: int | None,
    done_file: Path | None,
) -> int:
    """Read the contact pattern in photos of one tooth side; a folder stands for the photos in it.

    Exit code 0 if every photo was read, 4 if one was declined, 3 if one could not be opened, 5 for a
    bad outline. A bad photo never stops the others.
    """
    from pattern.cli.read_many import Task, jobs_for, photos_in, read_each
    from pattern.settings import load_settings

    check_follow(others_follow, outline)
    settings = load_settings(settings_file)
    outlines = None if outline in (None, "frame") else load_outlines(Path(str(outline)))
    paths = photos_in(photos)
    if done_file is not None:
        paths = _not_done(paths, done_file, side, hand, settings)
    tasks = []
    for path in paths:
        drawn = "frame" if outline == "frame" else outlines_for(outlines, path)
        options = {
            "side": side, "hand": hand, "toe": toe, "tip": tip, "outlines": drawn,
            "others_follow": others_follow,
        }  # fmt: skip
        tasks.append(Task(path, options, settings, overlay, force))
    outcomes = read_each(tasks, jobs_for(len(tasks), jobs))
    return _tell(_watched(outcomes, len(tasks)), as_json)


def _tell(outcomes: Iterator[Outcome], as_json: bool) -> int:
    """Say each outcome as it comes; the exit code of the worst."""
    from pattern.reading.as_json import reading_json

    worst = 0
    rows: list[Reading] = []
    try:
        for outcome in outcomes:
            worst = _worse(worst, outcome.exit_code)
            reading = outcome.reading
            if reading is None:
                click.echo(outcome.fault, err=True)
                continue
            worst = _worse(worst, DECLINED if reading.status == "declined" else 0)
            if as_json:
                with _whole_lines():
                    click.echo(json.dumps(reading_json(reading)))
            else:
                rows.append(reading)
    finally:  # also what was read before Ctrl-C
        if rows:
            _print_table(rows)
    return worst


@contextlib.contextmanager
def _whole_lines() -> Iterator[None]:
    """Let Ctrl-C wait until the line is out, where the system can."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _watched(outcomes: Iterator[Outcome], count: int) -> Iterator[Outcome]:
    """The same, with a bar on stderr where somebody watches."""
    if count < 2 or not sys.stderr.isatty():
        yield from outcomes
        return
    from rich.console import Console
    from rich.progress import track

    console = Console(stderr=True)
    yield from track(outcomes, "Reading photos", total=count, console=console, transient=True)


def _not_done(
    paths: Sequence[Path], done_file: Path, side: str, hand: str, settings: Settings
) -> list[Path]:
    """The photos without a line of their content, side, hand, settings and version in the file."""
    done = set()
    text = done_file.read_text(encoding="utf-8", errors="replace") if done_file.exists() else ""
    for line in text.splitlines():
        with contextlib.suppress(ValueError, RecursionError):  # a line that was cut off counts not
            told = json.loads(line)
            if isinstance(told, dict):
                done.add(tuple(told.get(name) for name in _SAME))
    same = (side, hand, settings.fingerprint, __version__)
    left = [path for path in paths if (_sha256(path), *same) not in done]
    if len(left) < len(paths):
        click.echo(f"{len(paths) - len(left)} of {len(paths)} photos are done already.", err=True)
    return left


_SAME = ("sha256", "side", "hand", "settings", "version")


def _sha256(path: Path) -> str:
    """Of the file; empty for one that cannot be opened, which the reader then says."""
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return ""


def _worse(one: int, other: int) -> int:
    """The exit code that counts: a photo that cannot be opened before a bad outline or a declined one."""
    rank = {0: 0, DECLINED: 1, UNREADABLE: 3}
    return max(one, other, key=lambda code: rank.get(code, 2))


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


def check_follow(others_follow: bool, *outlines: str | None) -> None:
    """Raise UsageError where there is no drawn tooth that others could follow."""
    if others_follow and all(outline in (None, "frame") for outline in outlines):
        raise click.UsageError(
            "--others-follow needs the outline of a tooth: give it with --outline FILE."
        )


def outlines_for(outlines: Any, path: Path) -> Any:
    """The outlines of one photo: of all photos alike, or by the photo's name."""
    if not isinstance(outlines, dict):
        return outlines
    for key in (path.name, path.stem, str(path)):
        if key in outlines:
            return outlines[key]
    return outlines.get("outlines", [])


def _print_table(rows: list[Reading]) -> None:
    from rich.console import Console
    from rich.markup import escape
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
        table.add_row(escape(shown(reading.photo)), *_cells(reading))
    console.print(table)
    told = [f"{shown(reading.photo)}: {why.message}" for reading in rows for why in reading.reasons]
    told += _explained(rows)
    for line in told:
        console.print(line, markup=False, highlight=False)


def _explained(rows: list[Reading]) -> list[str]:
    """What the notes of the photos that were read mean, each once."""
    from pattern.flags import FLAGS

    seen = dict.fromkeys(code for reading in rows if not reading.reasons for code in reading.flags)
    return [
        f"{code}: {FLAGS[code].meaning}. {FLAGS[code].remedy}" for code in seen if code in FLAGS
    ]


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
