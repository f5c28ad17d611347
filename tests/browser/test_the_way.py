"""The whole job on the page, at the phone's and at the bench's size."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect
from pypdf import PdfReader

from pattern.advice.present import present_axle
from pattern.archive.store import Archive
from tests.browser import steps
from tests.browser.conftest import SAMPLES, SIZES, Server

pytestmark = pytest.mark.browser
PAIR = "cedar"


@pytest.mark.parametrize("size", SIZES)
def test_from_an_empty_job_to_the_report(
    size: str, server: Server, visit: Callable[..., Page], tmp_path: Path
) -> None:
    page = visit(server.url, size)
    job = steps.start_job(page)
    steps.fill(page, "Vehicle", f"tractor of the {size}")
    steps.describe_axle(page)
    steps.on_to(page, "roll")
    for side in ("drive", "coast"):
        steps.add_photo(page, side, steps.photo(f"{PAIR}_{side}"))
    steps.draw_outlines(page, server, job)
    steps.fill(page, "Backlash now (in)", "0.008")
    for side in ("drive", "coast"):
        card = page.locator(f'[class*="st-key-photo-{side}-"]')
        _agrees_with_the_truth(steps.reading(card), f"{PAIR}_{side}")
    steps.on_to(page, "outline")
    expect(page.get_by_role("radio", name="Coast side 1")).to_be_visible()
    steps.on_to(page, "advice")
    expect(page.locator(".verdict")).to_be_visible()
    verdict = page.locator(".verdict").inner_text()
    steps.button(page, "File this roll").click()
    expect(page.get_by_text("Roll 1 is filed.")).to_be_visible()
    expect(page.locator(".verdict")).to_have_text(verdict)
    page.get_by_role("link", name="5 Final").click()
    steps.fill(page, "Backlash at several places (in)", "0.008 0.0085 0.0075 0.008")
    steps.button(page, "Finish the job").click()
    expect(page.get_by_text("This job is done.")).to_be_visible()
    # the whole page drawn anew: a press on the button of the page before would be lost
    expect(page.get_by_role("button", name="Finish the job", exact=True)).to_have_count(0)
    steps.button(page, "Make the report").click()
    with page.expect_download() as download:
        steps.button(page, "Report (PDF)").click()
    download.value.save_as(tmp_path / "report.pdf")
    text = "".join(sheet.extract_text() for sheet in PdfReader(tmp_path / "report.pdf").pages)
    for fact in (job, f"tractor of the {size}", "41 / 11", "0.0085"):
        assert fact in text
    page.goto(server.url)
    expect(page.get_by_text(f"tractor of the {size}")).to_be_visible()


def _agrees_with_the_truth(found: tuple[float, float], name: str) -> None:
    """The truth beside a sample comes from the renderer's 3-D scene, not from the reader."""
    truth = json.loads((SAMPLES / f"{name}.json").read_text())
    assert found[0] == pytest.approx(truth["lengthwise"], abs=0.055)
    assert found[1] == pytest.approx(truth["profile"], abs=0.085)


def test_the_move_that_was_made_goes_into_the_next_roll_with_its_direction(
    server: Server, visit: Callable[..., Page]
) -> None:
    job = steps.filed_job(server, rolls=1)
    page = visit(f"{server.url}/roll?job={job}&roll=2", "phone")
    steps.choose(page, "Pinion", "Shallower")
    steps.fill(page, "Pinion by (in)", "0.0030")
    steps.add_photo(page, "drive", steps.photo(f"{PAIR}_drive"))
    steps.draw_outlines(page, server, job, roll=2)
    page.goto(f"{server.url}/advice?job={job}&roll=2")
    steps.button(page, "File this roll").click()
    expect(page.get_by_text("Roll 2 is filed.")).to_be_visible()
    with Archive.open(server.archive) as archive:
        on_record = archive.job(job)
    assert on_record.rolls[1].roll.pinion_move_in == pytest.approx(-0.003)
    now = present_axle(on_record)
    assert now is not None
    # Behind the pinion head thicker is deeper (common practice), so shallower by 3 is 0.030 - 0.003.
    assert now.depth_shim_in == pytest.approx(0.027)


def test_a_photo_that_cannot_be_read_says_what_to_do_and_offers_the_outline(
    server: Server, visit: Callable[..., Page]
) -> None:
    page = visit(f"{server.url}/roll?job={steps.filed_job(server)}", "phone")
    card = steps.add_photo(page, "drive", steps.photo("bad_no_compound"))
    expect(card.get_by_text("Not read")).to_be_visible()
    expect(card.locator(".reading")).to_have_count(0)
    card.get_by_role("link", name="Draw the outline").click()
    page.wait_for_url("**/outline?*photo=drive-*")
    page.get_by_role("button", name="Add a tooth").click()
    expect(page.locator(".handle")).to_have_count(7)
    expect(page.get_by_text("Outline drawn by hand")).to_be_visible()
    # The drawn outline runs the right way round for its side, so it is measured, not refused.
    expect(page.get_by_text("the wrong way round")).to_have_count(0)


def test_a_declined_photo_says_one_line_and_marks_the_place(
    server: Server, visit: Callable[..., Page]
) -> None:
    """Painted teeth that were not rolled, outlined by hand: there is a place to speak of."""
    job, name = steps.filed_job(server), "bad_not_rolled_white"
    with Archive.open(server.archive) as archive:
        photo = {
            "sha256": archive.hold_photo(steps.photo(name).read_bytes()), "name": f"{name}.jpg",
            "side": "coast", "outlines": steps.true_outlines(name)[:3],
        }  # fmt: skip
        archive.save_draft(job, "roll-1", {"photos": [photo]})
    page = visit(f"{server.url}/roll?job={job}&roll=1", "phone")
    card = page.locator('[class*="st-key-photo-coast-"]')
    expect(card.get_by_text("Roll the set both ways")).to_have_count(1, timeout=90_000)
    expect(card.get_by_role("alert")).to_have_count(1)
    drawn = card.get_by_role("img").first.evaluate(
        """async (img) => {
            if (!img.naturalWidth) await new Promise((seen) => { img.onload = seen; });
            const canvas = new OffscreenCanvas(img.naturalWidth, img.naturalHeight);
            const pen = canvas.getContext('2d');
            pen.drawImage(img, 0, 0);
            const data = pen.getImageData(0, 0, canvas.width, canvas.height).data;
            let count = 0;
            for (let k = 0; k < data.length; k += 4)
                count += data[k] > 170 && data[k + 1] > 50 && data[k + 1] < 135 && data[k + 2] < 60;
            return count;
        }"""
    )
    assert drawn > 500, "the outline of the teeth in vermilion"


def test_several_photos_at_once_and_a_phones_own_format_are_taken(
    server: Server, visit: Callable[..., Page]
) -> None:
    job = steps.filed_job(server)
    page = visit(f"{server.url}/roll?job={job}", "phone")
    both = [steps.photo("hazel_coast"), steps.photo("cedar_coast")]
    assert {photo.suffix for photo in both} == {".heic", ".jpg"}
    steps.uploader(page, "coast").set_input_files(both)
    expect(page.locator('[class*="st-key-photo-coast-"]')).to_have_count(2, timeout=90_000)
    with Archive.open(server.archive) as archive:
        kept = [archive.photo(p["sha256"]) for p in archive.draft(job, "roll-1")["photos"]]
    assert kept == [photo.read_bytes() for photo in both]


def test_a_file_that_is_no_photo_is_named_and_nothing_of_it_is_kept(
    server: Server, visit: Callable[..., Page], tmp_path: Path
) -> None:
    letter = tmp_path / "letter.jpg"
    letter.write_bytes(b"not a photo at all")
    page = visit(f"{server.url}/roll?job={steps.filed_job(server)}")
    steps.uploader(page, "drive").set_input_files(letter)
    expect(page.get_by_role("alert").get_by_text("letter.jpg: is no image")).to_be_visible()
    expect(page.locator('[class*="st-key-photo-"]')).to_have_count(0)
    expect(steps.button(page, steps.NEXT["outline"])).to_be_disabled()


def test_one_tap_moves_a_photo_to_the_other_side(
    server: Server, visit: Callable[..., Page]
) -> None:
    job = steps.filed_job(server)
    page = visit(f"{server.url}/roll?job={job}", "phone")
    card = steps.add_photo(page, "coast", steps.photo(f"{PAIR}_drive"))
    card.get_by_role("button", name="This is the drive side").click()
    moved = page.locator('[class*="st-key-photo-drive-"]')
    expect(moved).to_be_visible(timeout=90_000)
    expect(page.locator('[class*="st-key-photo-coast-"]')).to_have_count(0)
    steps.draw_outlines(page, server, job)
    _agrees_with_the_truth(steps.reading(moved), f"{PAIR}_drive")
