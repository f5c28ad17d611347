"""The photo store: original bytes under their SHA-256, through fsspec.

A local folder is written durably (see `durable`). An object store puts an object whole or not at all,
by its own protocol; what it gives back is hashed again, like everything else.
"""

from __future__ import annotations

import hashlib
import re
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import fsspec
from fsspec.implementations.local import LocalFileSystem
from sqlalchemy import Connection, select

from pattern.archive.durable import sync_folder, write_durably
from pattern.archive.location import Location
from pattern.archive.schema import facts
from pattern.errors import ArchiveDamaged, ArchiveUnavailable, InvalidSettings

_NAME = re.compile(r"[0-9a-f]{64}")
_FLAT = {"s3", "s3a", "gs", "gcs", "abfs", "az"}
"""Object stores: there are no folders, and making one would make a bucket that nobody asked for."""
_FOREIGN = (
    ("botocore.exceptions", "BotoCoreError"),
    ("botocore.exceptions", "ClientError"),
    ("aiohttp.client_exceptions", "ClientError"),
)
"""What a store's client raises beside OSError; looked up only where that client is loaded."""


def digest(data: bytes) -> str:
    """SHA-256 in hex (FIPS 180-4)."""
    return hashlib.sha256(data).hexdigest()


class PhotoStore:
    """Photos by content. `url` is a folder or any URL that fsspec knows."""

    def __init__(self, url: str) -> None:
        self.url = url
        self._files, root = _opened(url)
        self._root = str(root).rstrip("/")
        self._is_local = isinstance(self._files, LocalFileSystem)
        protocol = self._files.protocol
        self._is_flat = bool(
            _FLAT & {protocol} if isinstance(protocol, str) else _FLAT & {*protocol}
        )

    def put(self, data: bytes) -> str:
        """Store the bytes, if they are not there whole already, and return their SHA-256.

        Raises ArchiveUnavailable when the place refuses; then nothing half is left.
        """
        sha256 = digest(data)
        try:
            if self._is_local and not Path(self._root).parent.is_dir():
                raise FileNotFoundError(2, "the folder is no longer there")
            whole = self._is_whole(sha256, len(data))
            if whole and self._is_local:  # a writer killed just before may not have come to this
                sync_folder(Path(self._key(sha256)).parent)
            elif self._is_local:
                write_durably(Path(self._key(sha256)), data)
            elif not whole:
                if not self._is_flat:
                    self._files.makedirs(self._key(sha256).rsplit("/", 1)[0], exist_ok=True)
                self._files.pipe_file(self._key(sha256), data)
        except _faults() as fault:
            raise self._refused("cannot be stored", fault) from fault
        return sha256

    def get(self, sha256: str) -> bytes:
        """The original bytes, re-hashed. Raises ArchiveDamaged if missing or changed."""
        key = self._key(sha256)
        try:
            data = bytes(self._files.cat_file(key))
        except FileNotFoundError as fault:
            raise _damaged(sha256, "is missing") from fault
        except _faults() as fault:
            raise self._refused("cannot be read", fault) from fault
        if digest(data) != sha256:
            raise _damaged(sha256, "is no longer what was stored")
        return data

    def has(self, sha256: str) -> bool:
        """Whether a file of that name is there; `get` says whether it is whole."""
        try:
            return bool(self._files.exists(self._key(sha256)))
        except _faults() as fault:
            raise self._refused("cannot be looked for", fault) from fault

    def local_path(self, sha256: str) -> Path | None:
        """The file on this machine, or None for a store elsewhere. Never write to it."""
        return Path(self._key(sha256)) if self._is_local else None

    def remove(self, sha256: str) -> None:
        """Take a photo out that nothing names."""
        try:
            self._files.rm_file(self._key(sha256))
        except _faults() as fault:
            raise self._refused("cannot be removed", fault) from fault

    def names(self) -> Iterator[str]:
        """Every photo's SHA-256 in the store."""
        yield from (name for name in self._files_below() if _NAME.fullmatch(name))

    def strays(self) -> Iterator[str]:
        """Files in the store that are no photos; those of an interrupted write end in ``.part``."""
        yield from (name for name in self._files_below() if not _NAME.fullmatch(name))

    def remove_leftovers(self, before: float) -> list[str]:
        """Take out what writes interrupted before that time (seconds) left behind; their names."""
        removed = []
        for part in Path(self._root).rglob(".*.part") if self._is_local else ():
            if part.stat().st_mtime < before:
                part.unlink(missing_ok=True)
                removed.append(part.name)
        return removed

    def _files_below(self) -> Iterator[str]:
        try:
            found = self._files.find(self._root)
        except FileNotFoundError:
            return
        except _faults() as fault:
            raise self._refused("cannot be looked for", fault) from fault
        for path in found:
            yield str(path).rsplit("/", 1)[-1]

    def _is_whole(self, sha256: str, size: int) -> bool:
        key = self._key(sha256)
        if not self._files.exists(key) or int(self._files.size(key) or 0) != size:
            return False
        return digest(bytes(self._files.cat_file(key))) == sha256

    def _key(self, sha256: str) -> str:
        if not _NAME.fullmatch(sha256):
            raise _damaged(sha256, "is no SHA-256 name")
        return f"{self._root}/{sha256[:2]}/{sha256}"

    def _refused(self, what: str, fault: Exception) -> ArchiveUnavailable:
        return ArchiveUnavailable(
            f"a photo {what} ({getattr(fault, 'strerror', None) or fault or type(fault).__name__})",
            subject=self.url,
            remedy="Check the space and the permissions there; nothing was stored half",
        )


def store_of(connection: Connection, location: Location) -> PhotoStore:
    """The store that the archive's own row names. Raises InvalidSettings if the URL names another."""
    kept = connection.execute(select(facts.c.value).where(facts.c.key == "photos")).scalar_one()
    if location.photos is not None and location.photos.rstrip("/") != kept.rstrip("/"):
        raise InvalidSettings(
            f"this archive keeps its photos in {kept}",
            subject=f"photos={location.photos}",
            remedy="Leave ?photos= out, or give the same",
        )
    return PhotoStore(str(location.folder / kept) if location.folder else kept)


def _opened(url: str) -> tuple[Any, str]:
    try:
        found: tuple[Any, str] = fsspec.core.url_to_fs(url, use_listings_cache=False)
    except ImportError as fault:
        raise InvalidSettings(
            f"this kind of photo store needs a package that is not here ({fault})",
            subject=url,
            remedy="For s3:// install it: pip install 'gear-contact-pattern[shared]'",
        ) from fault
    except ValueError as fault:
        raise InvalidSettings(
            f"is no photo store ({fault})", subject=url, remedy="Give a folder or an s3:// URL"
        ) from fault
    return found


def _faults() -> tuple[type[Exception], ...]:
    loaded = [(sys.modules.get(module), name) for module, name in _FOREIGN]
    return (OSError, *(getattr(module, name) for module, name in loaded if module is not None))


def _damaged(sha256: str, what: str) -> ArchiveDamaged:
    return ArchiveDamaged(
        f"photo {sha256[:12]} {what}",
        subject="photo store",
        remedy="Run `contact-pattern archive verify` and restore it from a backup",
    )
