"""Tooth sides laid out flat, as the reader lays them out, painted and lit there: training pictures of
marks alone, a tenth of the work of whole photos.

A rasterised view is sampled on the cells of its tooth sides, outlines misplaced as the reader misplaces
them; paint, light and camera (`shade`) then work on the laid-out teeth, one below the other.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor

from pattern.records import SIDES
from pattern.synthetic.dataset import Slots, to_device
from pattern.synthetic.raster_views import Gear, View, random_gear, random_view
from pattern.synthetic.shade import photograph
from pattern.synthetic.shade_paint import Batch, Dice
from pattern.synthetic.solids import Part
from pattern.synthetic.tooth_form import SECTION
from pattern.teeth.rectify import cell_centres
from pattern.teeth.surface import ToothSurface

Floats = NDArray[np.float64]
ROWS, COLUMNS = 48, 144
"""Cells of a laid-out tooth in training; the reader's finer ones are averaged down to them."""
TEETH = 5
"""Tooth sides taken from a view: neighbours, painted or not."""
SHAPE = (384, 512)
LEAST_PX, LEAST_SHARE = 60.0, 0.35
VIEWS_PER_GEAR = 6
FAR_PX = 1e6
"""Focal length of laid-out teeth: every cell is seen from straight ahead of the camera."""


@dataclass(frozen=True, eq=False)
class FlatExamples:
    """Laid-out teeth of several photos, and their truth on cells of twice the size.

    `rgb` (B, T, 3, ROWS, COLUMNS) 0 to 1; `contact`, `painted`, `own` (B, T, ROWS/2, COLUMNS/2): the
    wiped patch, brushed with compound, this tooth side and nothing else in view; `slip`
    (B, T, 2, ROWS/2, COLUMNS/2) true less assumed tooth coordinates, where `own`.
    """

    rgb: Tensor
    contact: Tensor
    painted: Tensor
    own: Tensor
    slip: Tensor


def flat_examples(seed: int, count: int) -> FlatExamples:
    """Draw so many photos' teeth, TEETH each, from one seed."""
    rng = np.random.default_rng([seed, 31])
    gear = random_gear(rng)
    views: list[View] = []
    places: list[list[tuple[int, ToothSurface]]] = []
    while len(views) < count:
        if len(views) % VIEWS_PER_GEAR == 0:
            gear = random_gear(rng)
        view = random_view(rng, gear, *SHAPE)
        surfaces = _surfaces(rng, view, gear)
        if len(surfaces) == TEETH:
            views.append(view)
            places.append(surfaces)
    batch, truth = _laid_out(views, places)
    dice = Dice(seed, torch.device("cpu"))
    example = photograph(dice, batch, ease=0.5)
    rows, columns = ROWS // 2, COLUMNS // 2

    def per_tooth(maps: Tensor, height: int, width: int) -> Tensor:
        many = maps.reshape(count, maps.shape[1], TEETH, height, width)
        return many.permute(0, 2, 1, 3, 4)

    declared = example.inputs[:, 3, 0, 0] < 0  # coast
    as_aimed = declared == batch.side.bool()
    own = per_tooth(torch.from_numpy(truth["own"]), rows, columns)[:, :, 0]
    marks = per_tooth(example.masks, rows, columns)
    keep = as_aimed
    return FlatExamples(
        rgb=per_tooth(0.5 + 0.5 * example.inputs[:, :3], ROWS, COLUMNS)[keep],
        contact=(marks[:, :, 4] * own)[keep],
        painted=(marks[:, :, 2] * own)[keep],
        own=own[keep],
        slip=per_tooth(torch.from_numpy(truth["slip"]), rows, columns)[keep],
    )


# --- where the teeth lie ---------------------------------------------------------------------------------


def _surfaces(rng: np.random.Generator, view: View, gear: Gear) -> list[tuple[int, ToothSurface]]:
    """TEETH neighbouring tooth sides about the aimed one, misplaced; fewer where fewer are seen."""
    side = SIDES.index(view.side)
    found = []
    for away in (0, 1, -1, 2, -2, 3, -3, 4, -4):
        tooth = (view.tooth + away) % gear.teeth
        if view.visible[tooth, side] * view.inside[tooth, side] < LEAST_SHARE:
            continue
        surface = _true_surface(view, tooth)
        if surface is not None and surface.length_px > LEAST_PX:
            found.append((away, tooth, surface))
        if len(found) == TEETH:
            break
    found.sort(key=lambda item: item[0])
    wide = 3.5 if rng.random() < 0.15 else 1.0
    shared = rng.normal(size=(4, 2)) * (0.02 * wide, 0.05 * wide)
    shared += rng.normal(size=2) * (0.02 * wide, 0.05 * wide)
    return [
        (tooth, _misplaced(rng, surface, shared, 0.5 * wide)) for _away, tooth, surface in found
    ]


def _true_surface(view: View, tooth: int) -> ToothSurface | None:
    """Edges of a tooth side, from the pixels that show it; None where they are too few."""
    buffers = view.buffers
    part = Part.DRIVE if view.side == "drive" else Part.COAST
    rows, columns = np.nonzero((buffers.thing == tooth) & (buffers.part == part))
    if len(rows) < 60:
        return None
    lengthwise, profile = _place(buffers.texture[rows, columns])
    if np.ptp(lengthwise) < 0.8 or np.ptp(profile) < 0.65:
        return None
    basis = _basis(lengthwise, profile)
    xy = np.stack([columns, rows], axis=1).astype(float)
    normal = basis.T @ basis + 1e-3 * np.eye(basis.shape[1])
    fit = np.linalg.solve(normal, basis.T @ xy)
    if np.abs(basis @ fit - xy).mean() > 2.0:
        return None
    along = np.linspace(0.0, 1.0, 33)
    return ToothSurface(
        tip=_basis(along, np.ones(33)) @ fit, root=_basis(along, np.zeros(33)) @ fit
    )


def _place(texture: NDArray[np.float32]) -> tuple[Floats, Floats]:
    section = texture[..., 1].astype(float)
    s = np.where(section > 0.5, 1.0 - section, section)
    profile = (s - SECTION.drive_root) / (SECTION.drive_tip - SECTION.drive_root)
    return texture[..., 0].astype(float), profile


def _basis(lengthwise: Floats, profile: Floats) -> Floats:
    along = [lengthwise**k for k in range(4)]
    return np.stack([*along, *(a * profile for a in along)], axis=-1)


def _misplaced(
    rng: np.random.Generator, surface: ToothSurface, shared: Floats, own: float
) -> ToothSurface:
    """The surface with its four corners moved in tooth coordinates, the edges between with them."""
    moves = shared + own * rng.normal(size=(4, 2)) * (0.01, 0.02)
    along = np.linspace(0.0, 1.0, len(surface.tip))
    edges = []
    for profile, (toe, heel) in ((1.0, (0, 1)), (0.0, (3, 2))):
        moved = moves[toe] + along[:, None] * (moves[heel] - moves[toe])
        edges.append(surface.to_photo(along + moved[:, 0], profile + moved[:, 1]))
    return ToothSurface(tip=edges[0], root=edges[1])


# --- lay out ---------------------------------------------------------------------------------------------


def _laid_out(
    views: list[View], places: list[list[tuple[int, ToothSurface]]]
) -> tuple[Batch, dict[str, NDArray[np.float32]]]:
    """A batch whose pictures are the teeth one below the other, and the truth of their cells."""
    shape = (TEETH * ROWS, COLUMNS)
    slots = Slots.over(memoryview(bytearray(Slots.size(len(views)))), len(views), shape)
    own = np.zeros((len(views), 1, shape[0] // 2, shape[1] // 2), np.float32)
    slip = np.zeros((len(views), 2, shape[0] // 2, shape[1] // 2), np.float32)
    grid_l, grid_p = np.meshgrid(cell_centres(COLUMNS), cell_centres(ROWS)[::-1])
    for row, (view, surfaces) in enumerate(zip(views, places, strict=True)):
        xy = np.concatenate([s.to_photo(grid_l, grid_p) for _, s in surfaces]).astype(np.float32)
        slots.put(row, _sampled(view, xy))
        thing = slots.pixels["thing"][row, ..., 0]
        tooth = np.repeat([t for t, _ in surfaces], ROWS)[:, None]
        is_own = (thing == tooth) & (slots.pixels["part"][row, ..., 0] == SIDES.index(view.side))
        lengthwise, profile = _place(slots.pixels["texture"][row])
        assumed = np.tile(grid_l, (TEETH, 1)), np.tile(grid_p, (TEETH, 1))
        weight = _halved(is_own.astype(np.float32))
        own[row, 0] = weight
        for k, (true, said) in enumerate(zip((lengthwise, profile), assumed, strict=True)):
            off = _halved(((true - said) * is_own).astype(np.float32))
            slip[row, k] = np.where(weight > 0, off / np.maximum(weight, 1e-6), 0.0)
    batch = to_device(slots, torch.device("cpu"))
    return batch, {"own": own, "slip": slip}


def _sampled(view: View, xy: NDArray[np.float32]) -> View:
    buffers = view.buffers
    x, y = np.ascontiguousarray(xy[..., 0]), np.ascontiguousarray(xy[..., 1])

    def at(values: NDArray[Any], outside: float = 0.0) -> NDArray[Any]:
        border = (outside,) * 4
        picked = cv2.remap(
            np.ascontiguousarray(values), x, y, cv2.INTER_NEAREST,
            borderMode=cv2.BORDER_CONSTANT, borderValue=border,
        )  # fmt: skip
        return np.asarray(picked)

    depth = np.where(np.isfinite(buffers.depth), buffers.depth, 0.0).astype(np.float32)
    return replace(
        view,
        buffers=replace(
            buffers,
            depth=at(depth),
            part=at(buffers.part, 255.0),
            thing=at(buffers.thing, 255.0),
            normal=at(buffers.normal),
            texture=at(buffers.texture),
        ),
        lit=at(view.lit),
        backdrop=at(view.backdrop),
        focal_px=FAR_PX,
        centre_px=(0.0, 0.0),
    )


def _halved(values: NDArray[np.float32]) -> NDArray[np.float32]:
    rows, columns = values.shape
    return values.reshape(rows // 2, 2, columns // 2, 2).mean(axis=(1, 3))
