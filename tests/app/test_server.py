"""Where the page listens, and how a phone finds it."""

from __future__ import annotations

import io
import socket

import cv2
import numpy as np
import pytest

from app import server
from pattern.errors import InvalidSettings


def test_without_lan_it_listens_on_this_machine_only() -> None:
    where = server.door(_free_port(), lan=False)
    assert where.address == "127.0.0.1"
    assert where.hosts == ("127.0.0.1", "localhost")


def test_with_lan_it_names_the_address_it_prints_and_the_names_given() -> None:
    where = server.door(_free_port(), lan=True, more_hosts=("bench",))
    printed = where.url.removeprefix("http://").rpartition(":")[0]
    assert printed in where.hosts
    assert "bench" in where.hosts


def test_a_port_in_use_is_named_with_a_remedy() -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        with pytest.raises(InvalidSettings, match=f"port {port}"):
            server.door(port, lan=False)


def test_the_qr_code_holds_the_address() -> None:
    """Decoded by OpenCV's reader, which is independent of the writer (ISO/IEC 18004 symbols)."""
    url = "http://192.0.2.17:8417"
    out = io.StringIO()
    server.print_qr(url, out)
    text, _, _ = cv2.QRCodeDetector().detectAndDecode(_picture_of(out.getvalue()))
    assert text == url


def _picture_of(printed: str) -> np.ndarray:
    """Half-height blocks as a terminal shows them: a full block is lit, light on dark."""
    rows = []
    for line in printed.splitlines():
        rows += [[c in "█▀" for c in line], [c in "█▄" for c in line]]
    width = max(map(len, rows))
    lit = np.array([row + [False] * (width - len(row)) for row in rows], np.uint8) * 255
    picture = np.kron(lit, np.ones((8, 8), np.uint8))
    return cv2.copyMakeBorder(picture, 40, 40, 40, 40, cv2.BORDER_CONSTANT, value=255)


def _free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as probe:
        return int(probe.getsockname()[1])
