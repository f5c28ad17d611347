"""Start the page: choose addresses, put the gate before it, print where it is, run until stopped."""

from __future__ import annotations

import os
import socket
import sys
import threading
import time
import webbrowser
from dataclasses import dataclass
from pathlib import Path
from typing import TextIO

from app.passphrase import Lock
from pattern.errors import InvalidSettings

MAIN = Path(__file__).with_name("main.py")
ARCHIVE_VARIABLE = "CONTACT_PATTERN_ARCHIVE"
PHONE_VARIABLE = "CONTACT_PATTERN_PHONE_URL"


@dataclass(frozen=True)
class Door:
    """Where the page listens and under which names it answers."""

    address: str
    port: int
    hosts: tuple[str, ...]
    url: str


def door(port: int, *, lan: bool, more_hosts: tuple[str, ...] = ()) -> Door:
    """This machine only, or (`lan`) every network that it is in. Raises InvalidSettings if busy."""
    address = "0.0.0.0" if lan else "127.0.0.1"
    _must_be_free(address, port)
    hosts = ["127.0.0.1", "localhost", *more_hosts]
    shown = "127.0.0.1"
    if lan:
        shown = shop_address()
        name = socket.gethostname()
        hosts += [shown, name, f"{name.partition('.')[0]}.local"]
    return Door(address, port, tuple(dict.fromkeys(hosts)), f"http://{shown}:{port}")


def shop_address() -> str:
    """This machine's address in the shop's network.

    A datagram socket that is only *connected* sends nothing; it makes the system choose the
    interface. 192.0.2.1 is kept for documentation (RFC 5737) and belongs to nobody.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))
            return str(probe.getsockname()[0])
        except OSError:
            return "127.0.0.1"


def print_qr(url: str, out: TextIO) -> None:
    """The address as a QR code of half-height blocks, to point a phone's camera at."""
    import segno

    segno.make(url, error="m").terminal(out=out, border=2, compact=True)


def phone_address() -> str:
    """The address that a phone in the shop's network opens; empty without --lan."""
    return os.environ.get(PHONE_VARIABLE, "")


def qr_svg(url: str) -> str:
    """The address as a QR code to show on the bench's screen."""
    import segno

    return str(segno.make(url, error="m").svg_inline(scale=6, border=4, light="#ffffff"))


def open_when_ready(url: str, port: int) -> None:
    """Open the browser as soon as the port answers; without a browser nothing happens."""

    def wait() -> None:
        for _ in range(100):
            try:
                socket.create_connection(("127.0.0.1", port), timeout=1).close()
            except OSError:
                time.sleep(0.1)
            else:
                webbrowser.open(url)
                return

    threading.Thread(target=wait, daemon=True).start()


def serve(where: Door, *, archive: str | None, lock: Lock | None) -> None:
    """Run the page until it is stopped. `lock` None: no passphrase is asked."""
    if archive is not None:
        os.environ[ARCHIVE_VARIABLE] = archive
    if lock is not None:
        os.environ[PHONE_VARIABLE] = where.url
    # Streamlit looks for .streamlit/config.toml beside the program that was started.
    sys.argv = [str(MAIN)]
    from starlette.middleware import Middleware
    from streamlit.web.server.starlette.starlette_app import App

    from app.gate import Gate

    page = App(MAIN, middleware=[Middleware(Gate, hosts=where.hosts, lock=lock)])
    page.run(
        config={
            "server.address": where.address,
            "server.port": where.port,
            "server.allowedHosts": list(where.hosts),
            "browser.serverAddress": where.url.split("/")[2].rsplit(":", 1)[0],
        }
    )


def _must_be_free(address: str, port: int) -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((address, port))
        except OSError as fault:
            raise InvalidSettings(
                f"port {port} cannot be used: {fault.strerror}",
                subject="--port",
                remedy="Is the page open already? Otherwise choose another port",
            ) from fault
