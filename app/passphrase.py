"""The passphrase of the shop's network: kept as a scrypt hash (RFC 7914), never in clear."""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
import os
import secrets
from dataclasses import asdict, dataclass
from pathlib import Path

from pattern.errors import InvalidSettings

SHORTEST = 8
_COST = 2**15  # with r = 8 and p = 1: 32 MiB and about a tenth of a second for each try
_MEMORY_BYTES = 64 * 1024 * 1024


@dataclass(frozen=True)
class Lock:
    """What is stored: salt, hash, and the secret that signs the passes handed to browsers."""

    salt: str
    hash: str
    signing: str


def make_lock(passphrase: str) -> Lock:
    """Hash a new passphrase; every pass signed before becomes void. Raises InvalidSettings."""
    if len(passphrase.strip()) < SHORTEST:
        raise InvalidSettings(
            f"shorter than {SHORTEST} characters",
            subject="passphrase",
            remedy="Four or five unrelated words are easy to type on a phone and hard to guess",
        )
    salt = secrets.token_bytes(16)
    return Lock(
        _text(salt), _text(scrypt(passphrase.encode(), salt)), _text(secrets.token_bytes(32))
    )


def opens(lock: Lock, passphrase: str) -> bool:
    """Whether this is the passphrase; takes the same time either way."""
    given = scrypt(passphrase.encode(), base64.b64decode(lock.salt))
    return hmac.compare_digest(given, base64.b64decode(lock.hash))


def scrypt(
    passphrase: bytes, salt: bytes, *, n: int = _COST, r: int = 8, p: int = 1, length: int = 32
) -> bytes:
    """RFC 7914 section 6, from the standard library, with room for the memory that it asks."""
    return hashlib.scrypt(passphrase, salt=salt, n=n, r=r, p=p, dklen=length, maxmem=_MEMORY_BYTES)


def sign_pass(lock: Lock, until: int) -> str:
    """A pass for one browser, good until this Unix time in seconds."""
    return f"{until}.{_signature(lock, until)}"


def pass_holds(lock: Lock, value: str, now: float) -> bool:
    """Whether a browser's pass was signed by this lock and has not run out."""
    until, _, signature = value.partition(".")
    if not until.isascii() or not until.isdigit() or len(until) > 12 or int(until) < now:
        return False
    return hmac.compare_digest(signature.encode(), _signature(lock, int(until)).encode())


def read_lock(file: Path) -> Lock | None:
    """The stored lock, None where none was set. Raises InvalidSettings for a damaged file."""
    try:
        return Lock(**json.loads(file.read_text(encoding="utf-8")))
    except FileNotFoundError:
        return None
    except (OSError, ValueError, TypeError) as fault:
        raise InvalidSettings(
            "cannot be read", subject=str(file), remedy="Set a new one with --new-passphrase"
        ) from fault


def write_lock(file: Path, lock: Lock) -> None:
    """Store it readable by this user only, whole or not at all."""
    file.parent.mkdir(parents=True, exist_ok=True)
    part = file.with_suffix(".part")
    handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(handle, "w", encoding="utf-8") as stream:
        json.dump(asdict(lock), stream)
    part.replace(file)


def _signature(lock: Lock, until: int) -> str:
    mark = hmac.new(base64.b64decode(lock.signing), str(until).encode(), hashlib.sha256)
    return mark.hexdigest()


def _text(raw: bytes) -> str:
    return base64.b64encode(raw).decode()
