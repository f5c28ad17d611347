"""Pictures of every screen at both sizes: `python -m tests.browser.screenshots --out DIR [--dark]`.

To be looked at; `--readme` makes the README's pictures of them too. Needs Chromium and the sample photos;
touches no user data.
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

from PIL import Image
from playwright.sync_api import Browser, Page, expect, sync_playwright

from pattern.archive.store import Archive
from tests.browser import steps
from tests.browser.conftest import CHROMIUM, QUIET, SAMPLES, SIZES, Server, running

PAIR = "cedar"
README = SAMPLES / "readme"
DESK_PX, PHONE_PX = 1000, 390
"""Widths in the README's pictures."""


def main() -> None:
    """Walk a job and take a picture at every screen."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--out", type=Path, required=True)
    options.add_argument("--dark", action="store_true")
    options.add_argument("--readme", action="store_true", help="the README's pictures too")
    given = options.parse_args()
    given.out.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as place, running(Path(place)) as server:
        _older_jobs(server)
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=CHROMIUM, args=QUIET)
            for size in SIZES:
                _walk(browser, server, size, given.out, dark=given.dark)
            browser.close()
    if given.readme:
        _for_the_readme(given.out)


def _for_the_readme(shots: Path) -> None:
    """The photos' and the advice's screen at the desk, outline and advice side by side on the phone."""

    def part(name: str, width: int, height: int | None = None) -> Image.Image:
        with Image.open(shots / f"{name}.png") as shot:
            small = shot.convert("RGB").resize((width, round(shot.height * width / shot.width)))
        return small.crop((0, 0, width, height or small.height))

    outline = part("5-outline-phone", PHONE_PX)
    phone = Image.new("RGB", (2 * PHONE_PX, outline.height))
    phone.paste(outline, (0, 0))
    phone.paste(part("6-advice-phone", PHONE_PX, outline.height), (PHONE_PX, 0))
    for name, picture in (
        ("photos-desk", part("4-photos-desk", DESK_PX)),
        ("advice-desk", part("6-advice-desk", DESK_PX, 752)),
        ("phone", phone),
    ):
        picture.save(README / f"{name}.png", optimize=True)


def _older_jobs(server: Server) -> None:
    for rolls, vehicle, status in ((3, "Grain truck 12", "done"), (1, "Yard loader", "waiting")):
        job = steps.filed_job(server, rolls, vehicle)
        with Archive.open(server.archive) as archive:
            archive.edit(job, customer="Harrow & Daughters", status=status)


def _walk(browser: Browser, server: Server, size: str, out: Path, *, dark: bool) -> None:
    scheme = "dark" if dark else "light"
    context = browser.new_context(**SIZES[size], color_scheme=scheme)
    page = context.new_page()
    page.set_default_timeout(60_000)
    taken = _Camera(page, out, f"{size}{'-dark' if dark else ''}")
    page.goto(server.url)
    expect(page.get_by_text("Start a job")).to_be_visible()
    taken("1-jobs")
    job = steps.start_job(page)
    steps.fill(page, "Customer or order number", "Order 2207")
    steps.fill(page, "Vehicle", "Timber trailer")
    steps.describe_axle(page)
    taken("2-axle")
    steps.on_to(page, "roll")
    page.get_by_text("How to photograph the pattern").click()
    taken("3-photos-guide")
    page.get_by_text("How to photograph the pattern").click()
    steps.add_photo(page, "drive", steps.photo(f"{PAIR}_drive"))
    steps.add_photo(page, "coast", steps.photo(f"{PAIR}_coast"))
    steps.draw_outlines(page, server, job)
    steps.fill(page, "Backlash now (in)", "0.009")
    taken("4-photos")
    steps.on_to(page, "outline")
    page.get_by_role("button", name="Tooth 2", exact=True).click()
    taken("5-outline")
    steps.on_to(page, "advice")
    expect(page.locator(".verdict")).to_be_visible()
    page.get_by_text("What if").last.click()
    expect(page.get_by_role("slider").first).to_be_visible()
    taken("6-advice")
    steps.button(page, "File this roll").click()
    expect(page.get_by_text("Roll 1 is filed.")).to_be_visible()
    taken("7-filed")
    page.get_by_role("link", name="5 Final").click()
    expect(page.get_by_text("Finish the job")).to_be_visible()
    taken("8-final")
    context.close()


class _Camera:
    """Takes the whole page, however long, with the next button at its end."""

    def __init__(self, page: Page, out: Path, name: str) -> None:
        self._page, self._out, self._name = page, out, name

    def __call__(self, screen: str) -> None:
        page = self._page
        expect(page.locator('[data-testid="stApp"]')).to_have_attribute(
            "data-test-script-state", "notRunning", timeout=90_000
        )
        page.evaluate("document.activeElement.blur()")
        page.wait_for_timeout(600)
        size = page.viewport_size
        assert size
        long = page.evaluate("document.querySelector('.stMainBlockContainer').scrollHeight")
        page.set_viewport_size({"width": size["width"], "height": max(size["height"], long)})
        page.wait_for_timeout(400)
        page.screenshot(path=self._out / f"{screen}-{self._name}.png")
        page.set_viewport_size(size)
        page.wait_for_timeout(600)


if __name__ == "__main__":
    main()
