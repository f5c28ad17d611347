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
from pattern.contact.seen import ExpectedContact, agreement, apart, expected_contact
from pattern.contact.separate import Look, Separation, separate
from pattern.photo.colour import to_lab
from pattern.records import ContactPatch, Photo
from pattern.settings import Settings
from pattern.teeth.flat_network import FlatFields, look_at_teeth
from pattern.teeth.found import FoundTeeth
from pattern.teeth.rectify import COLUMNS, ROWS, FlatTooth, lay_flat
from pattern.teeth.surface import ToothSurface

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]
_CLIPPED = 250.0
_MOST_BORDER, _MOST_BORDER_EXPECTED = 0.45, 0.6
"""Greatest share of a patch's rim on the tooth's border, and where the network expects the patch."""
_VISIBLE = 0.1
"""Chance that a cell shows this tooth side, under which it does not count."""
_SEEN = 0.65
"""Weight of what is seen in this photo's colours against what the network expects."""
_AGREES = 0.15
"""Agreement with the network at which a fainter rim is enough; set on the trial photos."""
_AGREES_WELL, _FAINTEST = 0.35, (2.0, 0.62)
"""And the agreement at which the faintest rim is: its colour step in CIE L*a*b* units and the share of
directions that show it."""
_MOST_APART = (0.12, 0.25)
"""Greatest distance, lengthwise and profile, of a patch's middle from the middle of what the network
expects."""
_LEAST_CONTRAST, _SURE_PEAK = 1.9, 0.8
"""Difference of a patch's look to the compound's, in spreads within the two, and how sure of it the network
must be where it is less: bristle marks on drawn, unrolled teeth reach 1.85 and 0.74."""
_SURE = 0.6
"""How sure the network must be that the teeth are painted and wiped somewhere, one times the other; all but
three of the trial photos' unrolled and unpainted ones stay under 0.45, and those have no rim."""
_ALIKE = 0.55
"""A found tooth on which the network is less sure than this share of the surest is left out: a bare
neighbour, or one that is half hidden."""


def find_contacts(photo: Photo, found: FoundTeeth, settings: Settings) -> list[ContactPatch]:
    """Where compound was wiped away on each tooth side, on the laid-out teeth.

    A network looks at the laid-out teeth of the photo together and says where it expects the mark.
    About that place the compact part is sought whose colour and texture differ from the compound
    around it; both have a say in the patch. A patch without a rim in colour is no patch, nor one that
    the network does not expect: then its `contact` is all zero.
    """
    surfaces = [ToothSurface.of(tooth) for tooth in found.teeth]
    flats = [lay_flat(photo, surface) for surface in surfaces]
    looked = look_at_teeth([flat.rgb for flat in flats])
    drawn = any(tooth.source != "found" for tooth in found.teeth)
    inside = [
        flat.inside if drawn else flat.inside & seen.visible(ROWS, COLUMNS, _VISIBLE)
        for flat, seen in zip(flats, looked, strict=True)
    ]
    expected = expected_contact([seen.mark(ROWS, COLUMNS) for seen in looked], inside)
    looks = [
        Look(look_of(flat.rgb), cells, hint.prior)
        for flat, cells, hint in zip(flats, inside, expected, strict=True)
    ]
    patches = [
        _patch(*each)
        for each in zip(surfaces, flats, looks, separate(looks), expected, strict=True)
    ]
    shown = _shown(expected, looked, drawn)
    return [
        patch if keep else _without_contact(patch)
        for patch, keep in zip(patches, shown, strict=True)
    ]


def _shown(expected: Sequence[ExpectedContact], looked: Sequence[FlatFields], drawn: bool) -> Mask:
    """The teeth on which the network expects a mark: none if it is not sure that they are painted and
    wiped. Drawn teeth are the user's choice and all count."""
    peaks = np.array([e.peak for e in expected])
    sure = peaks * np.array([seen.painted for seen in looked])
    shown = np.ones(len(peaks), bool) if drawn else peaks >= _ALIKE * peaks.max(initial=0.0)
    if not shown.any() or sure[shown].mean() < _SURE:
        return np.zeros(len(peaks), bool)
    return shown


def _without_contact(patch: ContactPatch) -> ContactPatch:
    return replace(patch, contact=np.zeros_like(patch.contact), boundary_px=np.zeros((0, 2)))


def _patch(
    surface: ToothSurface,
    flat: FlatTooth,
    look: Look,
    result: Separation,
    expected: ExpectedContact,
) -> ContactPatch:
    inside = look.inside
    lab = to_lab(np.asarray(cv2.GaussianBlur(flat.rgb, (0, 0), 1.0), np.float32))
    both = _SEEN * result.contact + (1.0 - _SEEN) * expected.chance
    mask = main_pieces(both, expected.chance, inside)
    step, share = rim_step(lab, mask, inside)
    contact = np.where(mask, both, np.minimum(both, 0.49)) * _near(mask)
    agrees = agreement(expected, mask, inside)
    off = apart(expected, mask)
    is_there = max(off[0] / _MOST_APART[0], off[1] / _MOST_APART[1]) < 1.0
    is_there &= result.contrast > _LEAST_CONTRAST or expected.peak > _SURE_PEAK
    if not is_there or not _is_patch(mask, inside, step, share, agrees):
        contact = np.zeros_like(contact)
        mask = np.zeros_like(mask)
    return ContactPatch(
        contact=contact.astype(np.float32),
        compound=np.where(inside, 1.0 - result.contact, 0.0).astype(np.float32),
        boundary_px=_boundary(mask, surface),
        edge_sd=_edge_sd(both, mask, inside, off),
        compound_name=colour_name(lab[inside & (result.contact < 0.3)], lab[mask]),
        rim_step=step,
        agreement=agrees,
        flags=_flags(flat, mask, inside),
    )


def _is_patch(mask: Mask, inside: Mask, step: float, share: float, agrees: float) -> bool:
    """Whether a patch has a rim: the more the network expects it there, the fainter it may be."""
    part, on_border = mask.sum() / max(inside.sum(), 1), border_share(mask)
    if not 0.008 < part < 0.75:
        return False
    if agrees > _AGREES_WELL and on_border < _MOST_BORDER_EXPECTED:
        return step > _FAINTEST[0] and share > _FAINTEST[1]
    if on_border > _MOST_BORDER:
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
    clipped = (np.minimum.reduce(cv2.split(flat.rgb)) >= _CLIPPED) & inside
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


def _edge_sd(
    chance: Floats, mask: Mask, inside: Mask, off: tuple[float, float]
) -> tuple[float, float]:
    """How well the rim is known: the band of undecided cells along it and half of how far the two ways
    of seeing the mark lie apart, as shares of the tooth."""
    if not mask.any():
        return 1.0, 1.0
    undecided = (chance > 0.1) & (chance < 0.9) & inside & (_near(mask) > 0)
    rim = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8))
    width_cells = 0.5 * undecided.sum() / max(0.5 * rim.sum(), 1.0)
    along, up = (1.0 + width_cells) / COLUMNS * 1.5, (1.0 + width_cells) / ROWS
    return float(np.hypot(along, 0.5 * off[0])), float(np.hypot(up, 0.5 * off[1]))
