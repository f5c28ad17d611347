"""Why a photo's teeth cannot be measured: what was seen and what to do, one line a reason."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from pattern.flags import flag
from pattern.photo.quality import ToothLight
from pattern.records import Photo, Reason, Side, ToothSide
from pattern.settings import Settings
from pattern.teeth.surface import ToothSurface

if TYPE_CHECKING:
    from pattern.teeth.looks import Search

_SURE, _HARDLY = 0.6, 0.1
"""How sure the network must be that there are no teeth; and how sure, from which on it cannot tell their sides."""
_BOW_SURE = 0.08
_WHOLE = 0.85
"""Share of the tooth seen best that must lie in the picture: beyond it the ring gear's fit guesses."""
_ANYTHING = 0.01
_MUCH_SEEN, _LEAST_EXPLAINED, _LEAST_SIDE = 0.15, 0.4, 0.5
"""What the network must see before teeth are spoken of: share of the picture, share of its cells on
one ring gear, probability of the side on the clearest tooth."""
_BLUR, _SHAKE, _MUCH_SHAKE = 0.0105, 0.0175, 0.035
"""Blur that found teeth may have, of the sharpest edges and across a path of shake."""
_DIM, _MAYBE_DIM, _MAYBE_DARK = 85.0, 140.0, 0.02
"""Brightness (95th percentile of 255) that found teeth need, and need where the network has a doubt."""
_MAYBE_CLIPPED, _MUCH_CLIPPED, _MAYBE_BLOWN_OUT = 0.08, 0.36, 0.06
"""Share of a found tooth that may be washed out where the network has a doubt of so much, and elsewhere. All
stricter than for outlines that a hand has placed."""
_FROM_NETWORK = {"too_dark": 0.04, "blown_out": 0.25, "blurred": 0.15, "glare": 0.2}
"""Faults of the whole photo that the network tells apart well, and how sure it must be; set on the
trial photos, above what all but one or two of their readable ones reach."""


def why_not(
    photo: Photo, search: Search, good: Sequence[ToothSide], side: Side, settings: Settings
) -> tuple[Reason, ...]:
    """Reasons to decline; empty if the good teeth may be measured, as far as their light allows it.

    The first fits best.
    """
    quality = _quality(search)
    if quality.get("no_teeth", 0.0) > _SURE or _nothing_seen(search):
        return (_reason("no_teeth"),)
    if quality.get("no_teeth", 0.0) < _HARDLY and _shows_other_side(search):
        return (_reason("wrong_side", "What is in view looks like the other side of the teeth. "),)
    stops = [
        _reason(code) for code, limit in _FROM_NETWORK.items() if quality.get(code, 0.0) > limit
    ]
    if stops:
        return tuple(stops)
    if good and max(s.in_view for s in search.painted) < _WHOLE:
        return (_tooth_cut(photo, search),)
    clearest = max((s.side for s in search.painted), default=0.0)
    if good and clearest < _LEAST_SIDE:
        return (_hidden(clearest),)
    if _bends_the_other_way(good, side):
        return (_reason("wrong_side", f"The teeth bend as a {_other(side)} side does. "),)
    return () if good else (_best_guess(photo, search, settings),)


def poorly_lit(search: Search, lights: Sequence[ToothLight]) -> tuple[Reason, ...]:
    """Reasons to decline for how the good teeth are lit and focused, one of `lights` each."""
    if not lights:
        return ()
    quality = _quality(search)
    bright = float(np.median([light.bright for light in lights]))
    doubted = quality.get("too_dark", 0.0) > _MAYBE_DARK
    if bright < (_MAYBE_DIM if doubted else _DIM):
        return (_reason("too_dark"),)
    doubted = quality.get("blown_out", 0.0) > _MAYBE_BLOWN_OUT
    if max(light.clipped for light in lights) > (_MAYBE_CLIPPED if doubted else _MUCH_CLIPPED):
        return (_reason("blown_out"),)
    shake = float(np.median([light.shake_share for light in lights]))
    blur = float(np.median([light.blur_share for light in lights]))
    is_soft = shake > _MUCH_SHAKE or (shake > _SHAKE and blur > _BLUR)
    return (_reason("blurred"),) if is_soft else ()


def _nothing_seen(search: Search) -> bool:
    """Whether there is no ring gear and next to nothing looks like a tooth side."""
    look = search.looks[0]
    return search.ring is None and float((look.side + look.other > 0.5).mean()) < _ANYTHING


def _best_guess(photo: Photo, search: Search, settings: Settings) -> Reason:
    """No tooth is good enough: name what is lacking."""
    if search.ring is None:
        seen = float((search.looks[0].side > 0.5).mean())
        return _reason("unsure_teeth" if seen > _MUCH_SEEN else "no_teeth")
    if search.painted and max(s.in_view for s in search.painted) < _WHOLE:
        return _tooth_cut(photo, search)
    clearest = max((s.side for s in search.sides), default=0.0)
    if search.ring.explained < _LEAST_EXPLAINED or clearest < _LEAST_SIDE:
        return _reason("unsure_teeth" if search.painted else "no_teeth")
    if not search.painted:
        count = len(search.sides)
        return _reason("no_compound", f"{count} tooth side(s) seen, none of them painted. ")
    surfaces = [search.ring.view.tooth_surface(float(s.number)) for s in search.painted]
    length = max(s.length_px for s in surfaces)
    if length < settings.tooth_min_px:
        return _reason(
            "too_small",
            f"A tooth is only {length:.0f} pixels long, {settings.tooth_min_px:.0f} are needed. ",
        )
    visible = max(s.side for s in search.painted)
    if visible < 0.35:
        return _hidden(visible)
    return _reason("unsure_teeth")


def _hidden(visible: float) -> Reason:
    return _reason("hidden", f"Only {100 * visible:.0f} % of the clearest tooth can be seen. ")


def _tooth_cut(photo: Photo, search: Search) -> Reason:
    """Which end of the painted teeth is outside the picture."""
    assert search.ring is not None
    surface = search.ring.view.tooth_surface(float(search.painted[0].number))
    end = _cut_end(photo, surface)
    return _reason("tooth_cut", f"The tooth's {end} is outside the picture. ")


def _cut_end(photo: Photo, surface: ToothSurface) -> str:
    limits = np.array([photo.width_px - 1.0, photo.height_px - 1.0])
    out = np.maximum(np.maximum(-surface.corners, surface.corners - limits), 0.0).max(axis=1)
    parts = {
        "toe": out[0] + out[3],
        "heel": out[1] + out[2],
        "tip": out[0] + out[1],
        "root": out[2] + out[3],
    }
    return max(parts, key=lambda name: parts[name])


def _quality(search: Search) -> dict[str, float]:
    """Probability by flag code: the first look judges the scene, the closest one the teeth."""
    first, last = search.looks[0].quality, search.looks[-1].quality
    mixed = {code: 0.5 * (first.get(code, 0.0) + last.get(code, 0.0)) for code in {*first, *last}}
    mixed["no_teeth"] = first.get("no_teeth", 0.0)
    return mixed


def _shows_other_side(search: Search) -> bool:
    """Whether the other side's surfaces fill the view."""
    look = search.looks[-1]
    own, other = float((look.side > 0.5).sum()), float((look.other > 0.5).sum())
    return other > 3.0 * own and other > 60


def _bends_the_other_way(good: Sequence[ToothSide], side: Side) -> bool:
    """Whether the long edges bow against what the declared side shows.

    Seen from above its tip, as every open view of a ring gear is, a convex side bows toward its root
    and a concave one toward its tip. A mirrored photo and a wrong hand show here too.
    """
    if not good:
        return False
    bow = float(np.median([ToothSurface.of(t).bow for t in good]))
    return (bow if side == "drive" else -bow) > _BOW_SURE


def _other(side: Side) -> Side:
    return "coast" if side == "drive" else "drive"


def _reason(code: str, seen: str = "") -> Reason:
    entry = flag(code)
    return Reason(code, (seen or f"{entry.meaning[0].upper()}{entry.meaning[1:]}. ") + entry.remedy)
