"""The page in Debian's Chromium: one server and one browser for the whole run.

Every request that a page makes and every socket that the server opens is recorded; one that leaves
this machine fails the test it was made in.
"""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from tests.browser.sockets import SocketWatch

expect.set_options(timeout=30_000)  # a busy machine is slow, not wrong

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
QUIET = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync",
    "--disable-background-networking", "--disable-component-update",
]  # fmt: skip
PHONE = {
    "viewport": {"width": 390, "height": 844}, "device_scale_factor": 2, "is_mobile": True,
    "has_touch": True,
}  # fmt: skip
DESK = {"viewport": {"width": 1280, "height": 900}}
SIZES: dict[str, dict[str, Any]] = {"phone": PHONE, "desk": DESK}
SAMPLES = Path(__file__).parents[2] / "sample_images"


@dataclass(frozen=True)
class Server:
    """A running page: its address, process and archive."""

    url: str
    process: subprocess.Popen[bytes]
    archive: Path


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict[str, Any]) -> dict[str, Any]:
    if CHROMIUM is None:
        missing = "Chromium is not installed (apt-get install chromium)"
        if os.environ.get("CI") == "true":
            pytest.fail(missing)
        pytest.skip(missing)
    return browser_type_launch_args | {"executable_path": CHROMIUM, "args": QUIET}


@contextmanager
def running(archive: Path, *options: str, **environment: str) -> Iterator[Server]:
    """The page, started as a user starts it, on a free port."""
    port = _free_port()
    command = [
        sys.executable, "-m", "pattern.cli", "app", "--port", str(port), "--no-browser",
        "--archive", str(archive), *options,
    ]  # fmt: skip
    process = subprocess.Popen(
        command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        env=os.environ | {"OMP_NUM_THREADS": "1"} | environment,
    )  # fmt: skip
    try:
        _wait(f"http://127.0.0.1:{port}", process)
        yield Server(f"http://127.0.0.1:{port}", process, archive)
    finally:
        process.terminate()
        process.wait(timeout=20)


@pytest.fixture(scope="session")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    with (
        running(tmp_path_factory.mktemp("archive")) as started,
        SocketWatch(started.process.pid) as watch,
    ):
        yield started
        assert watch.seen, "the watch saw no socket at all, so it proves nothing"
        assert not watch.foreign, f"the server reached outside: {watch.foreign}"


@pytest.fixture
def visit(browser: Browser) -> Iterator[Callable[..., Page]]:
    """Open a page in a fresh browser profile: `visit(url, size="phone", dark=False)`."""
    contexts: list[BrowserContext] = []
    asked: list[str] = []
    ours: set[str] = set()

    def open_page(url: str, size: str = "desk", *, dark: bool = False) -> Page:
        scheme = "dark" if dark else "light"
        context = browser.new_context(**SIZES[size], color_scheme=scheme, accept_downloads=True)
        contexts.append(context)
        ours.add(urlsplit(url).netloc)
        context.on("request", lambda request: asked.append(request.url))
        page = context.new_page()
        page.on("websocket", lambda wire: asked.append(wire.url.replace("ws", "http", 1)))
        page.set_default_timeout(20_000)
        page.goto(url)
        return page

    yield open_page
    for context in contexts:
        context.close()
    foreign = [
        url for url in asked
        if urlsplit(url).scheme not in ("data", "blob") and urlsplit(url).netloc not in ours
    ]  # fmt: skip
    assert asked, "no request was recorded, so it proves nothing"
    assert not foreign, f"the page asked other hosts: {foreign}"


def _free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as probe:
        return int(probe.getsockname()[1])


def _wait(url: str, process: subprocess.Popen[bytes]) -> None:
    for _ in range(200):
        if process.poll() is not None:
            pytest.fail(f"the page stopped with exit code {process.returncode}")
        try:
            urllib.request.urlopen(f"{url}/enter", timeout=2).close()
        except urllib.error.HTTPError as answer:  # any answer means that it listens
            answer.close()
            return
        except OSError:
            time.sleep(0.1)
        else:
            return
    pytest.fail("the page did not start within 20 s")
