"""What to give to see each message about bad input: the cases that `tests/hard/messages.py` runs."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any

from PIL import Image

from app import passphrase
from pattern.advice import what_if
from pattern.jobs import AsFound
from pattern.records import Axle, SideReading
from pattern.setup import backlash, dial, preload, ratio, side_shims, stacks, starting_shim
from pattern.workflow import advise
from tests.hard.cases import AXLE, ROLLS, SIDE, drive_photo
from tests.hard.messages import Case


def _picture(width: int = 64, height: int = 48, kind: str = "JPEG") -> bytes:
    out = io.BytesIO()
    Image.linear_gradient("L").resize((width, height)).convert("RGB").save(out, kind)
    return out.getvalue()


_READ = ("read", "p.jpg", "--side", "drive")
_GOOD_PHOTO = drive_photo()


def _photo(given: str, data: bytes | None, *more: str, code: int = 3) -> Case:
    files = {} if data is None else {"p.jpg": data}
    return Case("photo", given, (*_READ, *more), files, code)


def _outline(given: str, outline: Any, side: str = "drive") -> Case:
    words = ("read", "p.png", "--side", side, "--outline", "o.json")
    return Case("outline", given, words, {"p.png": _GOOD_PHOTO, "o.json": outline})


def _case(given: str, axle: dict[str, Any] | None = None, rolls: Any = None, code: int = 5) -> Case:
    tree = {"axle": {**AXLE, **(axle or {})}, "rolls": ROLLS[:1] if rolls is None else rolls}
    return Case("case file", given, ("advise", "case.json"), {"case.json": tree}, code)


def _raw(given: str, text: Any, name: str = "case.json") -> Case:
    return Case("case file", given, ("advise", name), {name: text})


def _with(about: str, given: str, option: str, name: str, content: Any) -> Case:
    files = {"case.json": {"axle": AXLE, "rolls": ROLLS[:1]}}
    if content is not None:
        files[name] = content
    return Case(about, given, ("advise", "case.json", option, name), files)


def _setup(given: str, *words: str, code: int = 5) -> Case:
    return Case("numbers", given, ("setup", *words), {}, code)


def _predict(given: str, *words: str, teeth: str = "41/11", diameter: str = "8.5") -> Case:
    words = ("predict", "--teeth", teeth, "--diameter", diameter, *words)
    return Case("numbers", given, words)


def _sheet(given: str, sheet: Any) -> Case:
    words = ("job", "edit", "J0001", "--archive", "shop", "--sheet", "s.json")
    return Case("job sheet", given, words, {"s.json": sheet})


def _job(given: str, *words: str, code: int = 5, **files: Any) -> Case:
    return Case("job", given, ("job", *words, "--archive", "shop"), files, code)


def _call(given: str, call: Callable[[], object], code: int = 5) -> Case:
    return Case("library call", given, code=code, call=call)


_SQUARE = [[100, 100], [300, 100], [300, 200], [100, 200]]
PHOTOS = [
    _photo("a file that is not there", None),
    Case("photo", "a folder without photos", ("read", ".", "--side", "drive"), {}, 3),
    _photo("an empty file", b""),
    _photo("no picture at all", b"hello, no picture"),
    _photo("another picture format", _picture(kind="GIF")),
    _photo("a JPEG cut short", _picture(400, 300)[:-500]),
    _photo("a PNG cut short", _picture(400, 300, "PNG")[:-80]),
    _photo("a thumbnail", _picture(8, 8)),
    _photo("more pixels than the cap", _picture(1000, 900), "--settings", "s.toml"),
]  # fmt: skip
PHOTOS[-1].files["s.toml"] = "max_megapixels = 0.5"
OUTLINES = [
    _outline("a file that is not JSON", "["),
    Case("outline", "a file that is not there",
         ("read", "p.png", "--side", "drive", "--outline", "none.json"), {"p.png": _GOOD_PHOTO}),
    _outline("an empty list", []),
    _outline("a number instead of a list", [7]),
    _outline("three corners", [_SQUARE[:3]]),
    _outline("a corner that is no point", [[*_SQUARE[:3], [1, "a"]]]),
    _outline("corners that cross", [[_SQUARE[0], _SQUARE[2], _SQUARE[1], _SQUARE[3]]]),
    _outline("corners the other way round", [_SQUARE]),
    _outline("an outline of a few pixels", [[[3, 1], [1, 1], [1, 2], [3, 2]]]),
    _outline("an outline deeper than long", [[[140, 100], [100, 100], [100, 300], [140, 300]]]),
    _outline("an outline outside the picture",
             [[[x + 5000, y] for x, y in (_SQUARE[1], _SQUARE[0], _SQUARE[3], _SQUARE[2])]]),
    Case("outline", "tip and toe on one axis",
         ("read", "p.png", "--side", "drive", "--outline", "frame", "--tip", "up", "--toe", "down"),
         {"p.png": _GOOD_PHOTO}),
]  # fmt: skip
LINE = {"status": "read", "side": "drive", **SIDE, "tilt_deg": 3.0}
CASES = [
    Case("case file", "a file that is not there", ("advise", "none.json")),
    _raw("JSON that breaks off", '{"axle": '),
    _raw("TOML that breaks off", "axle = ", "case.toml"),
    _raw("a list", "[1, 2]"),
    _raw("nesting without end", "[" * 100_000),
    _raw("a field given twice", '{"axle": {}, "axle": {}, "rolls": []}'),
    _raw("no rolls field", {"axle": AXLE}),
    _raw("rolls that are no list", {"axle": AXLE, "rolls": 3}),
    _case("no roll at all", rolls=[]),
    _case("rolls without a reading", rolls=[{"backlash_in": 0.008}]),
    _case("a misspelt field", {"ring_tooth": 41}),
    _case("a field from nowhere", {"xyzzy": 41}),
    _case("a text for a number", {"ring_diameter_in": "8.5"}),
    _case("a diameter of a ship's gear", {"ring_diameter_in": 85.0}),
    _case("two thirds of a tooth", {"ring_teeth": 40.5}),
    _case("more teeth than fit", {"ring_teeth": 300}),
    _case("ring gear and pinion swapped", {"ring_teeth": 11, "pinion_teeth": 41}),
    _case("an unknown tooth system", {"tooth_system": "round"}),
    _case("limits the wrong way round", {"backlash_min_in": 0.010, "backlash_max_in": 0.006}),
    _case("limits too narrow to hold", {"backlash_min_in": 0.006, "backlash_max_in": 0.0061}, code=6),
    _case("a shim too thin for the move", {"depth_shim": "cartridge", "depth_shim_in": 0.001},
          [{"drive": {**SIDE, "lengthwise": 0.75, "profile": 0.80},
            "coast": {**SIDE, "lengthwise": 0.30, "profile": 0.80}, "backlash_in": 0.008}], 6),
    _case("a length in both units", {"depth_shim_in": 0.03, "depth_shim_mm": 0.8}),
    _case("millimetres that are no number", {"right_shim_mm": "six"}),
    _case("a ratio that the counts do not make", {"ratio": 4.10}),
    _case("a ratio that is none", {"ratio": "fast"}),
    _raw("a ratio instead of counts", {"axle": {"ratio": 3.73, "ring_diameter_in": 8.5}, "rolls": []}),
    _raw("an unusual ratio instead of counts",
         {"axle": {"ratio": 19.77, "ring_diameter_in": 8.5}, "rolls": []}),
    _raw("no diameter", {"axle": {"ring_teeth": 41, "pinion_teeth": 11}, "rolls": []}),
    _case("a target without a side", {"target": {}}),
    _case("a target that is a number", {"target": 0.5}),
    _case("a move before the first roll", rolls=[{**ROLLS[0], "pinion_move_in": 0.004}]),
    _case("a move in thousandths", rolls=[ROLLS[0], {**ROLLS[1], "pinion_move_in": 4}]),
    _case("a coast line under drive", rolls=[{"drive": {**LINE, "side": "coast"}}]),
    _case("a line with other flags", rolls=[{"drive": {**LINE, "flags": "two_bands"}}]),
    _case("a line with half an extent",
          rolls=[{"drive": {**LINE, "extent": {"lengthwise": [0.2], "profile": [0.2, 0.8]}}}]),
    _case("a reading off the tooth", rolls=[{"drive": {**SIDE, "lengthwise": 61}}]),
    _case("a face width of another axle", {"face_width_in": 4.0}),
    _case("an offset of another axle", {"offset_in": 4.0}),
    _case("a cutter that cannot cut it", {"cutter_radius_in": 0.6}),
]  # fmt: skip
SETTINGS = [
    _with("settings", "a file that is not there", "--settings", "s.toml", None),
    _with("settings", "TOML that breaks off", "--settings", "s.toml", "film_mm ="),
    _with("settings", "an unknown key", "--settings", "s.toml", "film = 1"),
    _with("settings", "a value out of range", "--settings", "s.toml", "accept_chance = 2.0"),
    _call("an unknown environment variable", lambda: _load_settings({"CONTACT_PATTERN_FILM": "1"})),
    _with("shim kit", "a file that is not there", "--kit", "k.json", None),
    _with("shim kit", "an unknown unit", "--kit", "k.json", {"name": "k", "unit": "ft"}),
    _with("shim kit", "a field from nowhere", "--kit", "k.json",
          {"name": "k", "unit": "in", "depht": []}),
    _with("shim kit", "no name", "--kit", "k.json", {"unit": "in"}),
    _with("shim kit", "millimetres sold as inches", "--kit", "k.json",
          {"name": "k", "unit": "in", "depth": [{"thickness": 2.5}]}),
    _with("shim kit", "a size twice", "--kit", "k.json",
          {"name": "k", "unit": "in", "depth": [{"thickness": 0.01}, {"thickness": 0.01}]}),
    _setup("no side shims in the kit", "stack", "--kit", "k.json", "--left", "0.2", "--right", "0.2"),
]  # fmt: skip
SETTINGS[-1].files["k.json"] = {"name": "k", "unit": "in", "depth": [{"thickness": 0.01}]}
NUMBERS = [
    _setup("no ratio", "counts", "fast"),
    _setup("a ratio that no counts make", "counts", "19.77"),
    _setup("counts swapped", "counts", "11/41"),
    _setup("a mark that is no number", "shim", "--old", "three", "--new", "+2"),
    _setup("a mark without a clear unit", "shim", "--old", "0.5", "--new", "+2"),
    _setup("a pair number for a mark", "shim", "--old", "417", "--new", "+2"),
    _setup("no old mark", "shim", "--new", "+2", "--convention", "old_minus_new"),
    _setup("no gauge reading", "shim", "--new", "+2", "--convention", "gauge_plus_mark"),
    _setup("a gauge reading that cannot be", "shim", "--new", "+2", "--convention",
           "gauge_plus_mark", "--gauge", "34"),
    _setup("a shim too thin for the marks", "shim", "--old", "-3", "--new", "+2", "--old-shim", "0.001"),
    _setup("backlash in whole thousandths", "backlash", "7", "8", "--min", "0.006", "--max", "0.010"),
    _setup("limits the wrong way round", "backlash", "0.008", "--min", "0.01", "--max", "0.006"),
    _setup("a spiral angle that cannot be", "backlash", "0.008", "--min", "0.006", "--max", "0.010",
           "--dial", "rotation", "--heel-spiral", "80"),
    _setup("a pull below nothing", "torque", "--", "-8", "2.5"),
    _setup("a radius of a mile", "torque", "8", "2500"),
    _setup("one torque limit", "torque", "8", "2.5", "--low", "14"),
    _setup("torque limits the wrong way round", "torque", "8", "2.5", "--low", "19", "--high", "14"),
    _setup("one side shim", "stack", "--left", "0.25"),
    _setup("a shim of three inches", "stack", "--depth", "3"),
    _predict("teeth that are no counts", teeth="41"),
    _predict("a move in thousandths", "--pinion", "4"),
    _predict("moves that make the teeth bind", "--ring", "-0.03"),
    _predict("pressure from an offset too large", "--offset", "4"),
    _predict("one tooth on the pinion", teeth="41/1"),
]  # fmt: skip
SHEETS = [
    _sheet("JSON that breaks off", "{"),
    _sheet("a list", []),
    _sheet("a section from nowhere", {"price": 3}),
    _sheet("a text for a reading", {"as_found": {"backlash_in": ["a"]}}),
    _sheet("backlash in whole thousandths", {"as_found": {"backlash_in": [8]}}),
    _sheet("two ring gear bolts", {"as_found": {"ring_bolts": 2}}),
    _sheet("a dial from nowhere", {"as_found": {"dial": "sideways"}}),
    _sheet("a part without a name", {"parts": [{"name": " "}]}),
    _sheet("no piece of a part", {"parts": [{"name": "bearing", "quantity": 0}]}),
    _sheet("an axle that cannot be", {"axle": {**AXLE, "ring_diameter_in": -1}}),
]  # fmt: skip
JOBS = [
    _job("a job that is not there", "show", "J0099"),
    _job("a job number that is none", "show", "X1"),
    _job("a status from nowhere", "edit", "J0001", "--status", "lost"),
    _job("a roll that is not there", "edit-roll", "J0001", "7", "--note", "x"),
    _job("a version that is no number", "edit", "J0001", "--sheet", "s.json", **{"s.json": {"version": "x"}}),
    _job("a printed record over another", "report", "J0001", "--out", "r.pdf", code=8, **{"r.pdf": b"x"}),
    _job("a folder for a photo", "add-roll", "J0001", "--drive", ".", code=3),
    _job("half an axle", "new", "--teeth", "41/11"),
    _job("teeth that are no counts", "new", "--teeth", "41", "--diameter", "8.5"),
    _job("a job without axle data", "like", "J0001"),
    _job("a file that is no zip", "import", "j.zip", **{"j.zip": b"no zip"}),
    _job("a file that is not there", "import", "j.zip"),
    _job("an output that is there", "export", "J0001", "--out", "j.zip", code=8, **{"j.zip": b"x"}),
    _job("a place that is not there", "report", "J0001", "--out", "gone/r.pdf"),
    Case("archive", "a file for an archive", ("job", "list", "--archive", "p.jpg"), {"p.jpg": b"x"}),
    Case("archive", "a backup that is none", ("archive", "restore", ".", "--archive", "new"), {"a": b""}, 7),
    Case("folder to check", "a file", ("check", "none"), {}),
    Case("folder to check", "no pairs in it", ("check", "."), {"a.txt": b""}),
    Case("folder to check", "a side that is missing", ("check", "."), {"p.jpg": b"x", "p.json": {}}),
    Case("folder to check", "JSON that breaks off", ("check", "."), {"p.jpg": b"x", "p.json": "{"}),
    Case("demo", "a folder that is not empty", ("demo", "--out", "."), {"a": b""}, 8),
    Case("overlay", "a file where a folder should be made",
         ("read", "p.png", "--side", "drive", "--outline", "frame", "--overlay", "p.png/in"),
         {"p.png": _GOOD_PHOTO}),
    Case("overlay", "pictures that are there",
         ("read", "p.png", "--side", "drive", "--outline", "frame", "--overlay", "."),
         {"p.png": _GOOD_PHOTO, "p_reading.png": b"mine"}, 8),
]  # fmt: skip
CALLS = [
    _call("a side from nowhere", lambda: _read_photo(side="top")),
    _call("a hand from nowhere", lambda: _read_photo(side="drive", hand="both")),
    _call("an outline that is a text", lambda: _read_photo(side="drive", outlines=["abcd"])),
    _call("a reading that is a text", lambda: SideReading("0.5", 0.5)),  # type: ignore[arg-type]
    _call("a hand that is none", lambda: Axle(41, 11, 8.5, hand="both")),  # type: ignore[arg-type]
    _call("rolls that are no Roll", lambda: advise(Axle(41, 11, 8.5), ["roll"])),  # type: ignore[list-item]
    _call("a shim that is a text", lambda: AsFound(depth_shim_in="0.03")),  # type: ignore[arg-type]
    _call("a dial from nowhere", lambda: AsFound(dial="sideways")),  # type: ignore[arg-type]
    _call("half a tooth count", lambda: ratio.check_counts(40.5, 11)),  # type: ignore[arg-type]
    _call("no readings around the ring gear", lambda: backlash.backlash_around([])),
    _call("a reading of eight inches", lambda: backlash.backlash_around([8.0])),
    _call("two places for one reading", lambda: backlash.backlash_around([0.008], places_deg=[0, 90])),
    _call("a spread of nothing", lambda: backlash.backlash_around([0.008], reading_sd_in=0.0)),
    _call("one radius of two", lambda: dial.normal_backlash(0.008, "normal", dial_radius_in=3.0)),
    _call("a direction from nowhere", lambda: dial.normal_backlash(0.008, "up")),  # type: ignore[arg-type]
    _call("a unit from nowhere", lambda: preload.rotating_torque(8, 2.5, "st")),  # type: ignore[arg-type]
    _call("no notch turned", lambda: side_shims.learn_notch([])),
    _call("notches against the move", lambda: side_shims.learn_notch([(2, -0.004)])),
    _call("a ring gear move of an inch", lambda: side_shims.side_shims_for(1.0, "left")),
    _call("a notch of an inch", lambda: side_shims.notches_for(0.004, 1.0, "left")),
    _call("one notch a turn", lambda: side_shims.notch_from_thread(0.0625, 1)),
    _call("a thread pitch of an inch", lambda: side_shims.notch_from_thread(1.0, 40)),
    _call("a preload of an inch", lambda: side_shims.side_shims_for(0.004, "left", preload_change_in=1.0)),
    _call("a side shim too thin", lambda: side_shims.side_shims_for(0.004, "left", left_in=0.001)),
    _call("a depth shim too thin", lambda: stacks.depth_shim_for(-0.004, "pinion_head", 0.001)),
    _call("a kit in feet", lambda: stacks.ShimKit("k", "ft")),  # type: ignore[arg-type]
    _call("less than no pieces", lambda: stacks.ShimKit("k", "in", (stacks.ShimSize(0.01, -1),))),
    _call("a convention from nowhere",
          lambda: starting_shim.starting_shim("mine", 0.002, old_mark_in=0.001)),  # type: ignore[arg-type]
    _call("a pinion depth of a mile", lambda: starting_shim.shim_from_depth(3.0, 99.0, "cartridge")),
    _call("a gauge not zeroed", lambda: starting_shim.shim_from_depth(3.0, 3.5, "cartridge")),
    _call("a move of an inch to try", lambda: what_if.what_if(Axle(41, 11, 8.5), [], 1.0, 0.0, "tapered")),
    _call("a passphrase of three letters", lambda: passphrase.make_lock("abc")),
]  # fmt: skip
ALL = [*PHOTOS, *OUTLINES, *CASES, *SETTINGS, *NUMBERS, *SHEETS, *JOBS, *CALLS]


def _load_settings(environment: dict[str, str]) -> object:
    from pattern.settings import load_settings

    return load_settings(None, environment)


def _read_photo(**options: Any) -> object:
    from pattern.photo.decode import decode_photo
    from pattern.workflow import read_photo

    outlines = options.pop("outlines", "frame")
    return read_photo(decode_photo(_GOOD_PHOTO, "p.png"), outlines=outlines, **options)
