"""Tooth sides that the network's maps suggest, with how far each can be trusted."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from pattern.records import Hand, Photo, Side
from pattern.teeth.chirality import outline_runs_clockwise, runs_clockwise
from pattern.teeth.fields import PixelFields
from pattern.teeth.fit import FittedSurface, fit_surface
from pattern.teeth.instances import Instance, observe, split_teeth
from pattern.teeth.surface import ToothSurface

Floats = NDArray[np.float64]
_MISFIT_SD = (0.05, 0.09)
"""Residual spread (lengthwise, profile) at which a tooth has lost most of its confidence."""
_APART_SHARE = 0.06
"""Likewise for corners on which two looks differ, as a share of the tooth's length."""
_PAINTED = 0.3
_MOST = 8


@dataclass(frozen=True, eq=False)
class Candidate:
    """A fitted tooth side. `visible` is the share of its outline's cells seen as this side, `in_view`
    the share of its surface inside the picture, `ends_cut` whether an end lies outside it."""

    surface: ToothSurface
    corner_sd_px: float
    confidence: float
    painted: float
    contact: float
    visible: float
    in_view: float
    ends_cut: bool
    misfit: tuple[float, float]
    right_way_round: bool

    def distance_to(self, other: Candidate) -> float:
        """Root mean square distance of the corners, px."""
        apart = self.surface.corners - other.surface.corners
        return float(np.sqrt((apart**2).sum(axis=1).mean()))

    def checked_against(self, twin: Candidate | None) -> Candidate:
        """Trust and corner spread after comparing with another look at the same tooth."""
        length = self.surface.length_px
        if twin is None or self.distance_to(twin) > 0.4 * length:
            return replace(self, confidence=0.75 * self.confidence)
        apart = self.distance_to(twin)
        # the coarser look is the worse one: its share of the difference is not this one's error
        sd = float(np.hypot(self.corner_sd_px, 0.35 * apart))
        doubt = float(np.exp(-0.5 * (0.5 * apart / (_APART_SHARE * length)) ** 2))
        return replace(self, corner_sd_px=sd, confidence=self.confidence * (0.3 + 0.7 * doubt))


def candidates_of(fields: PixelFields, photo: Photo, side: Side, hand: Hand) -> list[Candidate]:
    """Painted tooth sides of the maps to which a surface could be fitted; if none is, unpainted."""
    found = []
    instances = split_teeth(fields)
    painted = [instance for instance in instances if instance.painted > _PAINTED]
    for instance in (painted or instances)[:_MOST]:
        fitted = fit_surface(observe(fields, instance.mask))
        if fitted is not None:
            found.append(_candidate(fields, photo, instance, fitted, side, hand))
    return found


def _candidate(
    fields: PixelFields,
    photo: Photo,
    instance: Instance,
    fitted: FittedSurface,
    side: Side,
    hand: Hand,
) -> Candidate:
    surface = fitted.surface
    visible, in_view = _visible(fields, photo, instance, surface)
    right_way = outline_runs_clockwise(surface.corners) == runs_clockwise(side, hand)
    doubts = (
        np.exp(-0.5 * (fitted.misfit[0] / _MISFIT_SD[0]) ** 2),
        np.exp(-0.5 * (fitted.misfit[1] / _MISFIT_SD[1]) ** 2),
        np.clip(visible / 0.75, 0.0, 1.0) ** 2,
        0.55 + 0.45 * min(1.0, fitted.on_border / 0.5),
        np.clip(instance.painted / 0.6, 0.0, 1.0),
        1.0 if right_way else 0.0,
        np.exp(-0.5 * (fitted.corner_sd / (0.06 * max(surface.length_px, 1.0))) ** 2),
    )
    limits = np.array([photo.width_px - 1.0, photo.height_px - 1.0])
    ends = np.array([surface.corners[[0, 3]].mean(axis=0), surface.corners[[1, 2]].mean(axis=0)])
    cut = bool(((ends < -2) | (ends > limits + 2)).any())
    return Candidate(
        surface=surface,
        corner_sd_px=fitted.corner_sd + 0.004 * surface.length_px,
        confidence=float(np.prod(doubts)),
        painted=instance.painted,
        contact=instance.contact,
        visible=visible,
        in_view=in_view,
        ends_cut=cut,
        misfit=fitted.misfit,
        right_way_round=right_way,
    )


def _visible(
    fields: PixelFields, photo: Photo, instance: Instance, surface: ToothSurface
) -> tuple[float, float]:
    """Share of the tooth side in the instance's mask, and inside the picture."""
    grid_l, grid_p = np.meshgrid(np.linspace(0.02, 0.98, 40), np.linspace(0.04, 0.96, 14))
    xy = surface.to_photo(grid_l, grid_p)
    x, y = xy[..., 0], xy[..., 1]
    inside = (x >= 0) & (y >= 0) & (x <= photo.width_px - 1) & (y <= photo.height_px - 1)
    cells = fields.grid_xy(xy.reshape(-1, 2)).reshape(xy.shape).astype(np.float32)
    mask = cv2.dilate(instance.mask.astype(np.float32), np.ones((3, 3), np.uint8))
    on = cv2.remap(mask, cells[..., 0], cells[..., 1], cv2.INTER_NEAREST, borderValue=0.0)
    return float((on > 0.5).mean()), float(inside.mean())
