"""Find the contact patch on every tooth side of a photo."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from pattern.contact.appearance import look_of
from pattern.contact.colour_name import colour_name
from pattern.contact.components import border_share, main_pieces, rim_bands, rim_step
from pattern.contact.seen import ExpectedContact, agreement, expected_contact, seen_on_tooth
from pattern.contact.separate import Look, Separation, separate
from pattern.photo.colour import to_lab
from pattern.records import ContactPatch, Photo
from pattern.settings import Settings
from pattern.teeth.found import FoundTeeth
from pattern.teeth.rectify import COLUMNS, ROWS, FlatTooth, lay_flat
from pattern.teeth.surface import ToothSurface

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]
_CLIPPED = 250.0
_MOST_BORDER = 0.45
"""Greatest share of a patch's rim on the tooth's border."""
_MOST_SLIP = 0.06
"""Greatest distance of drawn outlines from where the network sees the teeth, in shares of their length,
at which its word on the mark is heard."""
_AGREES = 0.15
"""Agreement with the network at which a fainter rim is enough; set on the trial photos."""
_LEAST_PEAK = 0.3
"""How sure of contact the network must be somewhere on the teeth, if it was asked; set on the trial
photos: five of six unrolled ones stay under 0.2."""


def find_contacts(photo: Photo, found: FoundTeeth, settings: Settings) -> list[ContactPatch]:
    """Where compound was wiped away on each tooth side, on the laid-out teeth.

    The patch is the compact part whose colour and texture differ from the compound around it, judged
    on all teeth of the photo together; what the network saw, if it was asked, says where to look and
    which part of a side is visible. A patch without a rim in colour is no patch: then its `contact`
    is all zero.
    """
    surfaces = [ToothSurface.of(tooth) for tooth in found.teeth]
    flats = [lay_flat(photo.pixels, surface) for surface in surfaces]
    seen = [seen_on_tooth(found.fields, s, f) for s, f in zip(surfaces, flats, strict=True)]
    drawn = any(tooth.source != "found" for tooth in found.teeth)
    inside = [
        flat.inside if drawn else flat.inside & s.visible
        for flat, s in zip(flats, seen, strict=True)
    ]
    laid = list(zip(surfaces, flats, inside, strict=True))
    expected = expected_contact(seen, inside)
    peaks = [e.peak for e in expected if e is not None]
    is_expected = not peaks or float(np.mean(peaks)) > _LEAST_PEAK
    if not drawn:
        patches = _patches(laid, expected, expected)
        return patches if is_expected else [_without_contact(patch) for patch in patches]
    unheard: list[ExpectedContact | None] = [None] * len(laid)
    if is_expected and float(np.median([s.slip for s in seen])) < _MOST_SLIP:
        # it may say where to look, but not excuse a faint rim: that is how a slipped outline shows
        patches = _patches(laid, expected, unheard)
        if any(patch.contact.any() for patch in patches):
            return patches
    return _patches(laid, unheard, unheard)


def _patches(
    laid: Sequence[tuple[ToothSurface, FlatTooth, Mask]],
    hints: Sequence[ExpectedContact | None],
    excuses: Sequence[ExpectedContact | None],
) -> list[ContactPatch]:
    """A patch for each tooth: where to look by `hints`, how faint it may be by `excuses`."""
    looks = [
        Look(look_of(flat.rgb), inside, None if hint is None else hint.prior)
        for (_, flat, inside), hint in zip(laid, hints, strict=True)
    ]
    return [
        _patch(surface, flat, look, result, excuse)
        for (surface, flat, _), look, result, excuse in zip(
            laid, looks, separate(looks), excuses, strict=True
        )
    ]


def _without_contact(patch: ContactPatch) -> ContactPatch:
    return replace(patch, contact=np.zeros_like(patch.contact), boundary_px=np.zeros((0, 2)))


def _patch(
    surface: ToothSurface,
    flat: FlatTooth,
    look: Look,
    result: Separation,
    expected: ExpectedContact | None,
) -> ContactPatch:
    inside = look.inside
    lab = to_lab(np.asarray(cv2.GaussianBlur(flat.rgb, (0, 0), 1.0), np.float32))
    mask = main_pieces(result.contact, result.core, inside)
    step, share = rim_step(lab, mask, inside)
    contact = np.where(mask, result.contact, np.minimum(result.contact, 0.49)) * _near(mask)
    agrees = agreement(expected, mask, inside)
    if not _is_patch(mask, inside, step, share, agrees):
        contact = np.zeros_like(contact)
        mask = np.zeros_like(mask)
    return ContactPatch(
        contact=contact.astype(np.float32),
        compound=np.where(inside, 1.0 - result.contact, 0.0).astype(np.float32),
        boundary_px=_boundary(mask, surface),
        edge_sd=_edge_sd(result, mask, inside),
        compound_name=colour_name(lab[inside & (result.contact < 0.3)], lab[mask]),
        rim_step=step,
        rim_share=share,
        agreement=agrees,
        flags=_flags(flat, mask, inside),
    )


def _is_patch(mask: Mask, inside: Mask, step: float, share: float, agrees: float) -> bool:
    part = mask.sum() / max(inside.sum(), 1)
    if not 0.008 < part < 0.75 or border_share(mask) > _MOST_BORDER:
        return False
    if step > 7.0 and share > max(0.65, 0.95 - 0.012 * step):
        return True
    return agrees > _AGREES and step > 4.0 and share > 0.6 and part < 0.6


def _near(mask: Mask) -> Floats:
    """1 in and close to the mask, 0 away from it: doubt far off does not move the centre."""
    return np.asarray(cv2.dilate(mask.astype(np.uint8), np.ones((7, 9), np.uint8)), float)


def _flags(flat: FlatTooth, mask: Mask, inside: Mask) -> tuple[str, ...]:
    """Glare over the mark or part of the tooth, and a mark in two bands."""
    flags = []
    clipped = (flat.rgb.min(axis=2) >= _CLIPPED) & inside
    inner, outer = rim_bands(mask, inside)
    around = mask | inner | outer
    over_mark = clipped[around].mean() if around.any() else 0.0
    if over_mark > 0.45:
        flags.append("glare")
    elif over_mark > 0.12 or clipped.sum() > 0.15 * max(inside.sum(), 1):
        flags.append("some_glare")
    if _bands(mask) > 1:
        flags.append("two_bands")
    return tuple(flags)


def _bands(mask: Mask) -> int:
    """How many separate bands lie one above the other over most of the mark's length."""
    count, _labels, stats, _centres = cv2.connectedComponentsWithStats(
        mask.astype(np.uint8), connectivity=4
    )
    areas = stats[1:, cv2.CC_STAT_AREA]
    return int((areas > 0.2 * areas.max()).sum()) if count > 1 else 0


def _boundary(mask: Mask, surface: ToothSurface) -> Floats:
    """The largest piece's outline in photo pixels, (n, 2); empty without a patch."""
    contours, _ = cv2.findContours(
        mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE
    )
    if not contours:
        return np.zeros((0, 2))
    cells = max(contours, key=cv2.contourArea).reshape(-1, 2).astype(float)
    return surface.to_photo((cells[:, 0] + 0.5) / COLUMNS, 1.0 - (cells[:, 1] + 0.5) / ROWS)


def _edge_sd(result: Separation, mask: Mask, inside: Mask) -> tuple[float, float]:
    """How well the rim is known: the band of undecided cells along it, as shares of the tooth."""
    if not mask.any():
        return 1.0, 1.0
    undecided = (result.contact > 0.1) & (result.contact < 0.9) & inside & (_near(mask) > 0)
    rim = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8))
    width_cells = 0.5 * undecided.sum() / max(0.5 * rim.sum(), 1.0)
    return (1.0 + width_cells) / COLUMNS * 1.5, (1.0 + width_cells) / ROWS
