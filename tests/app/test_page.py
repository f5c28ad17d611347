"""The page as a whole: faults, drafts, figures, words."""

from __future__ import annotations

import ast
from pathlib import Path
from typing import Literal

import pytest
from streamlit.testing.v1 import AppTest

import app
from app import calls, figures, wording
from app.components.outline_editor import Drawn, Outline, drawn, in_row
from app.drafts import PhotoDraft, changed_draft, load_draft
from pattern.archive.store import Archive
from tests.app.conftest import TIMEOUT_S, words

APP = Path(app.__file__).parent


def test_an_archive_that_does_not_open_is_said_in_one_line_without_a_traceback(
    archive: Archive, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    broken = tmp_path / "broken"
    broken.mkdir()
    (broken / "archive.sqlite").write_bytes(b"this is no database" * 100)
    for name in archive.location.folder.iterdir() if archive.location.folder else ():
        if name.suffix in (".sqlite", ".db", ".sqlite3"):
            (broken / name.name).write_bytes(b"this is no database" * 100)
    monkeypatch.setenv("CONTACT_PATTERN_ARCHIVE", str(broken))
    page = AppTest.from_file(str(APP / "main.py"), default_timeout=TIMEOUT_S).run()
    assert "The job archive does not open." in words(page)
    assert not page.exception


def test_a_roll_in_work_comes_back_as_it_was_kept(archive: Archive) -> None:
    job = archive.new_job()
    outline = tuple((float(i), float(i * i)) for i in range(6))
    with changed_draft(archive, job, 1) as roll:
        roll.add(PhotoDraft("a" * 64, "one.jpg", "drive", (outline,)))
        roll.add(PhotoDraft("b" * 64, "two.jpg", "coast"))
        roll.add(PhotoDraft("a" * 64, "one again.jpg", "drive"))
        roll.backlash_in = 0.0085
    kept = load_draft(archive, job, 1)
    assert [photo.name for photo in kept.photos] == ["one.jpg", "two.jpg"]
    assert kept.photos[0].outlines == (outline,)
    assert kept.backlash_in == 0.0085
    assert load_draft(archive, job, 1).uid == kept.uid


def test_two_devices_add_photos_to_one_roll_without_losing_any(archive: Archive) -> None:
    from threading import Thread

    job = archive.new_job()

    def add(device: int) -> None:
        for k in range(5):
            with changed_draft(archive, job, 1) as roll:
                roll.add(PhotoDraft(f"{device}{k}", f"{device}-{k}.jpg", "drive"))

    devices = [Thread(target=add, args=(device,)) for device in range(3)]
    for device in devices:
        device.start()
    for device in devices:
        device.join()
    assert len(load_draft(archive, job, 1).photos) == 15


def test_the_drawer_is_the_kit_that_the_advice_lays_stacks_from(archive: Archive) -> None:
    """1 in = 25.4 mm exactly (NIST SP 811, Appendix B)."""
    assert calls.shop_kit() is None
    sizes_in = [figures.kept(size, "mm") for size in (0.05, 0.10, 0.25, 0.70)]
    archive.save_draft("", calls.KIT, {"unit": "mm", "depth": sizes_in})
    kit = calls.shop_kit()
    assert kit is not None
    assert [size.thickness for size in kit.depth] == [0.05, 0.10, 0.25, 0.70]
    assert kit.side == ()
    assert kit.depth_stack(0.80 / 25.4).total_in == pytest.approx(0.80 / 25.4, abs=1e-6)


def test_outlines_drawn_on_an_older_revision_are_ignored() -> None:
    outline = [[1.0, 2.0]] * 6
    answer = {"outline": {"rev": 3, "teeth": [outline]}}
    assert drawn(answer, 3) == Drawn((tuple((1.0, 2.0) for _ in range(6)),), False, ())
    assert drawn(answer, 4) is None
    assert drawn(None, 0) is None


def test_teeth_keep_their_number_along_the_row_when_one_is_corrected() -> None:
    def at(x: float, kind: Literal["drawn", "followed"]) -> Outline:
        return Outline(tuple((x + 9.0 * k, 3.0 * k) for k in range(6)), kind)

    left, middle, right = at(100, "followed"), at(160, "drawn"), at(230, "followed")
    assert in_row([middle, left, right]) == (left, middle, right)
    assert in_row([]) == ()


def test_a_photo_kept_by_an_earlier_version_stays_one_photo_when_it_is_changed(
    archive: Archive,
) -> None:
    job = archive.new_job(vehicle="v")
    old = {"sha256": "a" * 64, "name": "p.jpg", "side": "drive", "outlines": None}
    archive.save_draft(job, "roll-1", {"photos": [old]})
    outline = tuple((float(k), float(k)) for k in range(6))
    with changed_draft(archive, job, 1) as roll:
        roll.redraw(roll.photos[0], (outline,), True, ((4.0, 5.0),))
    (photo,) = load_draft(archive, job, 1).photos
    assert (photo.outlines, photo.follow, photo.without) == ((outline,), True, ((4.0, 5.0),))
    with changed_draft(archive, job, 1) as roll:
        roll.redraw(photo, None, True, ((4.0, 5.0),))
    (photo,) = load_draft(archive, job, 1).photos
    assert (photo.outlines, photo.follow, photo.without) == (None, False, ())


@pytest.mark.parametrize(
    ("text", "units", "inches"),
    [
        ("0.008 0.0085", "in", (0.008, 0.0085)),
        ("0,20; 0,25", "mm", (0.2 / 25.4, 0.25 / 25.4)),
        ("0.008, 0.009", "in", (0.008, 0.009)),
        ("", "in", ()),
        ("eight", "in", None),
        ("nan", "in", None),
    ],
)
def test_readings_in_one_line(text: str, units: str, inches: tuple[float, ...] | None) -> None:
    """1 in = 25.4 mm exactly (NIST SP 811, Appendix B)."""
    found = figures.parsed(text, units)  # type: ignore[arg-type]
    assert found == (None if inches is None else pytest.approx(inches, abs=1e-7))


def test_every_word_of_the_language_file_is_used_and_no_screen_brings_its_own() -> None:
    """A word that is not in the language file would stay untranslated."""
    sources = {p: p.read_text("utf-8") for p in APP.rglob("*.py") if p.name != "wording.py"}
    together = "\n".join(sources.values())
    names = [n for n in vars(wording) if not n.startswith("_") and n not in ("annotations", "math")]
    assert [name for name in names if f"wording.{name}" not in together] == [
        name for name in names if name in _USED_INSIDE
    ]
    shown = {
        "write",
        "markdown",
        "caption",
        "error",
        "warning",
        "info",
        "success",
        "button",
        "subheader",
    }
    for path, text in sources.items():
        for call in ast.walk(ast.parse(text)):
            if isinstance(call, ast.Call) and getattr(call.func, "attr", "") in shown and call.args:
                first = call.args[0]
                literal = isinstance(first, ast.Constant) and isinstance(first.value, str)
                assert not literal, f"{path.name} line {call.lineno} shows its own words"


_USED_INSIDE = {"MIDDLE"}
"""Words that functions of the language file itself put together."""
