"""Combine the teeth of a photo into a reading, and the readings of a side into one."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pattern import __version__
from pattern.flags import flag
from pattern.photo.orientation import MIRRORED
from pattern.reading.drift import drift_per_tooth, is_runout
from pattern.reading.pooling import Pooled, pool, stand_out
from pattern.records import (
    ContactPatch,
    Extent,
    Hand,
    Photo,
    Reading,
    Reason,
    Side,
    SideReading,
    ToothReading,
)
from pattern.settings import Settings
from pattern.teeth.found import FoundTeeth

Floats = NDArray[np.float64]
_MARKED_SHARE, _MARKED_SHARE_AT_EDGE = 0.5, 0.6
_SURE_AGREEMENT = 0.3
"""Agreement of patches with the network at which a mark at an edge is no slip of the outline."""
_SURELY_THERE = 0.65
"""And at which that is so on however few teeth, and though they do not fill the picture."""
_LEAST_FAINT, _SURE_OF_FAINT = 3, 0.75
"""Found teeth that must show a faint mark which an edge cuts: on fewer it is as likely a slipped outline,
unless the network agrees so well with one of them."""
_LEAST_ALONE = 0.045
"""Share of a single found tooth's side that a mark covers at least; the smallest of the trial photos' marks
covers 9 %, and was seen as 6 %."""
_AGREES_ALONE = 0.55
"""Agreement of a patch with the network that a single found tooth needs: rust between shining painted teeth
reached 0.34 and a spot the brush missed 0.53, of 42 other marks all but three 0.59 and more (trial photos and 400
of another renderer)."""
_LIKE_STEEL = ("grey", "dark", "unknown")
_AGREES_ON_STEEL = 0.6
"""Agreement that faint patches in a compound of the steel's colour need: those of bare, shining teeth reached 0.55,
true ones 0.62 and more (samples, trial photos and 400 of another renderer)."""
_CLOSE_UP = 0.45
_DISAGREE = (0.10, 0.14)
"""Scatter between teeth (sd, lengthwise and profile) beyond which they show no one pattern."""
_PROFILE_RANGE = 1.0 / 3.0
"""And the same for the range of profile: teeth seen ever more edgewise drifted by 0.35, and misled."""


def combine_teeth(
    photo: Photo,
    side: Side,
    hand: Hand,
    found: FoundTeeth,
    teeth: Sequence[ToothReading | None],
    patches: Sequence[ContactPatch],
    faults: Sequence[Reason],
    settings: Settings,
) -> Reading:
    """One photo's reading: pooled over teeth, or declined with reasons.

    `teeth` and `patches` belong to `found.teeth`, None where a tooth has no patch. Teeth that stand
    out from four or more are left out. The spread covers outline, segmentation and tooth-to-tooth
    scatter; what all teeth of a photo have in common is not averaged away.
    """
    measured = [tooth for tooth in teeth if tooth is not None]
    stops = [fault for fault in faults if flag(fault.code).effect == "stops"]
    warns = [fault.code for fault in faults if flag(fault.code).effect == "warns"]
    if not stops:
        stops = _missing(photo, found, measured, patches)
    if not stops:
        measured = _agreeing(measured)
        lengthwise, profile = _pooled(measured, "lengthwise"), _pooled(measured, "profile")
        stops = _disagreement(measured, lengthwise, profile)
    shared = {
        "photo": photo.name,
        "sha256": photo.sha256,
        "side": side,
        "hand": hand,
        "toe": found.toe,
        "version": __version__,
        "settings": settings.fingerprint,
        "size_px": (photo.width_px, photo.height_px),
    }
    if stops:
        marked = found.seen or found.regions
        return Reading(status="declined", reasons=tuple(_once(stops)), marked=marked, **shared)  # type: ignore[arg-type]
    drift = drift_per_tooth(measured)
    return Reading(
        status="read",
        lengthwise=lengthwise.mean,
        lengthwise_sd=lengthwise.sd,
        profile=profile.mean,
        profile_sd=profile.sd,
        correlation=_correlation(measured),
        extent=_mean_extent(measured),
        tilt_deg=float(np.mean([t.tilt_deg for t in measured])),
        area=float(np.mean([t.area for t in measured])),
        compound=_most_common(
            [p.compound_name for t, p in zip(teeth, patches, strict=True) if t is not None]
        ),
        flags=_flags(photo, measured, warns, is_runout(drift, measured)),
        teeth=tuple(measured),
        drift_per_tooth=drift,
        **shared,  # type: ignore[arg-type]
    )


def combine_photos(readings: Sequence[Reading]) -> SideReading | None:
    """One side's reading of a roll from its photos; declined ones are left out, None if all are."""
    read = [r for r in readings if r.status == "read" and r.extent is not None]
    if not read:
        return None
    centre = {}
    for axis in ("lengthwise", "profile"):
        values = np.array([getattr(r, axis) for r in read], float)
        sds = np.array([getattr(r, f"{axis}_sd") for r in read], float)
        centre[axis] = pool(values, sds)
    extents = [r.extent for r in read if r.extent is not None]
    low_l, high_l = np.mean([e.lengthwise for e in extents], axis=0)
    low_p, high_p = np.mean([e.profile for e in extents], axis=0)
    cut = any("edge_cut" in r.flags for r in read)
    edges = {"toe": low_l < 0.05, "heel": high_l > 0.95, "root": low_p < 0.08, "tip": high_p > 0.92}
    tilts = [r.tilt_deg for r in read if r.tilt_deg is not None]
    return SideReading(
        lengthwise=centre["lengthwise"].mean,
        profile=centre["profile"].mean,
        lengthwise_sd=centre["lengthwise"].sd,
        profile_sd=centre["profile"].sd,
        length=max(float(high_l - low_l), 1e-3),
        width=max(float(high_p - low_p), 1e-3),
        tilt_deg=float(np.mean(tilts)) if tilts else None,
        edges=tuple(name for name, here in edges.items() if here and cut),  # type: ignore[misc]
        bands=2 if sum("two_bands" in r.flags for r in read) * 2 > len(read) else 1,
        wander=_wander(read),
    )


# --- parts of a photo's reading ------------------------------------------------------------------


def _missing(
    photo: Photo,
    found: FoundTeeth,
    measured: list[ToothReading],
    patches: Sequence[ContactPatch],
) -> list[Reason]:
    """Why nothing can be measured, if so."""
    if not found.teeth:
        return [_reason("no_teeth")]
    if any("glare" in p.flags for p in patches) and not any(
        "glare" not in p.flags and p.contact.any() for p in patches
    ):
        return [_reason("glare")]
    if measured:
        return _bare_steel(measured, patches) or _too_few(photo, found, measured, patches)
    name = _most_common([p.compound_name for p in patches])
    if name in _LIKE_STEEL:
        return [_reason("no_compound")]
    return [
        _reason(
            "no_contact",
            f"{name.capitalize()} compound covers the teeth, but no wiped patch was seen. ",
        )
    ]


def _bare_steel(measured: list[ToothReading], patches: Sequence[ContactPatch]) -> list[Reason]:
    """Faint patches in what has the steel's own colour, and not where marks are expected, are reflections."""
    marked = [p for p in patches if p.contact.any()]
    faint = 2 * sum("faint" in tooth.flags for tooth in measured) >= len(measured)
    if not faint or _most_common([p.compound_name for p in marked]) not in _LIKE_STEEL:
        return []
    return [] if _is_expected(patches, _AGREES_ON_STEEL) else [_reason("no_compound")]


def _too_few(
    photo: Photo,
    found: FoundTeeth,
    measured: list[ToothReading],
    patches: Sequence[ContactPatch],
) -> list[Reason]:
    """A roll marks every painted tooth: a patch on a minority of those found is no pattern."""
    count, total = len(measured), len(found.teeth)
    drawn = found.teeth[0].source != "found"
    # an outline that slipped shows the same: patches along an edge, on some of the teeth
    at_edge = 2 * sum("edge_cut" in tooth.flags for tooth in measured) >= count
    is_faint = at_edge and 2 * sum("faint" in tooth.flags for tooth in measured) >= count
    is_faint &= max(p.agreement for p in patches) < _SURE_OF_FAINT
    surely_there = _is_expected(patches, _SURELY_THERE)
    if count == 1 and not drawn:
        seen = _doubt_of_one(measured[0], max(p.agreement for p in patches if p.contact.any()))
        if seen:
            return [_reason("no_contact", seen)]
    at_edge &= not surely_there and not (_fills_picture(photo, found) and _is_expected(patches))
    needed = (_MARKED_SHARE_AT_EDGE if at_edge else _MARKED_SHARE) * total
    if is_faint and count < _LEAST_FAINT and not drawn:
        seen = f"A faint patch at the tooth's edge was seen on {count} tooth side(s) only. "
        return [_reason("no_contact", seen)]
    if count >= (max(2.0, needed) if at_edge and not drawn else needed):
        return []
    seen = f"A wiped patch was seen on only {count} of {total} painted teeth. "
    if drawn:
        seen += "See whether the outlines follow the teeth. "
    return [_reason("no_contact", seen)]


def _doubt_of_one(tooth: ToothReading, agreement: float) -> str:
    """What speaks against a patch that one found tooth alone shows; empty if nothing does."""
    if tooth.area < _LEAST_ALONE:
        return f"A bare spot on {100 * tooth.area:.0f} % of one tooth side is no mark. "
    if agreement < _AGREES_ALONE:
        return (
            "One tooth side alone shows a bare patch, and not where a mark is expected: photograph three to "
            "five painted ones. "
        )
    return ""


def _fills_picture(photo: Photo, found: FoundTeeth) -> bool:
    """Whether the picture is a close-up, so that a single tooth is what one would expect."""
    longest = max(float(np.linalg.norm(t.corners[1] - t.corners[0])) for t in found.teeth)
    return longest > _CLOSE_UP * max(photo.width_px, photo.height_px)


def _is_expected(patches: Sequence[ContactPatch], least: float = _SURE_AGREEMENT) -> bool:
    """Whether the network expects contact where the patches are."""
    agreements = [p.agreement for p in patches if p.contact.any()]
    return bool(agreements) and float(np.median(agreements)) > least


def _reason(code: str, seen: str = "") -> Reason:
    entry = flag(code)
    return Reason(code, (seen or f"{entry.meaning[0].upper()}{entry.meaning[1:]}. ") + entry.remedy)


def _agreeing(teeth: list[ToothReading]) -> list[ToothReading]:
    off = np.zeros(len(teeth), bool)
    for axis in ("lengthwise", "profile"):
        values = np.array([getattr(t, axis) for t in teeth])
        sds = np.array([getattr(t, f"{axis}_sd") for t in teeth])
        off |= stand_out(values, sds)
    return [tooth for tooth, is_off in zip(teeth, off, strict=True) if not is_off]


def _pooled(teeth: list[ToothReading], axis: str) -> Pooled:
    return pool(
        np.array([getattr(t, axis) for t in teeth]),
        np.array([getattr(t, f"{axis}_sd") for t in teeth]),
    )


def _disagreement(teeth: list[ToothReading], lengthwise: Pooled, profile: Pooled) -> list[Reason]:
    if len(teeth) < 2:
        return []
    drifted = float(np.ptp([t.profile for t in teeth])) > _PROFILE_RANGE
    if lengthwise.scatter < _DISAGREE[0] and profile.scatter < _DISAGREE[1] and not drifted:
        return []
    spans = [
        f"{axis} {min(getattr(t, axis) for t in teeth):.2f} to {max(getattr(t, axis) for t in teeth):.2f}"
        for axis in ("lengthwise", "profile")
    ]
    return [
        _reason(
            "teeth_disagree",
            f"The mark's middle wanders over {len(teeth)} teeth: {', '.join(spans)}. ",
        )
    ]


def _flags(
    photo: Photo, teeth: list[ToothReading], warns: list[str], runout: bool
) -> tuple[str, ...]:
    """Photo-level warnings; a tooth's own counts when half of the teeth show it."""
    codes = list(warns)
    if len(teeth) == 1:
        codes.append("few_teeth")
    seen = Counter(code for tooth in teeth for code in tooth.flags)
    codes += [code for code, count in seen.items() if 2 * count >= len(teeth)]
    if runout:
        codes.append("runout")
    if photo.orientation in MIRRORED:
        codes.append("mirrored")
    return tuple(dict.fromkeys(codes))


def _correlation(teeth: list[ToothReading]) -> float:
    """Correlation of lengthwise and profile errors, from the scatter of three or more teeth."""
    if len(teeth) < 4:
        return 0.0
    along, up = (np.array([getattr(t, a) for t in teeth]) for a in ("lengthwise", "profile"))
    if along.std() < 1e-6 or up.std() < 1e-6:
        return 0.0
    shrink = (len(teeth) - 3) / (len(teeth) + 3)
    return float(shrink * np.corrcoef(along, up)[0, 1])


def _mean_extent(teeth: list[ToothReading]) -> Extent:
    lengthwise = np.mean([t.extent.lengthwise for t in teeth], axis=0)
    profile = np.mean([t.extent.profile for t in teeth], axis=0)
    return Extent(
        (float(lengthwise[0]), float(lengthwise[1])), (float(profile[0]), float(profile[1]))
    )


def _wander(readings: list[Reading]) -> float | None:
    """Scatter (sd) of the mark's lengthwise place from tooth to tooth, None with a single tooth."""
    spreads = [
        np.std([t.lengthwise for t in r.teeth], ddof=1) for r in readings if len(r.teeth) > 1
    ]
    return float(np.mean(spreads)) if spreads else None


def _most_common(names: Sequence[str]) -> str:
    return Counter(names).most_common(1)[0][0] if names else "unknown"


def _once(reasons: Sequence[Reason]) -> list[Reason]:
    return list({reason.code: reason for reason in reversed(reasons)}.values())[::-1]
