"""The page in the shop's network: the passphrase first, for pages and sockets alike."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable, Iterator

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import Server, running

pytestmark = pytest.mark.browser
PASSPHRASE = "paint roll read shim"


@pytest.fixture(scope="module")
def lan(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    place = tmp_path_factory.mktemp("lan")
    with running(place, "--lan", CONTACT_PATTERN_PASSPHRASE=PASSPHRASE) as server:
        yield server


def test_a_wrong_passphrase_stays_outside_and_the_right_one_leads_to_the_link(
    lan: Server, visit: Callable[..., Page]
) -> None:
    page = visit(f"{lan.url}/axle?job=J0404", "phone")
    page.wait_for_url("**/enter?next=**")
    page.get_by_label("Passphrase of the shop").fill("paint roll read shin")
    page.get_by_role("button", name="Come in").click()
    expect(page.get_by_role("alert")).to_have_text("That is not the passphrase.")
    page.get_by_label("Passphrase of the shop").fill(PASSPHRASE)
    page.get_by_role("button", name="Come in").click()
    page.wait_for_url("**/axle?job=J0404")
    expect(page.get_by_text("J0404")).to_be_visible(timeout=90_000)
    page.goto(lan.url)
    page.get_by_text("Open it on the phone").click()
    expect(page.locator(".st-key-drawing-qr img")).to_be_visible()


def test_a_socket_without_the_pass_is_closed(lan: Server, visit: Callable[..., Page]) -> None:
    page = visit(f"{lan.url}/enter")
    outcome = page.evaluate(
        """() => new Promise((done) => {
            const wire = new WebSocket(`ws://${location.host}/_stcore/stream`);
            wire.onopen = () => done('open');
            wire.onclose = () => done('closed');
        })"""
    )
    assert outcome == "closed"


def test_the_entry_page_is_accessible_and_asks_nothing_else(
    lan: Server, visit: Callable[..., Page]
) -> None:
    from axe_playwright_python.sync_playwright import Axe

    page = visit(f"{lan.url}/enter", "phone", dark=True)
    findings = Axe().run(page).response
    assert [rule["id"] for rule in findings["violations"]] == []
    assert findings["passes"]


def test_without_a_terminal_and_without_a_passphrase_the_command_says_what_to_do(
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    empty = tmp_path_factory.mktemp("home")
    done = subprocess.run(
        [sys.executable, "-m", "pattern.cli", "app", "--lan", "--no-browser", "--port", "1"],
        env={"HOME": str(empty), "XDG_CONFIG_HOME": str(empty), "PATH": "/usr/bin"},
        stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=60,
    )  # fmt: skip
    assert done.returncode != 0
    assert "CONTACT_PATTERN_PASSPHRASE" in done.stderr
    assert "Traceback" not in done.stderr
