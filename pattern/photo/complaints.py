"""What the picture libraries written in C complain of while they decode: they tell it to stderr alone.

libjpeg goes on after damaged data and fills in what it can, so its complaint is the only sign that
the pixels are not those that were photographed.
"""

from __future__ import annotations

import contextlib
import os
import sys
import tempfile
import threading
from collections.abc import Iterator

_ONE_AT_A_TIME = threading.Lock()
_STDERR = 2


@contextlib.contextmanager
def complaints() -> Iterator[list[str]]:
    """Lines that C code writes to the process's stderr inside the block; the list fills at its end.

    The descriptor belongs to the whole process, so one block runs at a time, and what another thread
    writes there meanwhile is caught too. Without a stderr (a service, say) the list stays empty.
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
                    lines += caught.read().decode("utf-8", "replace").splitlines()
        finally:
            os.close(kept)
