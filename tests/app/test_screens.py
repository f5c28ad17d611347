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
from pattern.records import Advice, Axle, Expected, Roll, SideReading
from tests.app.conftest import words

AXLE = Axle(
    41, 11, 8.5, tooth_system="tapered", depth_shim="pinion_head", depth_shim_in=0.030,
    left_shim_in=0.250, right_shim_in=0.265,
)  # fmt: skip
ROLL = Roll(
    SideReading(0.40, 0.60, length=0.4, width=0.5), SideReading(0.55, 0.58), backlash_in=0.009
)
ADJUST = Advice(
    "adjust", pinion_move_in=0.004, pinion_move_sd_in=0.0015, ring_move_in=-0.002,
    ring_move_sd_in=0.001, depth_shim_in=0.034, left_shim_in=0.252, right_shim_in=0.263,
    shim_stack={"depth": (0.020, 0.014)}, chance=0.83, reasons=("Both marks lie high.",),
    expected=Expected(SideReading(0.45, 0.5), SideReading(0.5, 0.5), 0.008, 0.001),
)  # fmt: skip


def button(page: AppTest, label: str):  # type: ignore[no-untyped-def]
    (found,) = [b for b in page.button if b.label == label]
    return found


def field(page: AppTest, label: str):  # type: ignore[no-untyped-def]
    (found,) = [f for f in [*page.number_input, *page.text_input] if f.label == label]
    return found


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


# --- advice -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("verdict", "said", "onward"),
    [
        ("accept", "The pattern is right. Leave the shims.", "Next: final sheet"),
        ("adjust", "Make this move", "Next: roll 2"),
        ("reject", "No shim mends this set", "Next: final sheet"),
        ("undecided", "Not decided yet", "Next: roll 2"),
    ],
)
def test_each_verdict_has_its_words_and_its_next_step(
    verdict: str, said: str, onward: str, screen: Callable[..., AppTest], archive: Archive
) -> None:
    job = archive.new_job(axle=AXLE)
    archive.add_roll(job, ROLL, [], Advice(verdict, reasons=("Because.",)))  # type: ignore[arg-type]
    page = screen("advice", job=job, roll=1)
    assert said in words(page)
    assert "Because." in words(page)
    assert button(page, onward)


def test_the_card_names_the_moves_in_words_the_shims_and_the_stack(
    screen: Callable[..., AppTest], archive: Archive
) -> None:
    job = archive.new_job(axle=AXLE)
    archive.add_roll(job, ROLL, [], ADJUST)
    text = words(screen("advice", job=job, roll=1))
    assert "Pinion deeper <b>0.004 in</b> <small>± 0.0015 in</small>" in text
    assert "Ring gear toward the pinion <b>0.002 in</b>" in text
    assert "0.030 in → <b>0.034 in</b>" in text
    assert "0.020 in + 0.014 in" in text
    assert "0.250 in → <b>0.252 in</b>" in text
    assert "83%" in text
    assert button(screen("advice", job=job, roll=1), "Next: the move is made, roll 2")


def test_where_the_present_shims_are_not_known_the_card_says_what_to_add_and_take_out(
    screen: Callable[..., AppTest], archive: Archive
) -> None:
    """Thicker at the pinion head is deeper (common practice, no source); thicker behind the ring gear,
    here on the left, brings it toward the pinion (TM 9-2320-289-34 p. 6-22).
    """
    axle = replace(AXLE, depth_shim_in=None, left_shim_in=None, right_shim_in=None)
    job = archive.new_job(axle=axle)
    advice = replace(ADJUST, depth_shim_in=None, left_shim_in=None, right_shim_in=None)
    archive.add_roll(job, ROLL, [], advice)
    text = words(screen("advice", job=job, roll=1))
    assert "<dt>Depth shim</dt><dd>add <b>0.004 in</b>" in text
    assert "<dt>Left side shim</dt><dd>add <b>0.002 in</b>" in text
    assert "<dt>Right side shim</dt><dd>take out <b>0.002 in</b>" in text


def test_a_depth_shim_of_unknown_place_is_neither_thicker_nor_thinner(
    screen: Callable[..., AppTest], archive: Archive
) -> None:
    axle = replace(AXLE, depth_shim="unknown", depth_shim_in=None)
    job = archive.new_job(axle=axle)
    archive.add_roll(job, ROLL, [], replace(ADJUST, depth_shim_in=None, shim_stack={}))
    text = words(screen("advice", job=job, roll=1))
    assert "Pinion deeper <b>0.004 in</b>" in text
    assert "Depth shim" not in text


def test_in_millimetres_the_card_shows_the_same_move(
    screen: Callable[..., AppTest], archive: Archive
) -> None:
    """1 in = 25.4 mm exactly (NIST SP 811, Appendix B): 0.004 in is 0.1016 mm."""
    job = archive.new_job(axle=AXLE)
    archive.add_roll(job, ROLL, [], ADJUST)
    text = words(screen("advice", job=job, roll=1, units="mm"))
    assert "<b>0.102 mm</b>" in text
    assert " in</b>" not in text


def test_a_roll_whose_photos_could_not_be_read_gets_no_advice_and_cannot_be_filed(
    screen: Callable[..., AppTest], archive: Archive
) -> None:
    job = archive.new_job(axle=AXLE)
    grey = cv2.imencode(".png", np.full((300, 400, 3), 90, np.uint8))[1].tobytes()
    outline = [[300, 100], [200, 95], [100, 100], [100, 180], [200, 175], [300, 180]]
    photo = {"sha256": archive.hold_photo(grey), "name": "grey.png", "side": "drive"}
    archive.save_draft(job, "roll-1", {"photos": [photo | {"outlines": [outline]}]})
    page = screen("advice", job=job, roll=1)
    assert "Draw the outline by hand or photograph again" in words(page)
    assert "File this roll" not in [b.label for b in page.button]
    assert button(page, "Back to the photos")


# --- final --------------------------------------------------------------------------------------


def test_finishing_puts_the_final_sheet_on_record(
    screen: Callable[..., AppTest], archive: Archive
) -> None:
    job = archive.new_job(axle=AXLE)
    archive.add_roll(job, ROLL, [], ADJUST)
    page = screen("final", job=job)
    field(page, "Backlash at several places (in)").set_value("0.008 0.0085; 0,0075").run()
    assert "comes into the report when the job is finished" in words(page)
    field(page, "Checked by").set_value("M. Oke").run()
    button(page, "Finish the job").click().run()
    kept = archive.job(job)
    assert kept.status == "done"
    assert kept.final.backlash_in == (0.008, 0.0085, 0.0075)
    assert kept.final.checked_by == "M. Oke"
    assert kept.final.depth_shim_in == 0.030
    assert "This job is done." in words(page)


def test_a_report_made_before_the_last_change_is_not_handed_out(
    screen: Callable[..., AppTest], archive: Archive
) -> None:
    job = archive.new_job(axle=AXLE)
    archive.add_roll(job, ROLL, [], ADJUST)
    page = screen("final", job=job)
    assert "comes into the report" not in words(page)
    button(page, "Make the report").click().run()
    (download,) = page.get("download_button")
    assert download.proto.label == "Report (PDF)"
    archive.edit(job, notes="after the report")
    page.run()
    assert not page.get("download_button")
    assert button(page, "Make the report")


def test_when_the_job_is_done_the_report_is_the_next_step(
    screen: Callable[..., AppTest], archive: Archive
) -> None:
    job = archive.new_job(axle=AXLE)
    archive.add_roll(job, ROLL, [], ADJUST)
    archive.edit(job, status="done")
    page = screen("final", job=job)
    assert button(page, "Make the report").proto.type == "primary"
    assert button(page, "Open the job again").proto.type == "secondary"


def test_readings_that_are_no_numbers_are_pointed_out_and_not_kept(
    screen: Callable[..., AppTest], archive: Archive
) -> None:
    job = archive.new_job(axle=AXLE)
    page = screen("final", job=job)
    field(page, "Backlash at several places (in)").set_value("eight and nine").run()
    assert "Write the readings as numbers" in words(page)
    button(page, "Finish the job").click().run()
    assert archive.job(job).final.backlash_in == ()


def test_a_backlash_that_cannot_be_is_refused_with_its_field(
    screen: Callable[..., AppTest], archive: Archive
) -> None:
    job = archive.new_job(axle=AXLE)
    page = screen("final", job=job)
    field(page, "Backlash at several places (in)").set_value("8.5").run()
    button(page, "Finish the job").click().run()
    assert "final.backlash_in" in words(page)
    assert archive.job(job).status == "open"
