"""What a mechanic does on the page, step by step; each step waits for the answer it should bring."""

from __future__ import annotations

import json
import re
from pathlib import Path

from playwright.sync_api import Locator, Page, expect

from pattern.archive.store import Archive
from pattern.records import Axle, Roll, SideReading
from pattern.workflow import advise
from tests.browser.conftest import SAMPLES, Server

NEXT = {
    "roll": "Next: photos of the test roll",
    "outline": "Next: check the outline",
    "advice": "Next: advice",
}


def start_job(page: Page) -> str:
    """Open a new job; returns its id."""
    button(page, "Start a job").click()
    page.wait_for_url("**/axle?job=*")
    expect(page.get_by_label("Ring gear teeth")).to_be_visible()
    found = re.search(r"job=(J\d+)", page.url)
    assert found
    return found[1]


AXLE = Axle(41, 11, 8.5, tooth_system="tapered", depth_shim="pinion_head", depth_shim_in=0.030)


def filed_job(server: Server, rolls: int = 0, vehicle: str = "tractor") -> str:
    """A job with its axle described and a number of rolls on file, put there without the page."""
    low = SideReading(0.40, 0.30, length=0.4, width=0.4)
    high = SideReading(0.60, 0.30, length=0.4, width=0.4)
    roll = Roll(low, high, backlash_in=0.008)
    with Archive.open(server.archive) as archive:
        job = archive.new_job(vehicle=vehicle, axle=AXLE)
        for _ in range(rolls):
            archive.add_roll(job, roll, [], advise(AXLE, [roll]))
    return job


def describe_axle(page: Page, *, shim_in: float = 0.030) -> None:
    """The least that a job needs, and where the depth shim sits."""
    fill(page, "Ring gear teeth", "41")
    fill(page, "Pinion teeth", "11")
    expect(page.get_by_text("Ratio 3.727")).to_be_visible()
    fill(page, "Ring gear diameter (in)", "8.5")
    choose(page, "Tooth depth", "Deeper at heel")
    choose(page, "Where the depth shim sits", "Pinion head or inner cup")
    fill(page, "Depth shim (in)", f"{shim_in:.4f}")
    expect(button(page, NEXT["roll"])).to_be_enabled()


def add_photo(page: Page, side: str, photo: Path) -> Locator:
    """Upload a photo of one side and wait until it is read or declined; returns its card."""
    before = page.locator(f'[class*="st-key-photo-{side}-"]').count()
    uploader(page, side).set_input_files(photo)
    cards = page.locator(f'[class*="st-key-photo-{side}-"]')
    expect(cards).to_have_count(before + 1, timeout=90_000)
    card = cards.nth(before)
    expect(card.get_by_text(re.compile("Lengthwise|Not read")).first).to_be_visible(timeout=90_000)
    return card


def uploader(page: Page, side: str) -> Locator:
    """The file input of one side; the newest, for a used one stays a moment after it was renewed."""
    named = page.get_by_role("region", name=f"Add photos of the {side} side")
    return named.locator("input[type=file]").last


def draw_outlines(page: Page, server: Server, job: str, roll: int = 1) -> None:
    """The true outlines for every photo of a roll in work, as if drawn on another device.

    Samples that the automatic finder declines are then read too, so the page is tested whatever the
    finder can do; dragging itself has tests of its own.
    """
    with Archive.open(server.archive) as archive:
        draft = archive.draft(job, f"roll-{roll}")
        for shot in draft["photos"]:
            shot["outlines"] = true_outlines(Path(shot["name"]).stem)
        archive.save_draft(job, f"roll-{roll}", draft)
    page.reload()
    expect(page.locator(".reading")).to_have_count(len(draft["photos"]), timeout=90_000)


def photo(name: str) -> Path:
    """A sample photo by name."""
    (found,) = [p for p in SAMPLES.glob(f"{name}.*") if p.suffix != ".json"]
    return found


def reading(place: Page | Locator) -> tuple[float, float]:
    """Lengthwise and profile as a card shows them."""
    text = place.locator(".reading").first.inner_text()
    numbers = re.findall(r"(\d\.\d\d) ±", text)
    return float(numbers[0]), float(numbers[1])


def on_to(page: Page, step: str) -> None:
    """Press the next button and wait for the step's page."""
    button(page, NEXT[step]).click()
    page.wait_for_url(f"**/{step}?*")


def button(page: Page, name: str) -> Locator:
    """A button by its whole name."""
    return page.get_by_role("button", name=name, exact=True)


def fill(page: Page, label: str, value: str) -> None:
    """Type into a field and leave it, as one does with Tab."""
    field = page.get_by_label(label, exact=True)
    field.fill(value)
    field.press("Tab")
    page.wait_for_timeout(250)  # before the rerun starts it looks like one that has ended
    expect(page.locator('[data-testid="stApp"]')).to_have_attribute(
        "data-test-script-state", "notRunning"
    )


def choose(page: Page, label: str, choice: str) -> None:
    """Tap one of a few choices."""
    radio = page.get_by_role("radiogroup", name=label).get_by_role("radio", name=choice, exact=True)
    radio.click()
    expect(radio).to_have_attribute("aria-checked", "true")


def true_outlines(name: str) -> list[list[list[float]]]:
    """Six points a tooth from the truth beside a sample, in full-resolution pixels."""
    truth = json.loads((SAMPLES / f"{name}.json").read_text())
    return [
        [o[0], tip[len(tip) // 2], o[1], o[2], root[len(root) // 2], o[3]]
        for tooth in truth["teeth"]
        for o, tip, root in [(tooth["outline"], tooth["tip_edge"], tooth["root_edge"])]
    ]
