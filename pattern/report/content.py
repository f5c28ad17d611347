"""What a job's record says, in order, before it is laid out: shared by the PDF and the HTML."""

from __future__ import annotations

from dataclasses import dataclass

from pattern import __version__
from pattern.jobs import AsFound, FiledPhoto, FiledRoll, FinalSheet, Job
from pattern.records import SIDES, Advice, Axle, SideReading
from pattern.report.backlash_chart import Series, backlash_chart
from pattern.report.measures import UNKNOWN, Measures, place
from pattern.report.tooth_chart import tooth_chart
from pattern.setup.backlash import backlash_around
from pattern.setup.units import told_in

KIND_WORDS = {"as_found": "as found", "roll": "test roll", "final": "final pattern"}
SHIM_PLACES = {
    "pinion_head": "at the pinion head (thicker = deeper)",
    "cartridge": "under the pinion cartridge (thicker = shallower)",
    "unknown": "place not recorded",
}
CAUTIONS = (
    "Readings and advice are hints for a trained mechanic; the final measured check is theirs.",
    "Torques, limits and sequences are those of the maker's service data entered by the shop.",
    "Bearing caps belong to their side and their way up. Hands and sleeves out of the turning mesh.",
)

_SAID_ALREADY = ("Drive mark", "Coast mark", "Next:")
"""Reasons that repeat what the record shows anyway."""

Row = tuple[str, str]


@dataclass(frozen=True)
class Sheet:
    """A titled list of facts."""

    title: str
    rows: tuple[Row, ...]
    notes: str = ""


@dataclass(frozen=True)
class RollBlock:
    """One roll: its facts, what was advised, and its photos."""

    title: str
    rows: tuple[Row, ...]
    advice: tuple[str, ...]
    photos: tuple[FiledPhoto, ...]
    struck: str = ""


@dataclass(frozen=True)
class Content:
    """The whole record. Charts are SVG; `hashes` are (roll, side, name, SHA-256)."""

    title: str
    subtitle: str
    sheets: tuple[Sheet, ...]
    teeth: tuple[str, str]
    backlash: str | None
    rolls: tuple[RollBlock, ...]
    closing: tuple[Sheet, ...]
    cautions: tuple[str, ...]
    hashes: tuple[tuple[str, str, str, str], ...]
    footer: str


def job_content(job: Job, measures: Measures) -> Content:
    """Put a job into words, in the chosen units."""
    return Content(
        title=f"Job {job.id}",
        subtitle=" · ".join(text for text in (job.customer, job.vehicle) if text),
        sheets=tuple(filter(None, (_job_sheet(job), _axle_sheet(job.axle, measures),
                                   _as_found_sheet(job.as_found, measures)))),
        teeth=_teeth(job),
        backlash=_backlash(job, measures),
        rolls=tuple(_roll(job, index, measures) for index in range(len(job.rolls))),
        closing=tuple(filter(None, (_final_sheet(job.final, measures), _parts_sheet(job)))),
        cautions=CAUTIONS,
        hashes=tuple(
            (str(filed.number), photo.side, photo.name, photo.sha256)
            for filed in job.rolls
            for photo in filed.photos
        ),
        footer=_footer(job),
    )  # fmt: skip


def _footer(job: Job) -> str:
    made_by = sorted({f"{r.version}" for r in job.rolls if r.version} | {__version__})
    return (
        f"Job {job.id} · {job.uid} · opened {job.opened_at[:10]}, changed {job.changed_at[:10]} · "
        f"contact-pattern {', '.join(made_by)}"
    )


def _job_sheet(job: Job) -> Sheet:
    rows = [("Customer", job.customer), ("Vehicle", job.vehicle), ("Opened", job.opened_at[:10]),
            ("Status", job.status)]  # fmt: skip
    if job.tags:
        rows.append(("Tags", ", ".join(job.tags)))
    return Sheet("Job", tuple(row for row in rows if row[1]), job.notes)


def _axle_sheet(axle: Axle | None, measures: Measures) -> Sheet | None:
    if axle is None:
        return None
    counts = f"{axle.ring_teeth} / {axle.pinion_teeth} = {axle.ratio:.3f}"
    rows = [
        ("Ring gear / pinion", counts),
        ("Ring gear diameter", measures.size(axle.ring_diameter_in)),
        ("Teeth", f"{axle.tooth_system} depth, {axle.hand}-hand ring gear, {axle.condition} set"),
        ("Backlash limits", f"{measures.number(axle.backlash_min_in)} to "
                            f"{measures.length(axle.backlash_max_in)}, on file; the maker's limits decide"),
        ("Depth shim", f"{measures.length(axle.depth_shim_in)}, {SHIM_PLACES[axle.depth_shim]}"),
        ("Side shims, left / right", _pair(axle.left_shim_in, axle.right_shim_in, measures)),
    ]  # fmt: skip
    return _sheet("Axle", rows, "")


def _as_found_sheet(sheet: AsFound, measures: Measures) -> Sheet | None:
    rows = [
        *_backlash_rows(sheet.backlash_in, sheet.dial, measures),
        ("Depth shim", measures.length(sheet.depth_shim_in)),
        ("Side shims, left / right", _pair(sheet.left_shim_in, sheet.right_shim_in, measures)),
        ("Etched on the pinion", sheet.pinion_mark),
        ("Etched on the ring gear", sheet.ring_mark),
        ("Bearing caps marked", sheet.cap_marks),
        ("Ring gear bolts", str(sheet.ring_bolts or "")),
        ("Drag of the limited-slip unit", measures.torque_ft(sheet.limited_slip_drag_lbf_ft)),
        ("Rotating torque", measures.torque_in(sheet.rotating_torque_lbf_in)),
    ]
    return _sheet("As found", rows, sheet.notes)


def _final_sheet(sheet: FinalSheet, measures: Measures) -> Sheet | None:
    torques = [
        (t.fastener, measures.torque_ft(t.torque_lbf_ft) + (f" ({t.source})" if t.source else ""))
        for t in sheet.torques
    ]
    rows = [
        *_backlash_rows(sheet.backlash_in, sheet.dial, measures),
        ("Depth shim", measures.length(sheet.depth_shim_in)),
        ("Side shims, left / right", _pair(sheet.left_shim_in, sheet.right_shim_in, measures)),
        ("Rotating torque", measures.torque_in(sheet.rotating_torque_lbf_in)),
        ("Case preload by shims", measures.length(sheet.case_preload_in)),
        *torques,
        ("Threadlocker", sheet.threadlocker),
        ("Checked by", sheet.checked_by),
    ]
    return _sheet("Final sheet", rows, sheet.notes)


def _parts_sheet(job: Job) -> Sheet | None:
    rows = [(f"{part.quantity} × {part.name}", part.number or UNKNOWN) for part in job.parts]
    return Sheet("Parts fitted", tuple(rows)) if rows else None


def _sheet(title: str, rows: list[Row], notes: str) -> Sheet | None:
    known = tuple((label, value) for label, value in rows if value not in ("", UNKNOWN))
    return Sheet(title, known, notes) if known or notes else None


def _pair(left_in: float | None, right_in: float | None, measures: Measures) -> str:
    if left_in is None and right_in is None:
        return UNKNOWN
    return f"{measures.length(left_in)} / {measures.length(right_in)}"


def _backlash_rows(readings_in: tuple[float, ...], dial: str, measures: Measures) -> list[Row]:
    if not readings_in:
        return []
    along = "" if dial == "normal" else ", dial along the rotation"
    around = backlash_around(readings_in)
    told = ", ".join(measures.number(value) for value in readings_in)
    rows = [("Backlash", f"{told} {measures.units}{along}")]
    if len(readings_in) > 1:
        spread = f"{measures.number(around.minimum_in)} to {measures.length(around.maximum_in)}"
        rows.append(("Least to most", f"{spread}, {measures.length(around.variation_in)} apart"))
    if around.runout and around.runout.seen:
        full = measures.length(around.runout.full_movement_in)
        rows.append(
            (
                "Once-a-turn runout",
                f"{full} full movement, most at {around.runout.high_at_deg:.0f}°",
            )
        )
    return rows


def _teeth(job: Job) -> tuple[str, str]:
    steps: dict[str, list[tuple[int, SideReading]]] = {"drive": [], "coast": []}
    for filed in job.standing_rolls:
        for side in SIDES:
            if (reading := getattr(filed.roll, side)) is not None:
                steps[side].append((filed.number, reading))
    return (
        tooth_chart("drive", steps["drive"], job.axle),
        tooth_chart("coast", steps["coast"], job.axle),
    )


def _backlash(job: Job, measures: Measures) -> str | None:
    series = [
        Series("as found", job.as_found.backlash_in),
        Series("final", job.final.backlash_in, is_final=True),
    ]
    if not any(line.readings_in for line in series):
        return None
    limits = (job.axle.backlash_min_in, job.axle.backlash_max_in) if job.axle else None
    return backlash_chart(series, limits, measures)


def _roll(job: Job, index: int, measures: Measures) -> RollBlock:
    filed = job.rolls[index]
    before = next((r for r in reversed(job.rolls[:index]) if not r.struck), None)
    rows = [*_move_rows(filed, before, measures)]
    for side in SIDES:
        reading = getattr(filed.roll, side)
        if reading is not None:
            where = place(reading.lengthwise, reading.profile)
            rows.append((f"{side.capitalize()} mark", where))
    if filed.backlash_readings_in:
        rows += _backlash_rows(filed.backlash_readings_in, "normal", measures)
    elif filed.roll.backlash_in is not None:
        rows.append(("Backlash", measures.length(filed.roll.backlash_in)))
    if filed.note:
        rows.append(("Note", filed.note))
    when = filed.filed_at[:16].replace("T", " ")
    by = f", {filed.by}" if filed.by else ""
    title = f"Roll {filed.number}, {KIND_WORDS[filed.kind]} · {when} UTC{by}"
    advice = _advice_lines(filed.advice, job.axle, measures) if filed.advice else ()
    return RollBlock(title, tuple(rows), advice, filed.photos, filed.struck)


def _move_rows(filed: FiledRoll, before: FiledRoll | None, measures: Measures) -> list[Row]:
    rows = []
    advised = before.advice if before else None
    for label, made, told in (
        ("Pinion moved", filed.roll.pinion_move_in, advised.pinion_move_in if advised else None),
        ("Ring moved", filed.roll.ring_move_in, advised.ring_move_in if advised else None),
    ):
        words = measures.pinion_move if label.startswith("Pinion") else measures.ring_move
        if made is None and told is None:
            continue
        against = f" (advised: {words(told)})" if told is not None else ""
        rows.append((label, (words(made) if made is not None else "not recorded") + against))
    return rows


def _chance(advice: Advice) -> str:
    if advice.chance is None:
        return ""
    when = "after the move" if advice.verdict == "adjust" else "as it is"
    size = "over 99%" if advice.chance > 0.99 else f"{advice.chance:.0%}"
    return f" · good pattern {when}: {size} likely"


def _advice_lines(advice: Advice, axle: Axle | None, measures: Measures) -> tuple[str, ...]:
    lines = [f"Advice: {advice.verdict}{_chance(advice)}"]
    if advice.pinion_move_in is not None:
        shim = (
            f"; depth shim {measures.length(advice.depth_shim_in)}" if advice.depth_shim_in else ""
        )
        moved = measures.pinion_move(advice.pinion_move_in, advice.pinion_move_sd_in)
        lines.append(f"Pinion: {moved}{shim}")
    if advice.ring_move_in is not None:
        shims = ""
        if advice.left_shim_in is not None or advice.right_shim_in is not None:
            shims = f"; side shims {_pair(advice.left_shim_in, advice.right_shim_in, measures)}"
        lines.append(
            f"Ring gear: {measures.ring_move(advice.ring_move_in, advice.ring_move_sd_in)}{shims}"
        )
    why = [reason for reason in advice.reasons if not reason.startswith(_SAID_ALREADY)]
    return (*lines, *(told_in(reason, measures.units) for reason in why[:2]))
