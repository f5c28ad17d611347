"""Harm done to files, as hypothesis strategies: to bytes anywhere, to a JSON or TOML text's values."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

from hypothesis import strategies as st

Harm = Callable[[bytes], bytes]
_BYTES = st.binary(min_size=1, max_size=12)


@st.composite
def byte_harm(draw: st.DrawFn, near_start: bool = False) -> Harm:
    """One to four of: a byte flipped, the end cut off, bytes dropped, doubled, replaced, put in.

    Half of them strike the first 200 bytes, where a picture's header is, if `near_start`.
    """
    harms = draw(st.lists(_one_harm(near_start), min_size=1, max_size=4))

    def harm(data: bytes) -> bytes:
        for one in harms:
            data = one(data)
        return data

    return harm


@st.composite
def _one_harm(draw: st.DrawFn, near_start: bool) -> Harm:
    how = draw(st.sampled_from(["flip", "cut", "drop", "double", "replace", "insert"]))
    at_start = near_start and draw(st.booleans())
    where = draw(st.integers(0, 199)) if at_start else draw(st.floats(0, 1))
    value, length, put = draw(st.integers(1, 255)), draw(st.integers(1, 64)), draw(_BYTES)

    def harm(data: bytes) -> bytes:
        if not data:
            return put
        at = min(where, len(data) - 1) if isinstance(where, int) else int(where * (len(data) - 1))
        return {
            "flip": lambda: data[:at] + bytes([data[at] ^ value]) + data[at + 1 :],
            "cut": lambda: data[:at],
            "drop": lambda: data[:at] + data[at + length :],
            "double": lambda: data[: at + length] + data[at:],
            "replace": lambda: data[:at] + put + data[at + len(put) :],
            "insert": lambda: data[:at] + put + data[at:],
        }[how]()

    return harm


# --- values of a JSON or TOML text ---------------------------------------------------------------------

ODD: list[Any] = [
    None, True, False, 0, -1, 1, 2**63, -(2**70), 1e308, -1e308, 5e-324, 0.004, 41, "", "0.004", "nan",
    "\x00", "‮", "a" * 3000, [], [[]], {}, {"": None}, [1, 2], {"drive": 1}, float("inf"), float("nan"),
]  # fmt: skip


@st.composite
def value_harm(draw: st.DrawFn) -> Callable[[Any], Any]:
    """One to three places in a tree of dicts and lists: its value replaced, left out, doubled, named
    anew, or wrapped."""
    steps = draw(
        st.lists(
            st.tuples(
                st.lists(st.floats(0, 1, exclude_max=True), min_size=1, max_size=6),
                st.sampled_from(["replace", "drop", "double", "rename", "wrap"]),
                st.sampled_from(ODD) | st.floats() | st.integers() | st.text(max_size=8),
            ),
            min_size=1,
            max_size=3,
        )
    )

    def harm(tree: Any) -> Any:
        for path, how, value in steps:
            tree = _struck(tree, path, how, value)
        return tree

    return harm


def _struck(tree: Any, path: list[float], how: str, value: Any) -> Any:
    """The tree with one place changed; `path` picks a child by its share of the children."""
    if not isinstance(tree, dict | list) or not tree:
        return value
    keys = list(tree) if isinstance(tree, dict) else list(range(len(tree)))
    key = keys[int(path[0] * len(keys))]
    copy: Any = tree.copy()
    if len(path) > 1 and isinstance(tree[key], dict | list) and tree[key]:
        copy[key] = _struck(tree[key], path[1:], how, value)
    elif how == "drop":
        del copy[key]
    elif how == "double" and isinstance(copy, list):
        copy.insert(key, copy[key])
    elif how == "rename" and isinstance(copy, dict):
        copy[str(value)[:20]] = copy.pop(key)
    elif how == "wrap":
        copy[key] = [copy[key]]
    else:
        copy[key] = value
    return copy


TRICKS: list[Harm] = [
    lambda text: b"",
    lambda text: b"[" * 100_000,
    lambda text: b'{"a":' * 100_000,
    lambda text: b"a = " + b"[" * 50_000,
    lambda text: b"9" * 6000,
    lambda text: b"[" + b"9" * 6000 + b"]",
    lambda text: b"a = " + b"9" * 6000,
    lambda text: b"\xef\xbb\xbf" + text,
    lambda text: text.decode("utf-8", "replace").encode("utf-16"),
    lambda text: b"\x00" + text,
    lambda text: b"\xff\xfe\xff" + text,
    lambda text: text + text,
    lambda text: b"null",
    lambda text: b"NaN",
    lambda text: b'"\\ud800"',
    lambda text: text.replace(b"}", b', "\\ud800": "\\udfff"}'),
    lambda text: text.replace(b"0.", b"1e400"),
    lambda text: text.replace(b"0.", b"-Infinity, 0."),
    lambda text: text.replace(b":", b": -"),
    lambda text: b" " * 2_000_000 + text,
]
"""Known ways to break a reader of texts: depth, long numbers, byte order marks, lone surrogates."""


def text_harm(
    parse: Callable[[bytes], Any], write: Callable[[Any], bytes]
) -> st.SearchStrategy[Harm]:
    """Harm to a text: known tricks, bytes anywhere, or its values, written again by `write`."""
    values = value_harm().map(lambda harm: lambda data: write(harm(parse(data))))
    return st.sampled_from(TRICKS) | byte_harm() | values | values


def json_harm() -> st.SearchStrategy[Harm]:
    """Harm to a JSON text."""
    return text_harm(json.loads, lambda tree: json.dumps(tree).encode())


def toml_harm() -> st.SearchStrategy[Harm]:
    """Harm to a TOML text."""
    import tomllib

    return text_harm(lambda data: tomllib.loads(data.decode()), lambda tree: _toml(tree).encode())


def _toml(tree: Any) -> str:
    """TOML of a tree that may no longer be a table; then it is no TOML, which is a harm too."""
    if not isinstance(tree, dict):
        return json.dumps(tree)
    return "\n".join(f"{_toml_key(key)} = {_toml_value(value)}" for key, value in tree.items())


def _toml_key(key: object) -> str:
    return json.dumps(str(key))


def _toml_value(value: Any) -> str:
    if isinstance(value, dict):
        inside = ", ".join(f"{_toml_key(k)} = {_toml_value(v)}" for k, v in value.items())
        return "{" + inside + "}"
    if isinstance(value, list):
        return "[" + ", ".join(_toml_value(item) for item in value) + "]"
    if isinstance(value, float):
        return repr(value)
    return json.dumps(value)
