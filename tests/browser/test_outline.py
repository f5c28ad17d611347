"""The outline editor under a finger, a mouse and the keyboard."""

from __future__ import annotations

import time
from collections.abc import Callable

import pytest
from playwright.sync_api import Locator, Page, expect

from pattern.archive.store import Archive
from tests.browser import steps
from tests.browser.conftest import Server

pytestmark = pytest.mark.browser
TOE_TIP, HEEL_TIP, HEEL_ROOT, TOE_ROOT = 0, 2, 3, 5


@pytest.fixture(scope="module")
def photo_draft(server: Server) -> dict[str, object]:
    """A roll in work with one photo and one outline, as the page keeps it."""
    data = steps.photo("cedar_drive").read_bytes()
    with Archive.open(server.archive) as archive:
        return {"sha256": archive.hold_photo(data), "name": "cedar_drive.jpg", "side": "drive"}


@pytest.fixture
def job(server: Server, photo_draft: dict[str, object]) -> str:
    job_id = steps.filed_job(server)
    outline = steps.true_outlines("cedar_drive")[:1]
    with Archive.open(server.archive) as archive:
        archive.save_draft(job_id, "roll-1", {"photos": [photo_draft | {"outlines": outline}]})
    return job_id


def open_editor(visit: Callable[..., Page], server: Server, job: str, size: str) -> Page:
    page = visit(f"{server.url}/outline?job={job}&roll=1", size)
    expect(page.locator(".handle")).to_have_count(7, timeout=90_000)
    expect(page.locator(".reading")).to_be_visible(timeout=90_000)
    return page


def kept_outline(server: Server, job: str) -> list[list[float]]:
    with Archive.open(server.archive) as archive:
        outlines = archive.draft(job, "roll-1")["photos"][0]["outlines"]
    return list(outlines[0])


def changed_outline(server: Server, job: str, before: list[list[float]]) -> list[list[float]]:
    """The outline in the archive as soon as it differs by more than rounding; at most 10 s."""
    for _ in range(100):
        after = kept_outline(server, job)
        if any(after[i] != pytest.approx(before[i], abs=0.11) for i in range(6)):
            return after
        time.sleep(0.1)
    pytest.fail("the outline in the archive did not change")


def point(page: Page, index: int) -> Locator:
    return page.locator(f'.handle[data-point="{index}"]')


def centre(handle: Locator) -> tuple[float, float]:
    box = handle.bounding_box()
    assert box
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def touch_drag(page: Page, handle: Locator, dx: float, dy: float) -> None:
    """A finger, through Chromium's own input queue: what touch-action and listeners decide shows."""
    handle.scroll_into_view_if_needed()
    x, y = centre(handle)
    wire = page.context.new_cdp_session(page)

    def send(kind: str, points: list[dict[str, float]]) -> None:
        wire.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    send("touchStart", [{"x": x, "y": y}])
    for step in range(1, 9):
        send("touchMove", [{"x": x + dx * step / 8, "y": y + dy * step / 8}])
    send("touchEnd", [])


def test_a_finger_drags_a_corner_and_the_reading_follows(
    server: Server, visit: Callable[..., Page], job: str
) -> None:
    page = open_editor(visit, server, job, "phone")
    before, numbers = kept_outline(server, job), steps.reading(page)
    toward_toe = 1 if before[TOE_TIP][0] > before[HEEL_TIP][0] else -1
    scrolled = page.evaluate("document.querySelector('.stMain').scrollTop")
    touch_drag(page, point(page, HEEL_TIP), 20 * toward_toe, 0)
    after = changed_outline(server, job, before)
    assert (after[HEEL_TIP][0] - before[HEEL_TIP][0]) * toward_toe > 5
    assert after[TOE_TIP] == pytest.approx(before[TOE_TIP], abs=0.11)
    # A tooth that is shorter at its heel end has the same mark nearer to the heel.
    expect(page.locator(".reading")).not_to_contain_text(f"{numbers[0]:.2f}")
    assert steps.reading(page)[0] > numbers[0]
    # The finger moved the point, not the page (apart from bringing the handle into view).
    assert abs(page.evaluate("document.querySelector('.stMain').scrollTop") - scrolled) < 700


def test_the_magnifier_stays_clear_of_the_finger(
    server: Server, visit: Callable[..., Page], job: str
) -> None:
    page = open_editor(visit, server, job, "phone")
    for index in (TOE_TIP, HEEL_TIP, HEEL_ROOT, TOE_ROOT):
        handle = point(page, index)
        handle.scroll_into_view_if_needed()
        x, y = centre(handle)
        wire = page.context.new_cdp_session(page)
        wire.send(
            "Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [{"x": x, "y": y}]}
        )
        expect(page.locator(".loupe")).to_be_visible()
        glass = page.locator(".loupe").bounding_box()
        wire.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
        assert glass
        inside_x = glass["x"] - 22 < x < glass["x"] + glass["width"] + 22
        inside_y = glass["y"] - 22 < y < glass["y"] + glass["height"] + 22
        assert not (inside_x and inside_y)
        expect(page.locator(".loupe")).to_be_hidden()


def test_arrow_keys_move_the_point_in_focus_and_undo_takes_it_back(
    server: Server, visit: Callable[..., Page], job: str
) -> None:
    page = open_editor(visit, server, job, "desk")
    before = kept_outline(server, job)
    label = point(page, TOE_ROOT).get_attribute("aria-label")
    assert label
    assert label.startswith("Tooth 1, corner toe and root")
    point(page, TOE_ROOT).focus()
    for _ in range(5):
        page.keyboard.press("Shift+ArrowDown")
    lowered = changed_outline(server, job, before)
    assert lowered[TOE_ROOT][1] > before[TOE_ROOT][1] + 3
    assert lowered[TOE_ROOT][0] == pytest.approx(before[TOE_ROOT][0], abs=0.11)
    for _ in range(5):
        page.keyboard.press("Control+z")
    back = changed_outline(server, job, lowered)
    for _ in range(5):
        back = (
            back
            if back[TOE_ROOT] == pytest.approx(before[TOE_ROOT], abs=0.11)
            else (changed_outline(server, job, back))
        )
    assert back[TOE_ROOT] == pytest.approx(before[TOE_ROOT], abs=0.11)


def test_a_mouse_bends_the_tip_edge_and_the_drawing_is_there_after_a_reload(
    server: Server, visit: Callable[..., Page], job: str
) -> None:
    page = open_editor(visit, server, job, "desk")
    before = kept_outline(server, job)
    handle = point(page, 1)
    handle.scroll_into_view_if_needed()
    x, y = centre(handle)
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x, y - 12, steps=4)
    page.mouse.up()
    bent = changed_outline(server, job, before)
    assert bent[1][1] < before[1][1]
    assert [bent[i] for i in (0, 2, 3, 5)] == [
        pytest.approx(before[i], abs=0.11) for i in (0, 2, 3, 5)
    ]
    page.reload()
    expect(page.locator(".handle")).to_have_count(7)
    words = f"at {round(bent[1][0])}, {round(bent[1][1])}."
    expect(point(page, 1)).to_have_attribute(
        "aria-label", f"Tooth 1, middle of the tip edge, {words} Arrow keys move it."
    )


def test_an_outline_that_crosses_itself_gives_no_reading_but_a_remedy(
    server: Server, visit: Callable[..., Page], job: str
) -> None:
    page = open_editor(visit, server, job, "desk")
    top, low = centre(point(page, HEEL_TIP)), centre(point(page, HEEL_ROOT))
    point(page, HEEL_TIP).scroll_into_view_if_needed()
    top, low = centre(point(page, HEEL_TIP)), centre(point(page, HEEL_ROOT))
    page.mouse.move(*top)
    page.mouse.down()
    page.mouse.move(low[0] + 2 * (low[0] - top[0]), low[1] + 2 * (low[1] - top[1]) + 30, steps=5)
    page.mouse.up()
    expect(page.get_by_role("alert")).to_contain_text("outline 1")
    expect(page.locator(".reading")).to_have_count(0)


def test_a_tooth_can_be_added_and_removed(
    server: Server, visit: Callable[..., Page], job: str
) -> None:
    page = open_editor(visit, server, job, "phone")
    page.get_by_role("button", name="Add a tooth").click()
    expect(page.get_by_role("button", name="Tooth 2", exact=True)).to_have_attribute(
        "aria-pressed", "true"
    )
    page.get_by_role("button", name="Remove this tooth").click()
    expect(page.get_by_role("button", name="Tooth 2", exact=True)).to_have_count(0)
    expect(page.locator(".handle")).to_have_count(7)
