"""One tooth corrected on the page: the others follow it, are told apart, and can be left out."""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from pattern.archive.store import Archive
from tests.browser import steps
from tests.browser.conftest import Server
from tests.browser.test_outline import HEEL_TIP, point, touch_drag

pytestmark = pytest.mark.browser
TEETH = 4  # that are found in the sample photo
BOTH_SIZES = pytest.mark.parametrize("page", ["phone", "desk"], indirect=True)
DESK = pytest.mark.parametrize("page", ["desk"], indirect=True)


@pytest.fixture
def job(server: Server) -> str:
    """A job whose roll in work has one photo, its teeth found by themselves."""
    data = steps.photo("elm_coast").read_bytes()
    job_id = steps.filed_job(server)
    with Archive.open(server.archive) as archive:
        held = archive.hold_photo(data)
        shot = {"sha256": held, "name": "elm_coast.jpg", "side": "coast", "outlines": None}
        archive.save_draft(job_id, "roll-1", {"photos": [shot]})
    return job_id


def kept(server: Server, job: str) -> dict[str, Any]:
    with Archive.open(server.archive) as archive:
        return dict(archive.draft(job, "roll-1")["photos"][0])


def lines(page: Page) -> list[str]:
    return [text.strip() for text in page.locator("ul.teeth li").all_inner_texts()]


def wait_for(page: Page, line: str, count: int) -> None:
    found = page.locator("ul.teeth li").filter(has_text=line)
    expect(found).to_have_count(count, timeout=60_000)


def settled(page: Page) -> None:
    expect(page.locator('[data-testid="stApp"]')).to_have_attribute(
        "data-test-script-state", "notRunning", timeout=60_000
    )


@pytest.fixture
def page(
    request: pytest.FixtureRequest, server: Server, visit: Callable[..., Page], job: str
) -> Page:
    opened = visit(f"{server.url}/outline?job={job}&roll=1", getattr(request, "param", "phone"))
    wait_for(opened, "found", TEETH)
    return opened


@BOTH_SIZES
def test_the_others_follow_one_that_is_dragged_and_each_says_how_sure_it_is(
    page: Page, server: Server, job: str
) -> None:
    assert all(re.fullmatch(r"Tooth \d: found, \d\d% sure", line) for line in lines(page))
    expect(page.locator(".tooth.followed")).to_have_count(0)
    steps.button(page, "Tooth 2").click()
    before = _paths(page)
    touch_or_mouse_drag(page, HEEL_TIP, 0, 14)
    wait_for(page, "by your hand", 1)
    wait_for(page, "follows your correction", TEETH - 1)
    settled(page)
    expect(page.locator(".tooth.followed")).to_have_count(TEETH - 1)
    assert lines(page)[1] == "Tooth 2: by your hand"
    after = _paths(page)
    assert all(old != new for old, new in zip(before, after, strict=True)), (
        "none stayed where it was"
    )
    photo = kept(server, job)
    assert len(photo["outlines"]) == 1
    assert photo["follow"] is True
    expect(page.get_by_text("See that they follow their teeth")).to_be_visible()


def test_a_tooth_that_follows_can_be_left_out_and_undo_brings_it_back(
    page: Page, server: Server, job: str
) -> None:
    steps.button(page, "Tooth 1").click()
    touch_or_mouse_drag(page, HEEL_TIP, 0, 10)
    wait_for(page, "follows your correction", TEETH - 1)
    settled(page)
    steps.button(page, "Tooth 3").click()
    expect(page.get_by_text("Laid anew from the teeth that you corrected.")).to_be_visible()
    steps.button(page, "Remove this tooth").click()
    wait_for(page, "follows your correction", TEETH - 2)
    assert len(kept(server, job)["without"]) == 1
    steps.button(page, "Undo").click()
    wait_for(page, "follows your correction", TEETH - 1)
    steps.button(page, "Undo").click()
    wait_for(page, "found", TEETH)
    assert kept(server, job).get("outlines") is None


@DESK
def test_a_tooth_that_follows_is_the_users_once_it_is_dragged(
    page: Page, server: Server, job: str
) -> None:
    steps.button(page, "Tooth 1").click()
    touch_or_mouse_drag(page, HEEL_TIP, 0, 10)
    wait_for(page, "follows your correction", TEETH - 1)
    settled(page)
    steps.button(page, "Tooth 4").click()
    touch_or_mouse_drag(page, HEEL_TIP, 0, 8)
    wait_for(page, "by your hand", 2)
    wait_for(page, "follows your correction", TEETH - 2)
    settled(page)
    expect(steps.button(page, "Tooth 4")).to_have_attribute("aria-pressed", "true")
    expect(page.locator(".tooth.followed")).to_have_count(TEETH - 2)
    assert len(kept(server, job)["outlines"]) == 2


def test_a_tooth_removed_before_any_correction_leaves_the_others_as_they_were_found(
    page: Page, server: Server, job: str
) -> None:
    steps.button(page, "Tooth 2").click()
    steps.button(page, "Remove this tooth").click()
    wait_for(page, "by your hand", TEETH - 1)
    photo = kept(server, job)
    assert len(photo["outlines"]) == TEETH - 1
    assert not photo.get("follow")


@DESK
def test_found_again_everything_is_as_before_the_correction(
    page: Page, server: Server, job: str
) -> None:
    numbers = steps.reading(page)
    steps.button(page, "Tooth 1").click()
    touch_or_mouse_drag(page, HEEL_TIP, 0, 16)
    wait_for(page, "follows your correction", TEETH - 1)
    steps.button(page, "Find again").click()
    wait_for(page, "found", TEETH)
    settled(page)
    assert steps.reading(page) == numbers


def _paths(page: Page) -> list[str]:
    """The tip edge of every tooth as drawn."""
    drawn = page.locator("g.tooth").evaluate_all(
        "all => all.map(g => g.querySelector('.line').getAttribute('d'))"
    )
    return list(drawn)


def touch_or_mouse_drag(page: Page, index: int, dx: float, dy: float) -> None:
    """A finger where there is a touch screen, else the mouse."""
    handle = point(page, index)
    expect(handle).to_be_visible()
    if page.evaluate("navigator.maxTouchPoints > 0"):
        touch_drag(page, handle, dx, dy)
        return
    handle.scroll_into_view_if_needed()
    box = handle.bounding_box()
    assert box
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + dx, y + dy, steps=5)
    page.mouse.up()
    time.sleep(0.1)
