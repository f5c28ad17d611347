"""Turn pydantic's findings into the one clean line of the error family, with the field named."""

from __future__ import annotations

import reprlib

from pydantic import ValidationError

from pattern.errors import InvalidAxle


def invalid_field(fault: ValidationError, origin: str = "") -> InvalidAxle:
    """The first finding as `InvalidAxle`, its subject ``origin: field.path``."""
    first = fault.errors()[0]
    path = ".".join(str(part) for part in first["loc"])
    subject = ": ".join(part for part in (origin, path) if part)
    if first["type"] == "missing":
        return InvalidAxle("is missing", subject=subject, remedy="Add this field")
    if first["type"] == "extra_forbidden":
        return InvalidAxle(
            "is not a known field", subject=subject, remedy="Check the spelling, or remove it"
        )
    remedy = "Give a list, [...]" if first["type"] == "tuple_type" else first["msg"]
    return InvalidAxle(
        f"{reprlib.repr(first['input'])} is not accepted", subject=subject, remedy=remedy
    )
