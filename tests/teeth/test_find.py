"""Finding teeth, with the network replaced by what it would say if it were right.

The maps come from the drawn scene's own truth, so these tests judge what is made of them: teeth,
corners, toe, and the reasons to decline.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pattern.photo.decode import load_photo
from pattern.records import Photo, Reason, Side
from pattern.settings import Settings
from pattern.teeth import declared, find, looks
from pattern.teeth.fields import PixelFields
from pattern.teeth.found import FoundTeeth
from pattern.teeth.verdict import why_not
from tests.drawn import Drawn, drawn_gear
from tests.drawn_fields import fields_of

SETTINGS = Settings()
SAMPLES = Path(__file__).parents[2] / "sample_images"


def _say(monkeypatch: pytest.MonkeyPatch, predict: Callable[..., PixelFields]) -> None:
    """Let `predict` stand for the network, wherever it is asked."""
    for module in (looks, declared):
        monkeypatch.setattr(module, "predict_fields", predict)


def _swapped(fields: PixelFields) -> PixelFields:
    """What the network says when the other side is declared."""
    return replace(fields, side=fields.other, other=fields.side)


def _find(
    drawn: Drawn,
    monkeypatch: pytest.MonkeyPatch,
    *,
    declared: Side | None = None,
    fields: PixelFields | None = None,
    **options: object,
) -> FoundTeeth:
    said = fields or fields_of(drawn, noise=0.015)
    side = declared or drawn.side

    def predict(_pixels: object, asked: Side, *args: object, **kwargs: object) -> PixelFields:
        return said if asked == side else _swapped(said)

    _say(monkeypatch, predict)
    return find.find_teeth(drawn.photo, side, drawn.hand, SETTINGS, **options)  # type: ignore[arg-type]


@pytest.mark.parametrize("roll", [0.0, 95.0, 200.0])
@pytest.mark.parametrize("side", ["drive", "coast"])
def test_painted_teeth_are_found_at_any_camera_roll(
    side: Side, roll: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    drawn = drawn_gear(side, roll_deg=roll, tilt_deg=(8.0, 40.0))
    found = _find(drawn, monkeypatch)
    assert not [f for f in found.flags if f.code != "end_cut"]
    assert len(found.teeth) == 3
    for truth in drawn.teeth:
        apart = [np.linalg.norm(t.corners - truth.corners, axis=1).max() for t in found.teeth]
        length = np.linalg.norm(truth.corners[0] - truth.corners[1])
        assert min(apart) < 0.05 * length


def test_the_toe_is_named_as_it_lies_in_the_picture(monkeypatch: pytest.MonkeyPatch) -> None:
    assert _find(drawn_gear("drive", tilt_deg=(8.0, 40.0)), monkeypatch).toe == "right"
    assert _find(drawn_gear("coast", tilt_deg=(8.0, 40.0)), monkeypatch).toe == "left"


def test_a_toe_given_by_the_user_turns_the_teeth_and_is_flagged(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    drawn = drawn_gear("drive", tilt_deg=(8.0, 40.0))
    plain, turned = _find(drawn, monkeypatch), _find(drawn, monkeypatch, toe="left")
    assert turned.toe == "left"
    assert "toe_overridden" in [flag.code for flag in turned.flags]
    assert np.allclose(plain.teeth[0].corners[0], turned.teeth[0].corners[1])


def test_unpainted_teeth_are_no_compound(monkeypatch: pytest.MonkeyPatch) -> None:
    drawn = drawn_gear("drive", painted=False, tilt_deg=(8.0, 40.0))
    found = _find(drawn, monkeypatch)
    assert found.teeth == ()
    assert [flag.code for flag in found.flags] == ["no_compound"]
    assert "none of them painted" in found.flags[0].message


def test_paint_on_the_other_side_alone_is_the_wrong_side(monkeypatch: pytest.MonkeyPatch) -> None:
    drawn = drawn_gear("drive", tilt_deg=(8.0, 40.0))
    fields = _swapped(fields_of(drawn, noise=0.015))
    hidden = replace(fields, painted=fields.painted * (fields.other > 0.5))
    found = _find(drawn, monkeypatch, declared="coast", fields=hidden)
    assert found.teeth == ()
    assert [flag.code for flag in found.flags] == ["wrong_side"]


def test_a_field_that_runs_the_wrong_way_round_gives_no_teeth(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    drawn = drawn_gear("drive", tilt_deg=(8.0, 40.0))
    found = _find(drawn, monkeypatch, declared="coast")
    assert found.teeth == ()
    assert found.flags[0].code in ("wrong_side", "unsure_teeth")


def test_an_empty_picture_has_no_teeth(monkeypatch: pytest.MonkeyPatch) -> None:
    drawn = drawn_gear("drive", tilt_deg=(8.0, 40.0))
    fields = fields_of(drawn)
    nothing = replace(
        fields, side=fields.side * 0, other=fields.other * 0, quality={"no_teeth": 0.99}
    )
    found = _find(drawn, monkeypatch, fields=nothing)
    assert [flag.code for flag in found.flags] == ["no_teeth"]


@pytest.mark.parametrize("code", ["blurred", "too_dark", "blown_out", "glare", "no_teeth"])
def test_what_the_network_calls_bad_stops_the_photo(
    code: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    drawn = drawn_gear("drive", tilt_deg=(8.0, 40.0))
    fields = replace(fields_of(drawn, noise=0.015), quality={code: 0.97})
    found = _find(drawn, monkeypatch, fields=fields)
    assert found.teeth == ()
    assert [flag.code for flag in found.flags] == [code]


def test_teeth_whose_end_is_out_of_the_picture_say_which(monkeypatch: pytest.MonkeyPatch) -> None:
    drawn = drawn_gear("drive", tilt_deg=(8.0, 40.0))
    heel = int(drawn.teeth[1].corners[:, 0].min())
    cut = heel + 70
    crop = drawn.photo.pixels[:, cut:]
    fields = fields_of(drawn, noise=0.015)
    step = cut // 2

    def cropped(values: np.ndarray) -> np.ndarray:
        return values[:, step:]

    names = (
        "side", "other", "painted", "compound", "contact", "edge",
        "lengthwise", "profile", "lengthwise_sd", "profile_sd",
    )  # fmt: skip
    part = replace(fields, **{n: cropped(getattr(fields, n)) for n in names})
    _say(
        monkeypatch,
        lambda _p, asked, *a, **k: part if asked == "drive" else _swapped(part),
    )
    found = find.find_teeth(Photo("p", "0" * 64, crop), "drive", "right", SETTINGS)
    codes = [flag.code for flag in found.flags]
    assert codes == ["tooth_cut"] or "end_cut" in codes
    if codes == ["tooth_cut"]:
        assert "heel" in found.flags[0].message


def test_a_mirrored_photo_fits_no_ring_gear_of_the_declared_side(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # a network that knows right-hand gears may name toe and heel of a mirrored drive side by their
    # place alone; the edges still bow toward the root, as no coast side does
    drawn = drawn_gear("drive", tilt_deg=(8.0, 40.0))
    found = _find(drawn, monkeypatch, declared="coast", fields=_ends_exchanged(drawn))
    assert found.teeth == ()
    assert found.flags[0].code in ("wrong_side", "unsure_teeth")


def _ends_exchanged(drawn: Drawn) -> PixelFields:
    fields = fields_of(drawn, noise=0.015)
    return replace(fields, lengthwise=(1.0 - fields.lengthwise).astype(np.float32))


def test_a_tooth_mostly_out_of_the_picture_is_not_measured_though_a_ring_gear_explains_it() -> None:
    # rendered, with 70 % of its one painted tooth beyond the heel side's edge of the picture
    truth = json.loads((SAMPLES / "bad_heel_cut_off.json").read_text(encoding="utf-8"))
    photo = load_photo(SAMPLES / "bad_heel_cut_off.jpg", SETTINGS)
    found = find.find_teeth(photo, truth["side"], truth["hand"], SETTINGS)
    assert found.teeth == ()
    assert [flag.code for flag in found.flags] == ["tooth_cut"]
    assert "heel" in found.flags[0].message


def test_a_ring_gear_declared_of_the_other_hand_is_declined_and_the_hand_named() -> None:
    # rendered, left-hand; a shop that forgets to say so should not be told to fill the picture
    truth = json.loads((SAMPLES / "maple_drive.json").read_text(encoding="utf-8"))
    assert truth["hand"] == "left"
    photo = load_photo(SAMPLES / "maple_drive.jpg", SETTINGS)
    found = find.find_teeth(photo, truth["side"], "right", SETTINGS)
    assert found.teeth == ()
    assert "left-hand" in found.flags[0].message
    assert "mirrored" in found.flags[0].message


@pytest.mark.parametrize(
    ("said", "told"),
    [
        (["no_teeth", "no_teeth", "unsure_teeth"], "no_teeth"),  # one look sees what is not there
        (["no_teeth", "unsure_teeth", "hidden"], "hidden"),  # said of a tooth, not of the photo
        (["unsure_teeth", "tooth_cut"], "tooth_cut"),
        (["no_teeth", "blurred"], "no_teeth"),
        (["blurred"], "blurred"),  # no doubt is left: it is not looked at again
    ],
)
def test_of_several_looks_that_fail_the_reason_is_that_of_a_tooth_or_of_most(
    said: list[str], told: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    left = list(said)
    monkeypatch.setattr(find, "look_for_ring", lambda *_: looks.Search((), None))
    monkeypatch.setattr(find, "why_not", lambda *_: (Reason(left.pop(0), "."),))
    _, teeth, reasons, _ = find._searched(drawn_gear("drive").photo, "drive", "right", SETTINGS)
    assert (teeth, [r.code for r in reasons]) == ([], [told])
    assert not left


def test_a_photo_that_succeeds_is_not_looked_at_again(monkeypatch: pytest.MonkeyPatch) -> None:
    sizes: list[int] = []
    drawn = drawn_gear("drive", tilt_deg=(8.0, 40.0))
    look = find.look_for_ring
    monkeypatch.setattr(
        find,
        "look_for_ring",
        lambda *a: sizes.append(a[3]) or look(*a),  # type: ignore[func-returns-value]
    )
    assert _find(drawn, monkeypatch).teeth
    assert sizes == [looks.LOOKS_PX[0]]


def test_teeth_of_which_hardly_any_is_seen_are_hidden_whatever_the_ring_gear_says(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    drawn = drawn_gear("drive", tilt_deg=(8.0, 40.0))
    said = fields_of(drawn, noise=0.015)
    _say(monkeypatch, lambda *a, **k: said)
    search = looks.look_for_ring(drawn.photo, "drive", "right")
    good = looks.teeth_of(drawn.photo, search)
    for seen, code in ((0.55, []), (0.4, ["hidden"])):
        painted = tuple(replace(side, side=seen) for side in search.painted)
        reasons = why_not(drawn.photo, replace(search, painted=painted), good, "drive", SETTINGS)
        assert [r.code for r in reasons] == code
