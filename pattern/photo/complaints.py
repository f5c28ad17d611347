"""What the picture libraries written in C complain of while they decode: they tell it to stderr alone.

libjpeg goes on after damaged data and fills in what it can, so its complaint is the only sign that
the pixels are not those that were photographed.
"""

from __future__ import annotations

import contextlib
import os
import re
import sys
import tempfile
import threading
from collections.abc import Iterator

_ONE_AT_A_TIME = threading.Lock()
_STDERR = 2


_DECODERS = re.compile(
    rb"Corrupt JPEG data|Premature end of JPEG file|Invalid SOS parameters for sequential JPEG"
    rb"|Warning: unknown JFIF revision|Inconsistent progression sequence|Unknown Adobe color transform"
    rb"|libpng (?:warning|error): |tempfile\.tif: |MissingRequired: TIFF |More samples per pixel than can"
    rb"|(?:TIFF|LZW|ZIP|JPEG|OJPEG|PackBits|Fax|LogLuv|LogL|Pixar|LZMA|ZSTD|WebP|LERC)\w*: "
    rb"|\[ ?(?:FATAL|ERROR|WARN|INFO) ?:\d+@"
)
"""How lines of libjpeg, libpng, libtiff, Pillow and OpenCV's log begin: gathered from 2,500 damaged files
and, for what these did not bring forth, from memory. What begins otherwise is not held back."""


@contextlib.contextmanager
def complaints() -> Iterator[list[str]]:
    """Lines that decoders write to the process's stderr inside the block; the list fills at its end.

    The descriptor belongs to the whole process, so one block runs at a time, and what other threads
    write there meanwhile is held back too: it is written, byte for byte, when the block ends (lost only
    if the process is killed inside it). Without a stderr (a service, say) the list stays empty.
    """
    lines: list[str] = []
    with _ONE_AT_A_TIME:
        try:
            kept = os.dup(_STDERR)
        except OSError:
            yield lines
            return
        try:
            with tempfile.TemporaryFile() as caught:
                if sys.stderr is not None:
                    sys.stderr.flush()
                os.dup2(caught.fileno(), _STDERR)
                try:
                    yield lines
                finally:
                    os.dup2(kept, _STDERR)
                    caught.seek(0)
                    said, others = _told_apart(caught.read())
                    lines += said
                    _write_all(others)
        finally:
            os.close(kept)


def _told_apart(written: bytes) -> tuple[list[str], bytes]:
    """The decoders' lines, and all other bytes as they came."""
    said, others = [], []
    for line in written.splitlines(keepends=True):
        if _DECODERS.match(line):
            said.append(line.decode("utf-8", "replace").rstrip("\r\n"))
        else:
            others.append(line)
    return said, b"".join(others)


def _write_all(data: bytes) -> None:
    """To stderr; one that is closed or full is no reason to refuse a photo."""
    with contextlib.suppress(OSError):
        while data:
            data = data[os.write(_STDERR, data) :]
