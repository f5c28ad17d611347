"""The advice card and the final sheet in each of their states."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import cv2
import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from pattern.archive.store import Archive
from pattern.records import Advice
from tests.app.cases import ADJUST, AXLE, ROLL, button, field
from tests.app.conftest import words

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


def test_a_last_roll_that_asks_for_a_move_is_pointed_out_on_the_final_sheet(
    screen: Callable[..., AppTest], archive: Archive
) -> None:
    # a set leaves the bench with its last pattern on record (common practice, no source)
    job = archive.new_job(axle=AXLE)
    archive.add_roll(job, ROLL, [], ADJUST)
    assert "Roll 1, the last on file, was not right yet" in words(screen("final", job=job))
    archive.add_roll(job, ROLL, [], replace(ADJUST, verdict="accept"))
    assert "not right yet" not in words(screen("final", job=job))
    archive.edit_roll(job, 2, struck="wrong photos")
    assert "Roll 1, the last on file, was not right yet" in words(screen("final", job=job))


def test_a_last_roll_without_advice_is_not_called_wrong(
    screen: Callable[..., AppTest], archive: Archive
) -> None:
    job = archive.new_job(axle=AXLE)
    archive.add_roll(job, ROLL, [], None)
    assert "not right yet" not in words(screen("final", job=job))


def test_moves_that_do_not_fit_the_shims_are_pointed_out_and_do_not_bar_the_final_sheet(
    screen: Callable[..., AppTest], archive: Archive
) -> None:
    job = archive.new_job(axle=replace(AXLE, depth_shim_in=0.002))
    archive.add_roll(job, ROLL, [], ADJUST)
    archive.add_roll(job, replace(ROLL, pinion_move_in=-0.005, ring_move_in=0.0), [])
    page = screen("final", job=job)
    assert "0.002 in is too thin to take 0.0050 in out" in words(page)
    assert field(page, "Depth shim (in)").value is None
    button(page, "Finish the job").click().run()
    assert archive.job(job).status == "done"


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
