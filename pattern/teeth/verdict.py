"""Why a photo's teeth cannot be measured: what was seen and what to do, one line a reason."""

from __future__ import annotations

import numpy as np

from pattern.flags import flag
from pattern.records import Photo, Reason, Side
from pattern.settings import Settings
from pattern.teeth.candidates import Candidate
from pattern.teeth.fields import PixelFields

_SURE = 0.6
_BOW_SURE = 0.08
_STOPPING = (
    "no_teeth",
    "too_dark",
    "blown_out",
    "blurred",
    "hidden",
    "glare",
    "no_compound",
    "no_contact",
)


def why_not(
    photo: Photo,
    looks: list[PixelFields],
    teeth: list[Candidate],
    good: list[Candidate],
    side: Side,
    settings: Settings,
) -> tuple[Reason, ...]:
    """Reasons to decline; empty if the good teeth may be measured. The first fits best."""
    quality = _quality(looks)
    if not teeth and _other_side(looks) < 0.01:
        worst = _worst(quality, ("too_dark", "blown_out", "blurred"))
        return (worst or _reason("no_teeth"),)
    if _shows_other_side(looks, good):
        return (_reason("wrong_side", "The painted teeth in view look like the other side. "),)
    if _bends_the_other_way(good, side):
        return (_reason("wrong_side", f"The teeth bend as a {_other(side)} side does. "),)
    if quality["no_teeth"] > _SURE:
        return (_reason("no_teeth"),)
    stops = [_reason(code) for code in _STOPPING[1:] if quality.get(code, 0.0) > 0.5]
    if stops:
        return tuple(stops)
    if good:
        return ()
    return (_best_guess(photo, teeth, settings),)


def _best_guess(photo: Photo, teeth: list[Candidate], settings: Settings) -> Reason:
    """No tooth is good enough: name what the best of them lacks."""
    if not teeth:
        return _reason("no_teeth")
    painted = [t for t in teeth if t.painted > 0.4]
    if not painted:
        return _reason("no_compound", f"{len(teeth)} tooth side(s) seen, none of them painted. ")
    best = max(painted, key=lambda t: t.confidence)
    length = best.surface.length_px
    if length < settings.tooth_min_px:
        return _reason(
            "too_small",
            f"A tooth is only {length:.0f} pixels long, {settings.tooth_min_px:.0f} are needed. ",
        )
    if best.in_view < 0.85:
        end = _cut_end(photo, best)
        return _reason("tooth_cut", f"The tooth's {end} is outside the picture. ")
    if best.visible < 0.6:
        return _reason(
            "hidden", f"Only {100 * best.visible:.0f} % of the clearest tooth can be seen. "
        )
    if not best.right_way_round:
        return _reason(
            "wrong_side", "Toe and heel lie the wrong way round for this side and hand. "
        )
    return _reason("unsure_teeth")


def _cut_end(photo: Photo, tooth: Candidate) -> str:
    corners = tooth.surface.corners
    limits = np.array([photo.width_px - 1.0, photo.height_px - 1.0])
    out = np.maximum(np.maximum(-corners, corners - limits), 0.0).max(axis=1)
    parts = {
        "toe": out[0] + out[3],
        "heel": out[1] + out[2],
        "tip": out[0] + out[1],
        "root": out[2] + out[3],
    }
    return max(parts, key=lambda name: parts[name])


def _quality(looks: list[PixelFields]) -> dict[str, float]:
    """Probability by flag code: the first look judges the scene, the closest one the teeth."""
    first, last = looks[0].quality, looks[-1].quality
    mixed = {code: 0.5 * (first.get(code, 0.0) + last.get(code, 0.0)) for code in {*first, *last}}
    mixed["no_teeth"] = first.get("no_teeth", 0.0)
    return mixed


def _other_side(looks: list[PixelFields]) -> float:
    return float((looks[0].other > 0.5).mean())


def _shows_other_side(looks: list[PixelFields], good: list[Candidate]) -> bool:
    """Whether the paint in view lies on the other side's surfaces."""
    look = looks[-1]
    painted = look.painted > 0.5
    own = float((painted & (look.side > 0.5)).sum())
    other = float((painted & (look.other > 0.5)).sum())
    return other > 3.0 * own and other > 60 and not good


def _bends_the_other_way(good: list[Candidate], side: Side) -> bool:
    """Whether the long edges bow against what the declared side shows.

    Seen from above its tip, as every open view of a ring gear is, a convex side bows toward its root
    and a concave one toward its tip. A mirrored photo and a wrong hand show here too.
    """
    if not good:
        return False
    bow = float(np.median([t.surface.bow for t in good]))
    return (bow if side == "drive" else -bow) > _BOW_SURE


def _other(side: Side) -> Side:
    return "coast" if side == "drive" else "drive"


def _worst(quality: dict[str, float], codes: tuple[str, ...]) -> Reason | None:
    code = max(codes, key=lambda c: quality.get(c, 0.0))
    return _reason(code) if quality.get(code, 0.0) > 0.5 else None


def _reason(code: str, seen: str = "") -> Reason:
    entry = flag(code)
    return Reason(code, (seen or f"{entry.meaning[0].upper()}{entry.meaning[1:]}. ") + entry.remedy)
