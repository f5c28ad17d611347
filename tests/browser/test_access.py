"""Every screen for everyone: contrast, names, keyboard, targets for a thumb, both sizes, both grounds."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from pattern.archive.store import Archive
from tests.browser import steps
from tests.browser.conftest import SIZES, Server

pytestmark = pytest.mark.browser
THUMB_PX = 44
SCREENS = ("jobs", "axle", "roll", "outline", "advice", "final")


@pytest.fixture(scope="module")
def job(server: Server) -> Iterator[str]:
    """A job with one roll on file and a second one in work, so that every screen has its content."""
    job_id = steps.filed_job(server, rolls=1)
    with Archive.open(server.archive) as archive:
        sha256 = archive.hold_photo(steps.photo("cedar_drive").read_bytes())
        photo = {
            "sha256": sha256, "name": "cedar_drive.jpg", "side": "drive",
            "outlines": steps.true_outlines("cedar_drive"),
        }  # fmt: skip
        archive.save_draft(job_id, "roll-2", {"photos": [photo], "backlash_in": 0.008})
    yield job_id


def open_screen(visit: Callable[..., Page], server: Server, job: str, name: str, size: str) -> Page:
    path = "" if name == "jobs" else f"{name}?job={job}&roll={1 if name == 'advice' else 2}"
    page = visit(f"{server.url}/{path}", size, dark=size == "phone")
    ready = {
        "jobs": page.get_by_text("Start a job"),
        "axle": page.get_by_label("Ring gear teeth"),
        "roll": page.locator(".reading"),
        "outline": page.locator(".reading"),
        "advice": page.locator(".verdict"),
        "final": page.get_by_text("Finish the job"),
    }[name]
    expect(ready.first).to_be_visible(timeout=90_000)
    settled(page)
    return page


def settled(page: Page) -> None:
    """Wait until the script has run to its end."""
    expect(page.locator('[data-testid="stApp"]')).to_have_attribute(
        "data-test-script-state", "notRunning", timeout=90_000
    )


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("name", SCREENS)
def test_axe_core_has_no_serious_finding_and_every_target_fits_a_thumb(
    name: str, size: str, server: Server, visit: Callable[..., Page], job: str
) -> None:
    """axe-core's rules for WCAG 2.1 A and AA; targets by common practice for gloved hands, 44 px."""
    page = open_screen(visit, server, job, name, size)
    if name == "advice":
        page.get_by_text("What if").last.click()
        expect(page.get_by_role("slider").first).to_be_visible()
        settled(page)
    found = Axe().run(
        page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "best-practice"]}
    )
    bad = [
        (
            rule["id"],
            rule["impact"],
            [node["target"] for node in rule["nodes"]][:4],
            [n["failureSummary"] for n in rule["nodes"]][:1],
        )
        for rule in found.response["violations"]
        if rule["impact"] in ("serious", "critical")
    ]
    assert not bad
    assert found.response["passes"], "axe looked at nothing"
    if size == "phone":
        assert small_targets(page) == []
        wide = page.evaluate("document.documentElement.scrollWidth")
        assert wide <= 390, f"the page is {wide} px wide"


def small_targets(page: Page) -> list[str]:
    """What can be tapped and is smaller than a thumb, by what it says."""
    found: list[str] = page.evaluate(
        """(least) => {
            const deep = (root) => [...root.querySelectorAll('*')].flatMap(
                (e) => [e, ...(e.shadowRoot ? deep(e.shadowRoot) : [])]);
            const kinds = 'button, a[href], summary, select, textarea, [role=radio], [role=slider], ' +
                'input:not([type=file]):not([type=range]):not([type=checkbox])';
            return deep(document).filter((e) => e.matches(kinds)).filter((e) => {
                const box = e.getBoundingClientRect();
                const style = getComputedStyle(e);
                if (!box.width || style.visibility === 'hidden' || style.display === 'none') return false;
                if (e.disabled || e.getAttribute('aria-disabled') === 'true' || e.tabIndex < 0) return false;
                if (e.dataset.testid === 'stSkipToContent') return false;
                return box.height < least - 0.6 || box.width < least - 0.6;
            }).map((e) => {
                const box = e.getBoundingClientRect();
                const name = e.getAttribute('aria-label') || e.textContent.trim() || e.tagName;
                return `${name.slice(0, 40)} ${Math.round(box.width)}x${Math.round(box.height)}`;
            });
        }""",
        THUMB_PX,
    )
    return found


def test_the_whole_page_can_be_walked_with_the_tab_key(
    server: Server, visit: Callable[..., Page], job: str
) -> None:
    page = open_screen(visit, server, job, "outline", "desk")
    seen = []
    for _ in range(40):
        page.keyboard.press("Tab")
        seen.append(
            page.evaluate(
                """() => { let e = document.activeElement;
                    while (e && e.shadowRoot && e.shadowRoot.activeElement) e = e.shadowRoot.activeElement;
                    return (e.getAttribute('aria-label') || e.textContent || '').trim(); }"""
            )
        )
    for wanted in ("‹ Jobs", "Whole photo", "Find again", "Next: advice"):
        assert any(wanted in name for name in seen), f"{wanted} is not reached by Tab: {seen}"
