"""Each screen in each of its states."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from urllib.parse import parse_qsl

import cv2
import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from pattern.archive.store import Archive
from pattern.jobs import AsFound, FinalSheet
from tests.app.cases import ADJUST, AXLE, ROLL, button, field
from tests.app.conftest import words

# --- jobs ---------------------------------------------------------------------------------------


def test_an_empty_archive_says_how_to_begin(screen: Callable[..., AppTest]) -> None:
    page = screen("jobs")
    assert "two photos of one test roll" in words(page)
    assert button(page, "Start a job")


def test_the_list_names_each_job_its_set_and_its_rolls(
    screen: Callable[..., AppTest], archive: Archive
) -> None:
    job = archive.new_job(customer="Order <17>", vehicle="hay truck", axle=AXLE)
    archive.add_roll(job, ROLL, [])
    archive.new_job(vehicle="loader")
    text = words(screen("jobs"))
    assert f"<b>{job}</b> Order &lt;17&gt; · hay truck" in text
    assert "41/11 · 8.5 in · 1 roll · open" in text
    assert "axle not described yet · no roll filed" in text


def test_a_search_that_finds_nothing_says_so(
    screen: Callable[..., AppTest], archive: Archive
) -> None:
    archive.new_job(vehicle="loader")
    page = screen("jobs")
    field(page, "Find a job").set_value("barge").run()
    assert "No job matches “barge”." in words(page)
    field(page, "Find a job").set_value("load").run()
    assert "loader" in words(page)


def test_the_link_to_older_jobs_keeps_the_units(
    screen: Callable[..., AppTest], archive: Archive
) -> None:
    for _ in range(51):
        archive.new_job(axle=AXLE)
    page = screen("jobs", units="mm")
    assert "41/11 · 215.9 mm" in words(page)
    (link,) = [e.proto for e in page.get("page_link") if e.proto.label == "Older jobs"]
    assert dict(parse_qsl(link.query_string)) == {"older": "J0002", "units": "mm"}


def test_an_address_without_a_job_says_so(screen: Callable[..., AppTest]) -> None:
    page = screen("roll")
    assert "This address names no job. Choose one from the list" in page.exception[0].message


# --- axle ---------------------------------------------------------------------------------------


def test_the_axle_waits_for_what_it_cannot_do_without(
    screen: Callable[..., AppTest], archive: Archive
) -> None:
    page = screen("axle", job=archive.new_job())
    assert button(page, "Next: photos of the test roll").disabled
    assert "Ring gear teeth, Pinion teeth, Ring gear diameter" in words(page)


def test_a_described_axle_is_on_record_with_what_was_not_said_left_unknown(
    screen: Callable[..., AppTest], archive: Archive
) -> None:
    job = archive.new_job()
    page = screen("axle", job=job)
    field(page, "Ring gear teeth").set_value(41).run()
    field(page, "Pinion teeth").set_value(11).run()
    field(page, "Ring gear diameter (in)").set_value(8.5).run()
    field(page, "Most (in)").set_value(0.012).run()
    assert "Ratio 3.727" in words(page)
    button(page, "Next: photos of the test roll").click().run()
    axle = archive.job(job).axle
    assert axle is not None
    assert (axle.ring_teeth, axle.pinion_teeth, axle.ring_diameter_in) == (41, 11, 8.5)
    assert axle.backlash_max_in == 0.012
    assert (axle.tooth_system, axle.depth_shim, axle.depth_shim_in) == ("unknown", "unknown", None)
    assert archive.draft(job, "axle") is None


def test_a_sheet_that_another_bench_saved_meanwhile_is_not_overwritten_unsaid(
    screen: Callable[..., AppTest], archive: Archive
) -> None:
    job = archive.new_job(customer="Ada", axle=AXLE)
    stale = screen("axle", job=job)
    other = AsFound(pinion_mark="+2")
    archive.edit(job, as_found=other, axle=replace(AXLE, backlash_max_in=0.012), by="Bea")
    field(stale, "Etched on the pinion").set_value("-1").run()
    field(stale, "Customer or order number").set_value("Ada & Co").run()
    button(stale, "Next: photos of the test roll").click().run()
    assert "as_found by Bea" in words(stale)
    assert "Press again" in words(stale)
    assert archive.job(job).as_found == other, "nothing was written"
    button(stale, "Next: photos of the test roll").click().run()
    told = archive.job(job)
    assert (told.as_found.pinion_mark, told.customer) == ("-1", "Ada & Co")
    assert told.axle is not None
    assert told.axle.backlash_max_in == 0.012, (
        "what this page did not touch is as the other left it"
    )
    assert archive.draft(job, "as-found") is None


def test_a_final_sheet_saved_on_two_benches_is_told_once(
    screen: Callable[..., AppTest], archive: Archive
) -> None:
    job = archive.new_job(axle=AXLE)
    archive.add_roll(job, ROLL, [])
    page = screen("final", job=job)
    archive.edit(job, final=FinalSheet(checked_by="Bea"))
    field(page, "Checked by").set_value("Cy").run()
    button(page, "Finish the job").click().run()
    assert "final" in words(page)
    assert archive.job(job).final.checked_by == "Bea"
    archive.edit(job, final=FinalSheet(checked_by="Dov"))
    button(page, "Finish the job").click().run()
    assert archive.job(job).final.checked_by == "Dov", "changed once more: told once more"
    button(page, "Finish the job").click().run()
    assert (archive.job(job).final.checked_by, archive.job(job).status) == ("Cy", "done")


def test_two_devices_fill_in_one_sheet_without_undoing_each_other(
    screen: Callable[..., AppTest], archive: Archive
) -> None:
    job = archive.new_job()
    phone, desk = screen("axle", job=job), screen("axle", job=job)
    field(phone, "Ring gear teeth").set_value(41).run()
    field(desk, "Pinion teeth").set_value(11).run()
    kept = archive.draft(job, "axle")
    assert (kept["ring_teeth"], kept["pinion_teeth"]) == (41, 11)


def test_limits_the_wrong_way_round_are_named_and_nothing_is_stored(
    screen: Callable[..., AppTest], archive: Archive
) -> None:
    job = archive.new_job(axle=AXLE)
    page = screen("axle", job=job)
    field(page, "Least (in)").set_value(0.015).run()
    button(page, "Next: photos of the test roll").click().run()
    assert "backlash_min_in" in words(page)
    assert "lower limit first" in words(page)
    kept = archive.job(job).axle
    assert kept is not None
    assert kept.backlash_min_in == AXLE.backlash_min_in


def test_swapped_tooth_counts_are_seen_while_they_are_typed(
    screen: Callable[..., AppTest], archive: Archive
) -> None:
    page = screen("axle", job=archive.new_job())
    field(page, "Ring gear teeth").set_value(11).run()
    field(page, "Pinion teeth").set_value(41).run()
    assert "larger count" in words(page)


def test_the_default_limits_are_said_to_be_practice_and_not_the_makers(
    screen: Callable[..., AppTest], archive: Archive
) -> None:
    page = screen("axle", job=archive.new_job())
    assert "The maker's limits decide" in words(page)
    field(page, "Most (in)").set_value(0.009).run()
    assert "The maker's limits decide" not in words(page)


# --- roll ---------------------------------------------------------------------------------------


def test_a_roll_without_photos_cannot_go_on(
    screen: Callable[..., AppTest], archive: Archive
) -> None:
    page = screen("roll", job=archive.new_job(axle=AXLE))
    assert button(page, "Next: check the outline").disabled
    assert "Add a photo" in words(page)


def test_uploads_are_in_the_archive_byte_for_byte_before_anything_is_read_off_them(
    screen: Callable[..., AppTest], archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*_: object, **__: object) -> None:
        raise ZeroDivisionError("a fault in the reader")

    monkeypatch.setattr("app.calls.read_draft", fails)
    job = archive.new_job(axle=AXLE)
    page = screen("roll", job=job)
    grey = cv2.imencode(".png", np.full((300, 400, 3), 90, np.uint8))[1].tobytes()
    uploader = next(u for u in page.file_uploader if "coast" in u.label)
    uploader.set_value([("one.png", grey, "image/png"), ("two.png", grey + b"2", "image/png")])
    page.run()
    kept = archive.draft(job, "roll-1")["photos"]
    assert [(photo["name"], photo["side"]) for photo in kept] == [
        ("one.png", "coast"), ("two.png", "coast")
    ]  # fmt: skip
    assert archive.photo(kept[1]["sha256"]) == grey + b"2"
    assert "one.png could not be read" in words(page)
    assert "Draw the outline by hand" in words(page)
    assert not button(page, "Next: check the outline").disabled


def test_the_second_roll_begins_with_the_move_as_advised(
    screen: Callable[..., AppTest], archive: Archive
) -> None:
    job = archive.new_job(axle=AXLE)
    archive.add_roll(job, ROLL, [], ADJUST)
    page = screen("roll", job=job, roll=2)
    assert field(page, "Pinion by (in)").value == pytest.approx(0.004)
    assert field(page, "Ring gear by (in)").value == pytest.approx(0.002)
    ways = {control.label: control.value for control in page.button_group}
    assert ways["Pinion"] == "deeper"
    assert ways["Ring gear"] == "toward"
    draft = archive.draft(job, "roll-2")
    assert (draft["pinion_move_in"], draft["ring_move_in"]) == (0.004, -0.002)


def test_a_filed_roll_is_shown_but_cannot_be_changed_here(
    screen: Callable[..., AppTest], archive: Archive
) -> None:
    job = archive.new_job(axle=AXLE)
    archive.add_roll(job, ROLL, [])
    page = screen("roll", job=job, roll=1)
    assert "**0.009 in**" in words(page)
    assert not page.get("file_uploader")


def test_a_roll_can_be_left_out_with_its_reason_and_taken_back(
    screen: Callable[..., AppTest], archive: Archive
) -> None:
    job = archive.new_job(axle=AXLE)
    archive.add_roll(job, ROLL, [])
    page = screen("roll", job=job, roll=1)
    assert button(page, "Leave it out of the advice").disabled
    field(page, "Why not").set_value("oil on the teeth").run()
    button(page, "Leave it out of the advice").click().run()
    assert "Left out of the advice: oil on the teeth" in words(page)
    assert archive.job(job).standing_rolls == ()
    button(page, "Let it count again").click().run()
    assert len(archive.job(job).standing_rolls) == 1
