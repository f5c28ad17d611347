"""The axle and its rolls as JSON or TOML, read with messages that name the field, and written back.

A case is ``{"axle": {...}, "rolls": [{...}, ...]}``, oldest roll first; the fields are those of the
records `Axle`, `Roll` and `SideReading`. Any length may be given in millimetres instead, ``_mm`` for
``_in``. A side of a roll may also be one line of ``contact-pattern read --json``. Unknown fields and
doubled keys are refused: a misspelt field would otherwise be a silent guess.
"""

from __future__ import annotations

import dataclasses
import difflib
import json
import reprlib
import tomllib
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, TypeVar, get_type_hints

from pydantic import BaseModel, ConfigDict, ValidationError, create_model

from pattern.errors import InvalidAxle
from pattern.records import MM_PER_IN, SIDES, Axle, Roll, Side, SideReading
from pattern.setup.ratio import check_ratio, counts_for_ratio
from pattern.setup.validation import invalid_field

Fields = Mapping[str, Any]
Record = TypeVar("Record", Axle, Roll, SideReading)


# --- files --------------------------------------------------------------------------------------


def load_axle(path: Path) -> Axle:
    """The axle in a JSON or TOML file, by itself or as part of a case. Raises InvalidAxle."""
    fields = _read_file(path)
    return _named(path, lambda: axle_from_fields(fields.get("axle", fields)))


def load_case(path: Path) -> tuple[Axle, list[Roll]]:
    """The axle and its rolls in a JSON or TOML file. Raises InvalidAxle naming file and field."""
    fields = _read_file(path)
    return _named(path, lambda: case_from_fields(fields))


def parse_case(text: str, origin: str = "") -> tuple[Axle, list[Roll]]:
    """The axle and its rolls from JSON text. Raises InvalidAxle naming `origin` and the field."""
    return _named(origin, lambda: case_from_fields(_read_json(text)))


def case_json(axle: Axle, rolls: Sequence[Roll]) -> str:
    """JSON text that `parse_case` reads back to equal records."""
    body = {"axle": axle_fields(axle), "rolls": [roll_fields(roll) for roll in rolls]}
    return json.dumps(body, indent=2, allow_nan=False)


# --- fields to records --------------------------------------------------------------------------


def case_from_fields(fields: Fields) -> tuple[Axle, list[Roll]]:
    """The axle and its rolls from a mapping. Raises InvalidAxle naming the field."""
    _only(fields, ("axle", "rolls"), "the case")
    for name in ("axle", "rolls"):
        if name not in fields:
            raise InvalidAxle(
                "is missing",
                subject=name,
                remedy='Give {"axle": {...}, "rolls": [...]}, the oldest roll first',
            )
    axle = _under("axle", lambda: axle_from_fields(fields["axle"]))
    if not isinstance(fields["rolls"], list | tuple):
        raise InvalidAxle("is not a list", subject="rolls", remedy="Give [...], oldest first")
    rolls = [
        _under(f"rolls.{index}", lambda roll=roll: roll_from_fields(roll))  # type: ignore[misc]
        for index, roll in enumerate(fields["rolls"])
    ]
    _check_first(rolls)
    return axle, rolls


def axle_from_fields(fields: Fields) -> Axle:
    """An axle from a mapping; `target` is ``{"drive": {...}, "coast": {...}}``, either one alone.

    Raises InvalidAxle naming the field.
    """
    given = dict(_mapping(fields, "an axle"))
    stamped = given.pop("ratio", None)
    if stamped is not None:
        _need_counts(given, stamped)
    target = given.pop("target", None)
    if target is not None:
        given["target"] = _under("target", lambda: _target(target))
    axle = _record(Axle, given)
    if stamped is not None:
        check_ratio(stamped, axle.ring_teeth, axle.pinion_teeth)
    return axle


def roll_from_fields(fields: Fields) -> Roll:
    """A roll from a mapping. Raises InvalidAxle naming the field."""
    given = dict(_mapping(fields, "a roll"))
    for side in SIDES:
        given[side] = _under(side, lambda side=side: _side(given.get(side), side))  # type: ignore[misc]
    return _record(Roll, given)


def side_from_fields(fields: Fields) -> SideReading:
    """One side's reading from a mapping. Raises InvalidAxle naming the field."""
    return _record(SideReading, dict(_mapping(fields, "a side reading")))


# --- records to fields --------------------------------------------------------------------------


def axle_fields(axle: Axle) -> dict[str, Any]:
    """An axle as plain values; `axle_from_fields` reads them back."""
    fields = _plain(axle)
    if axle.target is not None:
        fields["target"] = {
            side: None if reading is None else _plain(reading)
            for side, reading in zip(SIDES, axle.target, strict=True)
        }
    return fields


def roll_fields(roll: Roll) -> dict[str, Any]:
    """A roll as plain values; `roll_from_fields` reads them back."""
    fields = _plain(roll)
    for side in SIDES:
        reading = getattr(roll, side)
        fields[side] = None if reading is None else _plain(reading)
    return fields


def _plain(record: Axle | Roll | SideReading) -> dict[str, Any]:
    """Fields in order; numpy's numbers as Python's, tuples as lists."""
    return {
        field.name: _native(getattr(record, field.name)) for field in dataclasses.fields(record)
    }


def _native(value: Any) -> Any:
    if isinstance(value, tuple):
        return [_native(item) for item in value]
    return value.item() if hasattr(value, "item") else value


# --- validation ---------------------------------------------------------------------------------


def _model(record: type[Any]) -> type[BaseModel]:
    """A pydantic model with the record's own fields, types and defaults.

    Nested readings are built before and pass through as they are.
    """
    hints = get_type_hints(record)
    definitions: dict[str, Any] = {
        field.name: (
            hints[field.name],
            ... if field.default is dataclasses.MISSING else field.default,
        )
        for field in dataclasses.fields(record)
    }
    config = ConfigDict(
        extra="forbid", strict=True, allow_inf_nan=False, arbitrary_types_allowed=True
    )
    return create_model(f"{record.__name__}Fields", __config__=config, **definitions)


_MODELS: dict[type, type[BaseModel]] = {
    record: _model(record) for record in (Axle, Roll, SideReading)
}

_WORDS: dict[type, str] = {Axle: "an axle", Roll: "a roll", SideReading: "a side reading"}


def _record(record: type[Record], fields: dict[str, Any]) -> Record:
    model = _MODELS[record]
    in_inches = _inches(fields, model)
    _only(in_inches, tuple(model.model_fields), _WORDS[record])
    values = {
        name: tuple(value) if isinstance(value, list) else value
        for name, value in in_inches.items()
    }
    try:
        model.model_validate(values)
    except ValidationError as fault:
        raise invalid_field(fault) from fault
    build: Callable[..., Record] = record
    return build(**values)


def _inches(fields: dict[str, Any], model: type[BaseModel]) -> dict[str, Any]:
    """Lengths given as ``_mm`` under their ``_in`` names."""
    converted: dict[str, Any] = {}
    for name, value in fields.items():
        inch_name = name.removesuffix("_mm") + "_in"
        if not (name.endswith("_mm") and inch_name in model.model_fields):
            converted[name] = value
        elif inch_name in fields:
            raise InvalidAxle(
                f"is given as {inch_name} too", subject=name, remedy="Give one of the two"
            )
        else:
            converted[inch_name] = None if value is None else _from_mm(name, value)
    return converted


def _from_mm(name: str, value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 1e6:
        raise InvalidAxle(
            f"{reprlib.repr(value)} is not a length", subject=name, remedy="Give millimetres"
        )
    return value / MM_PER_IN


def _need_counts(given: Fields, stamped: Any) -> None:
    """A stamped ratio never stands in for the counts; it only names the likely ones."""
    if {"ring_teeth", "pinion_teeth"} <= given.keys():
        return
    likely = ", ".join(f"{c.ring_teeth}/{c.pinion_teeth}" for c in counts_for_ratio(stamped)[:4])
    raise InvalidAxle(
        f"a ratio of {stamped} does not settle the tooth counts",
        subject="ring_teeth",
        remedy=f"Count them; likely are {likely}",
    )


def _target(target: Any) -> tuple[SideReading | None, SideReading | None]:
    if isinstance(target, list | tuple) and len(target) == 2:
        target = dict(zip(SIDES, target, strict=True))
    given = _mapping(target, "the target")
    _only(given, SIDES, "the target")
    drive, coast = (_under(side, lambda side=side: _side(given.get(side), side)) for side in SIDES)  # type: ignore[misc]
    if drive is None and coast is None:
        raise InvalidAxle("names no side", remedy="Give the as-found drive or coast reading")
    return drive, coast


def _side(given: Any, side: Side) -> SideReading | None:
    """A side reading as fields, as a record, or as a line that the reader printed."""
    if given is None or isinstance(given, SideReading):
        return given
    fields = _mapping(given, "a side reading")
    if "status" not in fields:
        return side_from_fields(fields)
    if fields.get("side") != side:
        raise InvalidAxle(
            f"the reading is of the {fields.get('side')} side",
            remedy="Put drive readings under drive and coast readings under coast",
        )
    if fields["status"] != "read":
        return None
    return _from_line(fields)


def _from_line(fields: Fields) -> SideReading:
    """What the advice needs of one line of ``contact-pattern read --json``."""
    names = ("lengthwise", "profile", "lengthwise_sd", "profile_sd", "tilt_deg")
    wanted: dict[str, Any] = {name: fields.get(name) for name in names}
    extent = fields.get("extent")
    if extent is not None:
        spans = _mapping(extent, "an extent")
        for name, axis in (("length", "lengthwise"), ("width", "profile")):
            wanted[name] = _span(spans.get(axis), axis)
    flags = fields.get("flags", ())
    if not isinstance(flags, list | tuple):
        raise InvalidAxle(
            f"{reprlib.repr(flags)} is not a list",
            subject="flags",
            remedy="Give the line as the reader printed it",
        )
    wanted["bands"] = 2 if "two_bands" in flags else 1
    return side_from_fields(wanted)


def _span(ends: Any, axis: str) -> float:
    """The length between the two ends of an extent."""
    if isinstance(ends, list | tuple) and len(ends) == 2:
        low, high = ends
        if isinstance(low, int | float) and isinstance(high, int | float):
            return high - low
    raise InvalidAxle(
        f"{reprlib.repr(ends)} is not two numbers",
        subject=f"extent.{axis}",
        remedy="Give the line as the reader printed it",
    )


def _check_first(rolls: Sequence[Roll]) -> None:
    if not rolls:
        return
    for name in ("pinion_move_in", "ring_move_in"):
        move = getattr(rolls[0], name)
        if move:
            raise InvalidAxle(
                f"{move:+.4f} in before the first roll",
                subject=f"rolls.0.{name}",
                remedy="A move belongs to the roll made after it; leave it out on the first roll",
            )


def _only(fields: Fields, known: Sequence[str], what: str) -> None:
    for name in fields:
        if name not in known:
            near = difflib.get_close_matches(str(name), known, n=1)
            remedy = f"Did you mean {near[0]}?" if near else "Known are " + ", ".join(known)
            raise InvalidAxle(f"is not a field of {what}", subject=str(name), remedy=remedy)


def _mapping(fields: Any, what: str) -> Fields:
    if not isinstance(fields, Mapping):
        raise InvalidAxle(
            f"{reprlib.repr(fields)} is not {what}", remedy='Give fields as {"name": value, ...}'
        )
    return fields


# --- where a fault lies -------------------------------------------------------------------------

Result = TypeVar("Result")


def _under(prefix: str, build: Callable[[], Result]) -> Result:
    """Put the place before the field's name in any fault."""
    try:
        return build()
    except InvalidAxle as fault:
        subject = f"{prefix}.{fault.subject}" if fault.subject else prefix
        raise InvalidAxle(fault.what, subject=subject, remedy=fault.remedy) from fault


def _named(origin: str | Path, build: Callable[[], Result]) -> Result:
    """Put the file's name before the field in any fault."""
    try:
        return build()
    except InvalidAxle as fault:
        subject = ": ".join(part for part in (str(origin), fault.subject) if part)
        raise InvalidAxle(fault.what, subject=subject, remedy=fault.remedy) from fault


def _read_file(path: Path) -> Fields:
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as fault:
        reason = fault.strerror if isinstance(fault, OSError) else "it is not text"
        raise InvalidAxle(
            f"cannot be read: {reason}", subject=str(path), remedy="Give a JSON or TOML file"
        ) from fault
    if path.suffix.lower() != ".toml":
        return _named(path, lambda: _read_json(text))
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as fault:  # also: nested too deep, a number too long
        raise InvalidAxle(
            f"is not TOML: {fault}", subject=str(path), remedy="Correct that line"
        ) from fault


def _read_json(text: str) -> Fields:
    try:
        fields = json.loads(text, object_pairs_hook=_unique)
    except json.JSONDecodeError as fault:
        raise InvalidAxle(
            f"is not JSON: {fault.msg} in line {fault.lineno}", remedy="Correct that line"
        ) from fault
    except InvalidAxle:
        raise
    except (RecursionError, ValueError) as fault:
        raise InvalidAxle(
            "is not JSON that can be read: nested too deep, or a number too long",
            remedy="Give a case file",
        ) from fault
    return _mapping(fields, "an axle or a case")


def _unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    fields = dict(pairs)
    if len(fields) < len(pairs):
        doubled = next(name for name, _ in pairs if sum(name == other for other, _ in pairs) > 1)
        raise InvalidAxle("is given twice", subject=doubled, remedy="Keep one of the two")
    return fields
