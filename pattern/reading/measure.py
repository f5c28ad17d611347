"""Measure the contact patch on one tooth side, with its spread."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from pattern.reading.moments import Moments, moments_of
from pattern.records import ContactPatch, ToothReading, ToothSide
from pattern.settings import Settings
from pattern.teeth.surface import ToothSurface

_FLOOR_SD = (0.006, 0.012)
_RIM_SHARE = 0.7
"""Both ends of a patch move its middle by half of their own error each: 1/√2 together."""
_FAINT_STEP = 9.0
_EDGE_CELLS = 2


def measure_tooth(tooth: ToothSide, patch: ContactPatch, settings: Settings) -> ToothReading | None:
    """Centroid, 5 to 95 % extents, tilt and area of one tooth's patch; None if there is none."""
    weights = np.where(patch.contact > 0.5, patch.contact, 0.0)
    moments = moments_of(weights)
    if moments is None:
        return None
    surface = ToothSurface.of(tooth)
    lengthwise_sd, profile_sd = _spread(tooth, surface, patch, moments)
    return ToothReading(
        outline=surface.corners,
        tip_edge=tooth.tip_edge,
        root_edge=tooth.root_edge,
        confidence=tooth.confidence,
        lengthwise=moments.lengthwise,
        profile=moments.profile,
        lengthwise_sd=lengthwise_sd,
        profile_sd=profile_sd,
        extent=moments.extent,
        tilt_deg=moments.tilt_deg,
        area=moments.area,
        contact=patch.boundary_px,
        flags=_flags(tooth, patch),
    )


def _spread(
    tooth: ToothSide, surface: ToothSurface, patch: ContactPatch, moments: Moments
) -> tuple[float, float]:
    """One sd of the centroid from the outline and from the patch's rim.

    An outline end that is off by e moves a point at coordinate c by (1 - c) e or c e.
    """
    along, up = moments.lengthwise, moments.profile
    lever_l, lever_p = math.hypot(along, 1.0 - along), math.hypot(up, 1.0 - up)
    outline_l = tooth.corner_sd_px / max(surface.length_px, 1.0) * lever_l
    outline_p = tooth.corner_sd_px / max(surface.depth_px, 1.0) * lever_p
    rim_l, rim_p = (_RIM_SHARE * sd for sd in patch.edge_sd)
    return (
        math.sqrt(outline_l**2 + rim_l**2 + _FLOOR_SD[0] ** 2),
        math.sqrt(outline_p**2 + rim_p**2 + _FLOOR_SD[1] ** 2),
    )


def _flags(tooth: ToothSide, patch: ContactPatch) -> tuple[str, ...]:
    flags = [code for code in patch.flags if code != "glare"]
    if tooth.source == "followed":
        flags.append("followed")
    if patch.rim_step < _FAINT_STEP:
        flags.append("faint")
    if _touches_border(patch.contact > 0.5):
        flags.append("edge_cut")
    return tuple(flags)


def _touches_border(mask: NDArray[np.bool_]) -> bool:
    """Whether a fair part of the mark's rim lies on the tooth's own edge."""
    rows, columns = mask.shape
    n = _EDGE_CELLS
    ends = max(int(mask[:, :n].any(axis=1).sum()), int(mask[:, -n:].any(axis=1).sum()))
    long_edges = max(int(mask[:n].any(axis=0).sum()), int(mask[-n:].any(axis=0).sum()))
    return bool(ends > 0.15 * rows or long_edges > 0.08 * columns)
