"""Which reader made a reading: a name that changes with anything that could change one."""

from __future__ import annotations

import hashlib
from functools import lru_cache
from pathlib import Path

import pattern
from pattern import __version__
from pattern.settings import Settings

_PARTS = ("photo", "teeth", "contact", "reading")
_FILES = ("workflow.py", "flags.py", "records.py")
_KINDS = {".py", ".onnx", ".json", ".toml"}


def reader_name(settings: Settings) -> str:
    """Version, fingerprint of the reader's code and network, fingerprint of the settings.

    Two machines with the same name read alike, as far as their libraries do.
    """
    return f"{__version__}-{_fingerprint()}-{settings.fingerprint}"


@lru_cache(maxsize=1)
def _fingerprint() -> str:
    """First 12 hex digits of the SHA-256 over the files that a reading comes from, by their names."""
    root = Path(pattern.__file__).parent
    files = [root / name for name in _FILES]
    files += [p for part in _PARTS for p in (root / part).rglob("*") if p.suffix in _KINDS]
    whole = hashlib.sha256()
    for file in sorted(files):
        told = hashlib.sha256(file.read_bytes()).hexdigest()
        whole.update(f"{file.relative_to(root).as_posix()} {told}\n".encode())
    return whole.hexdigest()[:12]
