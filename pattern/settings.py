"""Validated settings: defaults here, a TOML file over them, the environment over both. No globals.

Environment variables are the field names in capitals after ``CONTACT_PATTERN_``, for example
``CONTACT_PATTERN_MAX_MEGAPIXELS=60``. A reading and an advice carry `Settings.fingerprint`.
"""

from __future__ import annotations

import hashlib
import os
import reprlib
import tomllib
from collections.abc import Mapping
from pathlib import Path

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from pattern.errors import InvalidSettings

ENVIRONMENT_PREFIX = "CONTACT_PATTERN_"
NOT_SETTINGS = ("archive", "passphrase", "phone_url")
"""Variables with that prefix that say where and how the program runs, not how it reads."""


class Settings(BaseModel):
    """Everything that changes a reading or an advice without being data of the job."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    max_megapixels: float = Field(
        60.0, gt=0.1, le=200, description="larger photos are refused before decoding"
    )
    tooth_min_px: float = Field(
        45.0, ge=20, description="shortest tooth length that is read, in full-resolution pixels"
    )
    tooth_confidence: float = Field(0.5, gt=0, lt=1, description="teeth below this are left out")
    film_mm: float = Field(
        0.00635, gt=0.001, lt=0.1, description="thickness of the marking film, mm"
    )
    accept_chance: float = Field(
        0.95, gt=0.5, lt=1, description="chance of being right at which a pattern is accepted"
    )

    @property
    def fingerprint(self) -> str:
        """First 12 hex digits of the SHA-256 of the values, written with every result."""
        return hashlib.sha256(self.model_dump_json().encode()).hexdigest()[:12]


def load_settings(
    file: Path | None = None, environment: Mapping[str, str] | None = None
) -> Settings:
    """Defaults, then the TOML file, then the environment.

    Raises InvalidSettings naming the key and what is allowed.
    """
    values: dict[str, object] = {}
    if file is not None:
        values |= _read_toml(file)
        for key in values:
            _must_be_known(key, f"{file}: {key}")
    for name, text in (os.environ if environment is None else environment).items():
        key = name.removeprefix(ENVIRONMENT_PREFIX).lower()
        if not name.startswith(ENVIRONMENT_PREFIX) or key in NOT_SETTINGS:
            continue
        _must_be_known(key, name)
        values[key] = text
    try:
        return Settings.model_validate(values)
    except ValidationError as fault:
        first = fault.errors()[0]
        raise InvalidSettings(
            first["msg"],
            subject=".".join(str(part) for part in first["loc"]) or str(file),
            remedy=f"Given: {reprlib.repr(first['input'])}; correct the settings file or the environment variable",
        ) from fault


def _must_be_known(key: str, subject: str) -> None:
    if key not in Settings.model_fields:
        raise InvalidSettings(
            "is no setting", subject=subject, remedy="Known: " + ", ".join(Settings.model_fields)
        )


def _read_toml(file: Path) -> dict[str, object]:
    try:
        return tomllib.loads(file.read_text(encoding="utf-8"))
    except OSError as fault:
        raise InvalidSettings(
            f"cannot be opened ({fault.strerror})",
            subject=str(file),
            remedy="Check the file's name",
        ) from fault
    except (ValueError, RecursionError) as fault:  # also: nested too deep, a number too long
        raise InvalidSettings(
            f"is not TOML: {fault}", subject=str(file), remedy="Correct that line"
        ) from fault
