"""The published JSON Schema of an exported job, made from the records: `python -m pattern.archive.published`.

A test keeps `job.schema.json` equal to it. Any change of shape that an old reader would stumble over
raises `package.FORMAT_VERSION`.
"""

from __future__ import annotations

import argparse
import dataclasses
import inspect
import json
import types
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

import numpy as np

from pattern.archive.package import SCHEMA_FILE, PackedEntry, PackedJob
from pattern.archive.sheets import JOB_SECTIONS, READING, ROLL_SECTIONS

_PLAIN = {int: "integer", float: "number", str: "string", bool: "boolean"}


def job_schema() -> dict[str, Any]:
    """The schema, draft 2020-12. Lengths end in ``_in`` (inches), angles in ``_deg``."""
    shapes: dict[str, Any] = {}
    _shape(PackedJob, shapes)
    shapes["PackedEntry"]["allOf"] = [
        *(_rule(name, kind, shapes, of_roll=False) for name, kind in JOB_SECTIONS.items()),
        *(_rule(name, kind, shapes, of_roll=True) for name, kind in ROLL_SECTIONS.items()),
    ]
    top = shapes.pop("PackedJob")
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "A job of gear-contact-pattern, exported",
        **top,
        "$defs": shapes,
    }


def _rule(section: str, kind: Any, shapes: dict[str, Any], *, of_roll: bool) -> dict[str, Any]:
    where = {"type": "string"} if of_roll else {"type": "null"}
    return {
        "if": {"properties": {"section": {"const": section}, "roll": where}},
        "then": {"properties": {"value": _schema(kind, shapes)}},
    }


def _schema(kind: Any, shapes: dict[str, Any]) -> dict[str, Any]:
    origin, arguments = get_origin(kind), get_args(kind)
    if origin in (Union, types.UnionType):
        (inner,) = [option for option in arguments if option is not type(None)]
        return {"anyOf": [_schema(inner, shapes), {"type": "null"}]}
    if isinstance(kind, type) and dataclasses.is_dataclass(kind):
        _shape(kind, shapes)
        return {"$ref": f"#/$defs/{kind.__name__}"}
    if origin is np.ndarray:
        pair = {"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2}
        return {"type": "array", "items": pair}
    if origin is tuple and arguments[-1] is Ellipsis:
        return {"type": "array", "items": _schema(arguments[0], shapes)}
    if origin is tuple:
        count = len(arguments)
        items = [_schema(argument, shapes) for argument in arguments]
        return {"type": "array", "prefixItems": items, "minItems": count, "maxItems": count}
    if origin is dict:
        return {"type": "object", "additionalProperties": _schema(arguments[1], shapes)}
    if origin is Literal:
        return {"enum": list(arguments)}
    return {} if kind is Any else {"type": _PLAIN[kind]}


def _shape(kind: Any, shapes: dict[str, Any]) -> None:
    if kind.__name__ in shapes:
        return
    shapes[kind.__name__] = {}
    hints = get_type_hints(kind)
    fields = dataclasses.fields(kind)
    shapes[kind.__name__] = {
        "description": " ".join(inspect.cleandoc(kind.__doc__ or "").split("\n\n")[0].split()),
        "type": "object",
        "properties": {spec.name: _schema(hints[spec.name], shapes) for spec in fields},
        "required": [spec.name for spec in fields],
        "additionalProperties": False,
    }
    if kind is PackedEntry:
        names = "|".join([*JOB_SECTIONS, *ROLL_SECTIONS])
        shape = {"type": "string", "pattern": f"^({names}|{READING}[0-9]+)$"}
        shapes[kind.__name__]["properties"]["section"] = shape


def main() -> None:
    """The command line: write the file anew."""
    argparse.ArgumentParser(
        prog="python -m pattern.archive.published",
        description=f"Write {SCHEMA_FILE.name}, the JSON Schema of an exported job, anew.",
    ).parse_args()
    text = json.dumps(job_schema(), indent=1, ensure_ascii=False, sort_keys=True)
    SCHEMA_FILE.write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
