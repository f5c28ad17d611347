"""How quick the page is, as ratios and times measured here: `pytest -m bench tests/benchmarks`.

Times are the best of several tries, so that other work on the machine counts little.
"""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect, sync_playwright

from pattern.archive.store import Archive
from tests.browser import steps
from tests.browser.conftest import CHROMIUM, DESK, QUIET, Server, running

pytestmark = [pytest.mark.bench, pytest.mark.timeout(900)]
TRIES = 5


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    if CHROMIUM is None:
        pytest.fail("Chromium is not installed (apt-get install chromium)")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=QUIET)
        yield browser
        browser.close()


@pytest.fixture
def page(chromium: Browser) -> Iterator[Page]:
    context = chromium.new_context(**DESK)  # type: ignore[arg-type]
    page = context.new_page()
    page.set_default_timeout(60_000)
    yield page
    context.close()


def test_the_first_page_is_usable_within_two_and_a_half_seconds_of_start(
    page: Page, tmp_path: Path
) -> None:
    times = []
    for k in range(TRIES):
        start = time.perf_counter()
        with running(tmp_path / str(k)) as server:
            page.goto(server.url)
            expect(steps.button(page, "Start a job")).to_be_enabled()
            times.append(time.perf_counter() - start)
    print(f"start to first page: best {min(times):.2f} s of {[round(t, 2) for t in times]}")
    assert min(times) < 2.5


def test_a_slider_shows_its_new_text_within_twice_an_empty_rerun(
    page: Page, tmp_path: Path
) -> None:
    with running(tmp_path) as server:
        job = steps.filed_job(server, rolls=1)
        page.goto(f"{server.url}/advice?job={job}&roll=1")
        page.get_by_text("What if").last.click()
        status = page.locator('p[role="status"]')
        expect(status).to_be_visible()
        ours = _slider_time(page, "Pinion, + is deeper (in)")
    with _floor() as url:
        page.goto(url)
        floor = _slider_time(page, "Pinion")
    print(f"slider to text: {ours:.3f} s, floor {floor:.3f} s, ratio {ours / floor:.2f}")
    assert ours < 2.0 * floor


def _slider_time(page: Page, label: str) -> float:
    """Best time from an arrow key to the changed text of the status line."""
    page.get_by_role("slider", name=label).focus()
    times = []
    for k in range(2 * TRIES):
        _clock(page, "keydown", 'p[role="status"]')
        page.keyboard.press("ArrowRight" if k % 2 else "ArrowLeft")
        times.append(page.evaluate("window.changed"))
        page.wait_for_timeout(400)
    return min(times) / 1000.0


def _clock(page: Page, event: str, shown: str) -> None:
    """`window.changed` becomes the milliseconds from the next `event` to a changed text, each frame
    looked at in the browser itself."""
    page.evaluate(
        """([event, shown]) => {
            const text = () => document.querySelector(shown)?.textContent;
            const before = text();
            window.changed = new Promise((done) => addEventListener(event, () => {
                const start = performance.now();
                const look = () => text() && text() !== before
                    ? done(performance.now() - start) : requestAnimationFrame(look);
                look();
            }, { once: true, capture: true }));
        }""",
        [event, shown],
    )


class _floor:
    """The empty page, served the plain way."""

    def __enter__(self) -> str:
        with socket.create_server(("127.0.0.1", 0)) as probe:
            port = probe.getsockname()[1]
        script = Path(__file__).with_name("floor_page.py")
        self._process = subprocess.Popen(
            [
                sys.executable, "-m", "streamlit", "run", str(script), "--server.headless=true",
                f"--server.port={port}", "--server.address=127.0.0.1",
                "--browser.gatherUsageStats=false", "--logger.hideWelcomeMessage=true",
            ],
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        for _ in range(200):
            try:
                socket.create_connection(("127.0.0.1", port), timeout=1).close()
            except OSError:
                time.sleep(0.1)
            else:
                break
        return f"http://127.0.0.1:{port}"

    def __exit__(self, *_: object) -> None:
        self._process.terminate()
        self._process.wait(timeout=20)


def test_from_a_dragged_corner_to_the_new_reading_in_under_a_second(
    page: Page, tmp_path: Path
) -> None:
    with running(tmp_path) as server:
        page.goto(f"{server.url}/outline?job={_job_with_photo(server)}&roll=1")
        expect(page.locator(".reading")).to_be_visible()
        handle = page.locator('.handle[data-point="2"]')
        times = []
        for k in range(TRIES):
            handle.scroll_into_view_if_needed()
            box = handle.bounding_box()
            assert box
            x, y = box["x"] + 22, box["y"] + 22
            page.mouse.move(x, y)
            page.mouse.down()
            page.mouse.move(x + (30 if k % 2 else -30), y, steps=3)
            _clock(page, "pointerup", ".reading")
            page.mouse.up()
            times.append(page.evaluate("window.changed") / 1000.0)
            page.wait_for_timeout(400)
    print(f"drag to reading: best {min(times):.2f} s of {[round(t, 2) for t in times]}")
    assert min(times) < 1.0


def _job_with_photo(server: Server) -> str:
    job = steps.filed_job(server)
    with Archive.open(server.archive) as archive:
        sha256 = archive.hold_photo(steps.photo("cedar_drive").read_bytes())
        photo = {
            "sha256": sha256, "name": "cedar_drive.jpg", "side": "drive",
            "outlines": steps.true_outlines("cedar_drive")[:1],
        }  # fmt: skip
        archive.save_draft(job, "roll-1", {"photos": [photo]})
    return job


def test_the_servers_memory_stays_flat_over_fifty_photos(page: Page, tmp_path: Path) -> None:
    original = steps.photo("cedar_drive").read_bytes()
    with running(tmp_path / "archive") as server:
        sizes = []
        for k in range(25):
            page.goto(f"{server.url}/roll?job={steps.filed_job(server)}")
            for side in ("drive", "coast"):
                copy = tmp_path / f"{k}-{side}.jpg"
                copy.write_bytes(original + f"{k} {side}".encode() + bytes(2_000_000))
                steps.add_photo(page, side, copy)
            sizes.append(_memory_mb(server.process.pid))
    settled, last = max(sizes[5:10]), max(sizes[-3:])
    print(
        f"server memory: {sizes[0]:.0f} MB after 2 photos, {settled:.0f} after 20, {last:.0f} after 50"
    )
    assert last < settled * 1.10 + 10


def _memory_mb(pid: int) -> float:
    pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6
