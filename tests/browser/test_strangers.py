"""Texts that want to be more than texts, and a foreign page that wants this one inside it."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from pattern.archive.store import Archive
from pattern.records import Roll, SideReading
from tests.browser import steps
from tests.browser.conftest import Server

pytestmark = pytest.mark.browser
# 192.0.2.1 is kept for documentation and belongs to nobody (RFC 5737)
TEXT = '<img src=x onerror="alert(1)"><script>alert(2)</script> ![p](http://192.0.2.1/p.png) :red[x] $a$'
FILE = "![p](http:__192.0.2.1_p.png)<b>&.jpg"


def test_markup_in_names_stays_text_on_every_screen(
    server: Server, visit: Callable[..., Page], tmp_path: Path
) -> None:
    job = steps.filed_job(server, vehicle=TEXT)
    with Archive.open(server.archive) as archive:
        archive.edit(job, customer=TEXT, notes=TEXT, tags=("<b>",))
        roll = Roll(SideReading(0.5, 0.5), SideReading(0.5, 0.5), backlash_in=0.008)
        archive.add_roll(job, roll, [], None)
        archive.edit_roll(job, 1, struck=TEXT, note=TEXT)
    alerts: list[str] = []
    page = visit(f"{server.url}/axle?job={job}")
    page.on("dialog", lambda dialog: (alerts.append(dialog.message), dialog.dismiss()))
    expect(page.get_by_role("heading", level=1)).to_have_text(f"{TEXT} · {TEXT}")
    page.goto(f"{server.url}/roll?job={job}&roll=1")
    expect(page.get_by_role("alert").filter(has_text=TEXT)).to_be_visible()
    photo = shutil.copy(steps.photo("maple_drive"), tmp_path / FILE)
    (tmp_path / f"bad{FILE}").write_bytes(b"no picture")
    page.goto(f"{server.url}/roll?job={job}&roll=2")
    steps.add_photo(page, "drive", Path(photo))
    steps.uploader(page, "drive").set_input_files(tmp_path / f"bad{FILE}")
    expect(page.get_by_role("alert").filter(has_text=f"bad{FILE}: is no image")).to_be_visible()
    page.goto(f"{server.url}/?words=")
    expect(page.locator(".jobline").first).to_contain_text(TEXT)
    page.get_by_label("Find a job").fill(f"nothing {TEXT}")
    expect(page.get_by_role("status").filter(has_text=TEXT)).to_be_visible()
    assert page.locator(".jobline script, .jobline img, h1 img, h1 script").count() == 0
    assert alerts == []


def test_a_foreign_page_cannot_show_this_one_inside_it(
    server: Server, visit: Callable[..., Page]
) -> None:
    page = visit(server.url)
    expect(steps.button(page, "Start a job")).to_be_enabled()
    page.set_content(f'<iframe src="{server.url}" width=800 height=600></iframe>')
    page.wait_for_timeout(1500)
    frame = page.frames[-1]
    assert frame.url != f"{server.url}/" or frame.locator("body").inner_text() == ""
