"""`contact-pattern job`: open, find, show and edit jobs. Rolls are in `job_roll`, files in `job_move`."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pattern.cli.job_move import export, import_, readings, report, schema
from pattern.cli.job_roll import add_roll, edit_roll
from pattern.cli.options import archive_option, open_archive, parse_teeth
from pattern.cli.output import counted, shown

if TYPE_CHECKING:
    from pattern.jobs import FiledRoll, Job, JobLine
    from pattern.records import Advice
    from pattern.report.measures import Measures

_DAY = click.DateTime(formats=["%Y-%m-%d"])


@click.group()
def job() -> None:
    """File and find jobs: axle, as-found sheet, rolls with photos, advice, final sheet."""


job.add_command(add_roll)
job.add_command(edit_roll)
job.add_command(report)
job.add_command(export)
job.add_command(import_)
job.add_command(readings)
job.add_command(schema)


def _axle_options(command: Any) -> Any:
    for option in reversed(
        (
            click.option("--axle", "axle_file", type=click.Path(path_type=Path), metavar="FILE",
                         help="Axle data as JSON or TOML, instead of the options below."),
            click.option("--teeth", metavar="RING/PINION", help="Tooth counts, as 41/11."),
            click.option("--diameter", type=float, metavar="IN", help="Ring gear diameter, inches."),
            click.option("--tooth-system", type=click.Choice(["tapered", "uniform", "unknown"]),
                         help="Tapered: the tooth is deeper at the heel. Uniform: equal depth."),
            click.option("--hand", type=click.Choice(["right", "left"]), help="Of the ring gear."),
            click.option("--condition", type=click.Choice(["new", "used"]),
                         help="Of the gears; a used set goes back to its as-found pattern."),
            click.option("--backlash-limits", nargs=2, type=float, metavar="MIN MAX",
                         help="The maker's limits, inches."),
            click.option("--depth-shim", nargs=2, type=(str, float), metavar="WHERE IN",
                         help="Where the depth shim sits (pinion_head or cartridge), its thickness."),
        )
    ):  # fmt: skip
        command = option(command)
    return command


@job.command("new")
@archive_option
@click.option("--customer", default="", help="Free text.")
@click.option("--vehicle", default="", help="Free text.")
@click.option("--tag", "tags", multiple=True, help="May be given several times.")
@click.option("--notes", default="", help="Free text.")
@click.option("--by", default="", help="Who opens the job.")
@_axle_options
def new(
    place: str | None,
    customer: str,
    vehicle: str,
    tags: tuple[str, ...],
    notes: str,
    by: str,
    **axle: Any,
) -> None:
    """Open a job and print its number."""
    sections: dict[str, Any] = {
        "customer": customer,
        "vehicle": vehicle,
        "tags": tags,
        "notes": notes,
    }
    if described := _axle(**axle):
        sections["axle"] = described
    with open_archive(place) as archive:
        click.echo(archive.new_job(by=by, **sections))


def _axle(
    axle_file: Path | None,
    teeth: str | None,
    diameter: float | None,
    backlash_limits: tuple[float, float] | None,
    depth_shim: tuple[str, float] | None,
    **named: str | None,
) -> Any:
    from pattern.errors import InvalidAxle
    from pattern.records import Axle

    if axle_file is not None:
        from pattern.setup.axle_record import load_axle

        return load_axle(axle_file)
    given: dict[str, Any] = {name: value for name, value in named.items() if value is not None}
    if backlash_limits:
        given |= dict(zip(("backlash_min_in", "backlash_max_in"), backlash_limits, strict=True))
    if depth_shim:
        given |= dict(zip(("depth_shim", "depth_shim_in"), depth_shim, strict=True))
    if teeth is None and diameter is None and not given:
        return None
    if teeth is None or diameter is None:
        raise InvalidAxle(
            "is needed to describe an axle",
            subject="--teeth" if teeth is None else "--diameter",
            remedy="Give both --teeth and --diameter",
        )
    ring, pinion = parse_teeth(teeth)
    return Axle(ring_teeth=ring, pinion_teeth=pinion, ring_diameter_in=diameter, **given)


@job.command("list")
@archive_option
@click.argument("words", nargs=-1)
@click.option("--tag", default="", help="Jobs with that tag.")
@click.option("--status", default="", help="open, waiting, done or withdrawn.")
@click.option("--ratio", type=float, help="Such as 3.73.")
@click.option("--teeth", metavar="RING/PINION", help="Tooth counts, as 41/11.")
@click.option("--diameter", type=float, metavar="IN", help="Ring gear, within 0.05 in.")
@click.option("--since", type=_DAY, help="Opened on that day or later: 2026-05-01.")
@click.option("--until", type=_DAY, help="Opened on that day or before.")
@click.option("--older-than", default="", metavar="JOB", help="The page after that job.")
@click.option(
    "--count",
    "page_size",
    default=50,
    show_default=True,
    type=click.IntRange(1, 1000),
    help="How many.",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def list_(
    place: str | None, words: tuple[str, ...], teeth: str | None, as_json: bool, **filters: Any
) -> None:
    """List jobs, newest first. WORDS are looked for in customer, vehicle, notes and parts."""
    if teeth:
        filters |= dict(zip(("ring_teeth", "pinion_teeth"), parse_teeth(teeth), strict=True))
    filters["ring_diameter_in"] = filters.pop("diameter")
    for name in ("since", "until"):
        filters[name] = filters[name].strftime("%Y-%m-%d") if filters[name] else ""
    with open_archive(place) as archive:
        page = archive.list_jobs(words=" ".join(words), **filters)
    for line in page.jobs:
        click.echo(_json(line) if as_json else shown(_one_line(line)))
    if page.older:
        click.echo(f"More: --older-than {page.older}", err=True)


def _one_line(line: JobLine) -> str:
    gears = f"{line.ring_teeth}/{line.pinion_teeth}" if line.ring_teeth else "-"
    size = f"{line.ring_diameter_in:g} in" if line.ring_diameter_in else "-"
    who = " · ".join(text for text in (line.customer, line.vehicle) if text) or "-"
    tags = "".join(f" #{tag}" for tag in line.tags)
    rolls = counted(line.rolls, "roll")
    return f"{line.id}  {line.opened_at[:10]}  {line.status:<9}  {gears:>6}  {size:>8}  {rolls:>8}  {who}{tags}"


@job.command("show")
@archive_option
@click.argument("job_id", metavar="JOB")
@click.option("--json", "as_json", is_flag=True, help="Everything on record, as one JSON object.")
@click.option("--sheet", "as_sheet", is_flag=True,
              help="Axle, as-found sheet, parts and final sheet as JSON to change and give back to "
                   "job edit --sheet.")  # fmt: skip
def show(place: str | None, job_id: str, as_json: bool, as_sheet: bool) -> None:
    """Show one job."""
    with open_archive(place) as archive:
        found = archive.job(job_id)
    if as_sheet:
        from pattern.archive.codec import to_data

        names = ("version", "axle", "as_found", "parts", "final")
        sheet = {name: to_data(getattr(found, name)) for name in names}
        click.echo(json.dumps(sheet, indent=2, ensure_ascii=False))
    else:
        click.echo(_json(found) if as_json else shown("\n".join(_lines(found))))


def _lines(found: Job) -> list[str]:
    lines = [f"{found.id}  {found.status}  opened {found.opened_at[:10]}"]
    for name, text in (
        ("customer", found.customer),
        ("vehicle", found.vehicle),
        ("notes", found.notes),
    ):
        if text:
            lines.append(f"  {name}: {text}")
    if found.tags:
        lines.append("  tags: " + ", ".join(found.tags))
    if found.axle:
        a = found.axle
        lines.append(
            f"  ring gear {a.ring_teeth}/{a.pinion_teeth}, {a.ring_diameter_in:g} in, {a.tooth_system}"
        )
    for filed in found.rolls:
        lines += _roll_lines(filed)
    return lines


def _roll_lines(filed: FiledRoll) -> list[str]:
    from pattern.report.measures import Measures

    measures, roll = Measures("in"), filed.roll
    kind = "test roll" if filed.kind == "roll" else filed.kind.replace("_", " ")
    lines = [f"  roll {filed.number} ({kind}), {filed.filed_at[:16].replace('T', ' ')} UTC"]
    if filed.struck:
        lines.append(f"    struck out: {filed.struck}")
    if roll.pinion_move_in is not None:
        lines.append(f"    pinion moved: {measures.pinion_move(roll.pinion_move_in)}")
    if roll.ring_move_in is not None:
        lines.append(f"    ring gear moved: {measures.ring_move(roll.ring_move_in)}")
    for shot in filed.photos:
        best = shot.best
        place = (f"lengthwise {best.lengthwise:.2f}, profile {best.profile:.2f}"
                 if best.lengthwise is not None and best.profile is not None else best.status)  # fmt: skip
        by_hand = " (by hand)" if shot.corrected else ""
        lines.append(f"    {shot.side}: {place}{by_hand}  {shot.name}  {shot.sha256[:12]}")
    if roll.backlash_in is not None:
        lines.append(f"    backlash: {measures.length(roll.backlash_in)}")
    if filed.advice:
        lines.append(f"    advice: {_advised(filed.advice, measures)}")
    return lines


def _advised(advice: Advice, measures: Measures) -> str:
    if not (advice.pinion_move_in or advice.ring_move_in):
        return advice.verdict
    pinion = measures.pinion_move(advice.pinion_move_in, advice.pinion_move_sd_in)
    ring = measures.ring_move(advice.ring_move_in, advice.ring_move_sd_in)
    return f"{advice.verdict}; pinion {pinion}, ring gear {ring}"


@job.command("edit")
@archive_option
@click.argument("job_id", metavar="JOB")
@click.option("--customer", help="Free text.")
@click.option("--vehicle", help="Free text.")
@click.option("--status", help="open, waiting, done or withdrawn.")
@click.option("--notes", help="Free text.")
@click.option("--tag", "tags", multiple=True, help="Replaces all tags; may be given several times.")
@click.option("--sheet", type=click.File(encoding="utf-8"), metavar="FILE",
              help="JSON with any of: axle, as_found, parts, final; - reads standard input.")  # fmt: skip
@click.option("--by", default="", help="Who edits.")
def edit(
    place: str | None, job_id: str, sheet: Any, tags: tuple[str, ...], by: str, **texts: str | None
) -> None:
    """Change what a job says. What stood before stays in its history."""
    sections: dict[str, Any] = {name: text for name, text in texts.items() if text is not None}
    if tags:
        sections["tags"] = tags
    if sheet is not None:
        sections |= _sheet(sheet)
    seen = sections.pop("version", None)  # of a sheet that `job show --sheet` wrote
    with open_archive(place) as archive:
        changed = archive.edit(job_id, by=by, seen=seen, **sections)
    click.echo(f"{counted(changed, 'section')} changed.", err=True)


def _sheet(file: Any) -> dict[str, Any]:
    from pattern.errors import InvalidInput

    name = getattr(file, "name", "the sheet")
    try:
        data = json.load(file)
    except (ValueError, RecursionError) as fault:
        raise InvalidInput(f"is not JSON: {fault}", subject=name, remedy="Correct it") from fault
    if not isinstance(data, dict):
        raise InvalidInput("is not a JSON object", subject=name, remedy='Give {"as_found": {...}}')
    if type(data.get("version", 0)) is not int:
        raise InvalidInput(
            "is no number", subject="version", remedy="Leave it as `job show` wrote it"
        )
    return data


@job.command("like")
@archive_option
@click.argument("job_id", metavar="JOB")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def like(place: str | None, job_id: str, as_json: bool) -> None:
    """Finished jobs with the same teeth and diameter, and a depth shim to start from."""
    from pattern.errors import InvalidInput

    with open_archive(place) as archive:
        axle = archive.job(job_id).axle
        if axle is None:
            raise InvalidInput(
                "has no axle data", subject=job_id, remedy="Add it: job edit --sheet"
            )
        likes = archive.jobs_like(axle, but=job_id)
        hint = archive.shim_hint(axle, but=job_id)
    if as_json:
        click.echo(_json({"jobs": likes, "hint": hint}))
        return
    for found in likes:
        mark = f", pinion etched {found.pinion_mark}" if found.pinion_mark else ""
        click.echo(
            f"{found.id}  {found.changed_at[:10]}  depth shim {found.depth_shim_in:.4f} in "
            + shown(f"({found.depth_shim}){mark}  {found.vehicle}")
        )
    if hint is None:
        click.echo(
            "No hint: no finished job of that kind with its shim at the same known place.", err=True
        )
        return
    jobs = ", ".join(found.id for found in hint.evidence)
    click.echo(
        f"Hint: start from a depth shim of {hint.depth_shim_in:.4f} in, the middle of "
        f"{hint.least_in:.4f} to {hint.most_in:.4f} in on {jobs}. Correct it for the etched marks; "
        "a measured depth comes before any hint."
    )


@job.command("history")
@archive_option
@click.argument("job_id", metavar="JOB")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def history(place: str | None, job_id: str, as_json: bool) -> None:
    """Every edit of a job, oldest first: when, who, what it said before and after."""
    with open_archive(place) as archive:
        for entry in archive.history(job_id):
            where = f"roll {entry.roll} {entry.section}" if entry.roll else entry.section
            by = f" by {entry.by}" if entry.by else ""
            line = f"{entry.at}{by}  {where}: {entry.before or 'nothing'} -> {entry.after}"
            click.echo(_json(entry) if as_json else shown(line))


def _json(record: object) -> str:
    from pattern.archive.codec import to_json

    return to_json(record)
