"""Records to JSON and back, by their own type hints. One place, so that what is stored stays one shape.

A key the record no longer has is passed over and a key it has gained takes its default, so an old
row reads with a newer program.
"""

from __future__ import annotations

import dataclasses
import functools
import json
import math
import types
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

import numpy as np

from pattern.errors import ArchiveDamaged

_PLAIN_WORDS = {int: "a whole number", float: "a number", str: "a text", bool: "true or false"}


def to_json(record: object) -> str:
    """One line of JSON, keys sorted so that equal records make equal text."""
    return json.dumps(to_data(record), sort_keys=True, ensure_ascii=False, separators=(",", ":"))


def to_data(value: object) -> Any:
    """Plain lists, dicts, numbers and texts. Pixel arrays are kept to a hundredth of a pixel."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: to_data(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, np.ndarray):
        return np.round(value.astype(float), 2).tolist()
    if isinstance(value, dict):
        return {str(key): to_data(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [to_data(item) for item in value]
    if isinstance(value, np.integer | np.bool_):
        return value.item()
    if isinstance(value, float | np.floating):
        return float(value) if math.isfinite(value) else None
    return value


def from_json(kind: Any, text: str, *, where: str = "the archive") -> Any:
    """Rebuild a record. Raises ArchiveDamaged naming `where` if the text does not fit."""
    try:
        return from_data(kind, json.loads(text))
    except (ValueError, TypeError, KeyError, AttributeError) as fault:
        raise ArchiveDamaged(
            f"a stored {getattr(kind, '__name__', kind)} does not fit: {fault}",
            subject=where,
            remedy="Run `contact-pattern archive verify` and restore a backup",
        ) from fault


def from_data(kind: Any, data: Any, *, strict: bool = False) -> Any:
    """Rebuild `kind`, a record type or any type hint used in one, from plain data.

    `strict` refuses keys the record does not have, for what a person typed. Raises ValueError or
    TypeError, or the record's own error naming its field.
    """
    origin, arguments = get_origin(kind), get_args(kind)
    again = functools.partial(from_data, strict=strict)
    if origin in (Union, types.UnionType):
        (inner,) = [option for option in arguments if option is not type(None)]
        return None if data is None else again(inner, data)
    if isinstance(kind, type) and dataclasses.is_dataclass(kind):
        return _record(kind, data, strict)
    if origin is np.ndarray:
        return np.asarray(data, dtype=float).reshape(-1, 2) if data == [] else np.asarray(data)
    if origin is tuple:
        if not isinstance(data, list | tuple):
            raise ValueError(f"{data!r} where a list is expected")
        if arguments[-1:] == (Ellipsis,):
            return tuple(again(arguments[0], item) for item in data)
        return tuple(again(a, item) for a, item in zip(arguments, data, strict=True))
    if origin is dict:
        return {key: again(arguments[1], item) for key, item in data.items()}
    if origin is Literal:
        if data not in arguments:
            raise ValueError(f"{data!r} is none of {', '.join(map(str, arguments))}")
        return data
    return _plain(kind, data)


def _record(kind: type, data: Any, strict: bool) -> Any:
    if not isinstance(data, dict):
        raise ValueError(f"{data!r} where the fields of {kind.__name__} are expected")
    hints = _hints(kind)
    if strict and (unknown := sorted(set(data) - set(hints))):
        raise ValueError(f"{unknown[0]!r} is none of {', '.join(hints)}")
    for spec in dataclasses.fields(kind):
        optional = spec.default, spec.default_factory
        if spec.name not in data and optional == (dataclasses.MISSING, dataclasses.MISSING):
            raise ValueError(f"{spec.name} is missing")
    return kind(
        **{
            name: from_data(hints[name], data[name], strict=strict)
            for name in hints
            if name in data
        }
    )


def _plain(kind: Any, data: Any) -> Any:
    if kind is float and isinstance(data, int) and not isinstance(data, bool):
        return float(data)
    if kind in (int, float, str, bool) and type(data) is not kind:
        raise ValueError(f"{data!r} where {_PLAIN_WORDS[kind]} is expected")
    return data


@functools.cache
def _hints(kind: type) -> dict[str, Any]:
    fields = {f.name for f in dataclasses.fields(kind) if f.init}
    return {name: hint for name, hint in get_type_hints(kind).items() if name in fields}
