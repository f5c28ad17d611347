"""The passphrase of the shop's network."""

from __future__ import annotations

import stat

import pytest

from app.passphrase import make_lock, opens, pass_holds, read_lock, scrypt, sign_pass, write_lock
from pattern.errors import InvalidSettings

# RFC 7914 section 12, "Test Vectors for scrypt" (from memory; the fourth, of 1 GiB, is left out).
VECTORS = [
    (
        b"",
        b"",
        (16, 1, 1),
        "77d6576238657b203b19ca42c18a0497f16b4844e3074ae8dfdffa3fede21442"
        "fcd0069ded0948f8326a753a0fc81f17e8d3e0fb2e0d3628cf35e20c38d18906",
    ),
    (
        b"password",
        b"NaCl",
        (1024, 8, 16),
        "fdbabe1c9d3472007856e7190d01e9fe7c6ad7cbc8237830e77376634b373162"
        "2eaf30d92e22a3886ff109279d9830dac727afb94a83ee6d8360cbdfa2cc0640",
    ),
    (
        b"pleaseletmein",
        b"SodiumChloride",
        (16384, 8, 1),
        "7023bdcb3afd7348461c06cd81fd38ebfda8fbba904f8e3ea9b543f6545da1f2"
        "d5432955613f0fcf62d49705242a9af9e61e85dc0d651e40dfcf017b45575887",
    ),
]


@pytest.mark.parametrize(("passphrase", "salt", "cost", "expected"), VECTORS)
def test_the_hash_is_scrypt_of_rfc_7914(
    passphrase: bytes, salt: bytes, cost: tuple[int, int, int], expected: str
) -> None:
    n, r, p = cost
    assert scrypt(passphrase, salt, n=n, r=r, p=p, length=64).hex() == expected


def test_only_the_passphrase_opens_the_lock() -> None:
    lock = make_lock("paint roll read shim")
    assert opens(lock, "paint roll read shim")
    assert not opens(lock, "paint roll read shin")
    assert not opens(lock, "")


def test_the_stored_file_holds_no_passphrase_and_only_its_owner_may_read_it(tmp_path) -> None:
    file = tmp_path / "deep" / "lock.json"
    write_lock(file, make_lock("paint roll read shim"))
    assert "paint" not in file.read_text()
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    stored = read_lock(file)
    assert stored is not None
    assert opens(stored, "paint roll read shim")


def test_a_short_passphrase_is_refused_with_a_remedy() -> None:
    with pytest.raises(InvalidSettings, match="8 characters"):
        make_lock("shims")


def test_a_damaged_lock_file_is_named_and_never_taken_as_open(tmp_path) -> None:
    file = tmp_path / "lock.json"
    assert read_lock(file) is None
    file.write_text('{"salt": ')
    with pytest.raises(InvalidSettings, match=r"lock\.json"):
        read_lock(file)


def test_a_pass_runs_out_and_cannot_be_lengthened() -> None:
    lock = make_lock("paint roll read shim")
    until, signature = sign_pass(lock, 2_000).split(".")
    assert pass_holds(lock, f"{until}.{signature}", now=1_999)
    assert not pass_holds(lock, f"{until}.{signature}", now=2_001)
    assert not pass_holds(lock, f"3000.{signature}", now=1_999)
    assert not pass_holds(lock, "", now=1_999)
    assert not pass_holds(lock, "²000.x", now=1_999)


def test_a_new_passphrase_voids_the_passes_of_the_old_one() -> None:
    old = sign_pass(make_lock("paint roll read shim"), 2_000)
    assert not pass_holds(make_lock("paint roll read shim"), old, now=1_000)
