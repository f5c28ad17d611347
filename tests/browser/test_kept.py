"""Nothing is lost: reload, another device, a stopped server."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from pattern.archive.store import Archive
from tests.browser import steps
from tests.browser.conftest import Server, running

pytestmark = pytest.mark.browser


def test_a_half_filled_sheet_is_there_again_after_a_reload_and_on_another_device(
    server: Server, visit: Callable[..., Page]
) -> None:
    bench = visit(server.url)
    job = steps.start_job(bench)
    steps.fill(bench, "Ring gear teeth", "39")
    steps.choose(bench, "Tooth depth", "Same depth")
    steps.fill(bench, "Depth shim (in)", "0.0285")
    bench.reload()
    phone = visit(f"{server.url}/axle?job={job}", "phone")
    for page in (bench, phone):
        expect(page.get_by_label("Ring gear teeth")).to_have_value("39")
        expect(page.get_by_label("Depth shim (in)", exact=True)).to_have_value("0.0285")
        same = page.get_by_role("radio", name="Same depth")
        expect(same).to_have_attribute("aria-checked", "true")


def test_millimetres_show_the_same_lengths_and_survive_a_reload(
    server: Server, visit: Callable[..., Page]
) -> None:
    """1 in = 25.4 mm exactly (NIST SP 811, Appendix B)."""
    page = visit(f"{server.url}/axle?job={steps.filed_job(server)}")
    expect(page.get_by_label("Depth shim (in)", exact=True)).to_have_value("0.0300")
    page.get_by_role("radio", name="mm", exact=True).click()
    expect(page.get_by_label("Depth shim (mm)", exact=True)).to_have_value("0.762")
    page.reload()
    expect(page.get_by_label("Ring gear diameter (mm)", exact=True)).to_have_value("215.9")
    steps.fill(page, "Depth shim (mm)", "0.889")
    page.get_by_role("radio", name="inch", exact=True).click()
    expect(page.get_by_label("Depth shim (in)", exact=True)).to_have_value("0.0350")


def test_a_phone_brings_the_photo_and_the_bench_files_the_roll_only_once(
    server: Server, visit: Callable[..., Page]
) -> None:
    job = steps.filed_job(server)
    phone = visit(f"{server.url}/roll?job={job}", "phone")
    steps.add_photo(phone, "drive", steps.photo("cedar_drive"))
    steps.draw_outlines(phone, server, job)
    bench = visit(f"{server.url}/advice?job={job}&roll=1")
    phone.goto(f"{server.url}/advice?job={job}&roll=1")
    for page in (bench, phone):
        expect(steps.button(page, "File this roll")).to_be_visible()
    steps.button(bench, "File this roll").click()
    expect(bench.get_by_text("Roll 1 is filed.")).to_be_visible()
    steps.button(phone, "File this roll").click()
    expect(phone.get_by_text("Roll 1 is filed.")).to_be_visible()
    with Archive.open(server.archive) as archive:
        on_record = archive.job(job)
        assert len(on_record.rolls) == 1
        (filed,) = on_record.rolls[0].photos
        assert archive.photo(filed.sha256) == steps.photo("cedar_drive").read_bytes()
    assert "drawn_by_hand" not in filed.reading.flags
    assert filed.corrected is not None
    assert len(filed.corrected.teeth) == len(steps.true_outlines("cedar_drive"))


def test_a_roll_in_work_survives_a_stopped_server(
    visit: Callable[..., Page], tmp_path: Path
) -> None:
    with running(tmp_path) as first:
        job = steps.filed_job(first)
        page = visit(f"{first.url}/roll?job={job}", "phone")
        steps.add_photo(page, "drive", steps.photo("cedar_drive"))
        steps.draw_outlines(page, first, job)
        steps.fill(page, "Backlash now (in)", "0.0075")
        before = steps.reading(page)
        page.close()
    with running(tmp_path) as second:
        page = visit(f"{second.url}/roll?job={job}", "phone")
        expect(page.get_by_label("Backlash now (in)")).to_have_value("0.0075")
        expect(page.locator(".reading")).to_be_visible(timeout=90_000)
        assert steps.reading(page) == before


def test_an_address_of_a_job_that_is_not_there_says_so(
    server: Server, visit: Callable[..., Page]
) -> None:
    page = visit(f"{server.url}/roll?job=J9999")
    expect(page.get_by_role("alert")).to_contain_text("J9999")
    expect(page.get_by_role("link", name="‹ Jobs")).to_be_visible()
    expect(page.get_by_text("Traceback")).to_have_count(0)
