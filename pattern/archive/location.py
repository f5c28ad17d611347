"""Where an archive lies: a folder by default, a PostgreSQL URL for several benches."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import platformdirs

from pattern.errors import InvalidSettings

VARIABLE = "CONTACT_PATTERN_ARCHIVE"
DATABASE_NAME = "jobs.sqlite"


@dataclass(frozen=True)
class Location:
    """A place that can hold an archive.

    `folder` holds the SQLite file, the photos and the thumbnails; it is None for a server, where
    `database_url` names the database and `photos` the photo store (any fsspec URL).
    """

    database_url: str
    folder: Path | None
    photos: str | None = None

    @property
    def database_file(self) -> Path | None:
        """The SQLite file, or None for a server."""
        return self.folder / DATABASE_NAME if self.folder else None

    def __str__(self) -> str:
        return str(self.folder) if self.folder else self.database_url.rsplit("@", 1)[-1]


def find_location(
    given: str | Path | None = None, environment: Mapping[str, str] | None = None
) -> Location:
    """The given place, else CONTACT_PATTERN_ARCHIVE, else the user's data folder.

    A server is given as ``postgresql+psycopg://USER@HOST/NAME?photos=URL``; `photos` names a shared
    folder (the same path on every bench) or an object store and is needed once, when the archive is
    made. Raises InvalidSettings.
    """
    variables = os.environ if environment is None else environment
    text = str(given or variables.get(VARIABLE) or "")
    if not text:
        return _folder(Path(platformdirs.user_data_dir("contact-pattern", appauthor=False)))
    if "://" in text:
        return _server(text)
    return _folder(Path(text).expanduser())


def _folder(folder: Path) -> Location:
    if folder.is_file():
        raise InvalidSettings(
            "is a file", subject=str(folder), remedy="Give the folder that holds the archive"
        )
    folder = folder.absolute()
    return Location(f"sqlite+pysqlite:///{folder / DATABASE_NAME}", folder)


def _server(text: str) -> Location:
    from sqlalchemy.engine import make_url
    from sqlalchemy.exc import ArgumentError

    try:
        url = make_url(text)
    except (ArgumentError, ValueError) as fault:
        raise InvalidSettings(
            "is no database URL",
            subject=re.sub(r"//.*@", "//…@", text),  # a password may stand there
            remedy="Give one as in postgresql+psycopg://USER@HOST/NAME",
        ) from fault
    if not url.drivername.startswith("postgresql"):
        raise InvalidSettings(
            f"{url.drivername!r} is not supported",
            subject="archive",
            remedy="Give a folder, or a postgresql+psycopg:// URL",
        )
    photos = url.query.get("photos")
    if isinstance(photos, str) and "://" not in photos:
        photos = str(Path(photos).expanduser().absolute())
    plain = url.difference_update_query(["photos"])
    if plain.drivername == "postgresql":  # SQLAlchemy would look for another driver than ours
        plain = plain.set(drivername="postgresql+psycopg")
    return Location(
        plain.render_as_string(hide_password=False),
        None,
        photos if isinstance(photos, str) else None,
    )
