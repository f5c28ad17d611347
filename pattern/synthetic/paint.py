"""Marking compound on a tooth: brushed on, squeezed away at the mark, drawn as texture fields.

Fields of one tooth are (section, lengthwise) images: row 0 at section coordinate 0, column 0 at the
toe. Thickness in micrometres.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pattern.records import SIDES, Side
from pattern.synthetic.marks import Mark, field_of_grid, level_field
from pattern.synthetic.noise import Field, layered_noise, ramp, smooth_noise, streaks
from pattern.synthetic.tooth_form import SECTION

COLOURS: dict[str, tuple[float, float, float]] = {
    "yellow": (0.80, 0.55, 0.035),
    "white": (0.80, 0.79, 0.74),
    "orange-red": (0.72, 0.13, 0.03),
    "blue": (0.035, 0.11, 0.42),
    "green": (0.06, 0.33, 0.11),
    "grey-white": (0.50, 0.52, 0.51),
}
"""Linear RGB reflectance of thick compound; invented values by the eye."""


SLOT_EDGE = 0.004
"""Share of a texture's columns kept free beyond the toe and beyond the heel."""


@dataclass(frozen=True)
class Brush:
    """How the compound was put on. Thickness in micrometres, coverage in shares of the tooth.

    `tint` shifts the named colour: no two tins are alike.
    """

    colour: str = "yellow"
    thickness_um: float = 55.0
    streak: float = 0.45
    across: bool = True
    start: float = -0.05
    end: float = 1.05
    root_pool: float = 1.1
    land: float = 0.3
    hiding_um: float = 20.0
    wet: float = 0.4
    tint: tuple[float, float, float] = (1.0, 1.0, 1.0)


@dataclass(frozen=True, eq=False)
class SideMark:
    """One side's mark on one tooth: a generic form, or a computed level (lengthwise, profile) that
    `shift` moves toward the heel and the tip."""

    mark: Mark
    computed: NDArray[np.float64] | None = None
    shift: tuple[float, float] = (0.0, 0.0)

    def level(
        self,
        lengthwise: NDArray[np.float64],
        profile: NDArray[np.float64],
        size_mm: tuple[float, float],
    ) -> NDArray[np.float64]:
        """Level at points, above 0 inside the mark."""
        if self.computed is None:
            return level_field(self.mark, lengthwise, profile, size_mm)
        return field_of_grid(self.computed, lengthwise - self.shift[0], profile - self.shift[1])


@dataclass(frozen=True, eq=False)
class PaintFields:
    """Texture fields of one tooth and, per side, the contact mask (profile rows, lengthwise)."""

    thickness_um: Field
    wiped: Field
    contact: dict[Side, NDArray[np.bool_]]


def section_axes(shape: tuple[int, int]) -> tuple[Field, Field]:
    """Section coordinate of the rows (rows, 1) and lengthwise position of the columns (1, columns).

    The outermost columns lie `SLOT_EDGE` off the tooth, so that neighbouring slots never mix.
    """
    rows = ((np.arange(shape[0]) + 0.5) / shape[0]).astype(np.float32)[:, None]
    columns = (np.arange(shape[1]) + 0.5) / shape[1]
    columns = (columns - SLOT_EDGE) / (1.0 - 2.0 * SLOT_EDGE)
    return rows, columns.astype(np.float32)[None, :]


def brushed(shape: tuple[int, int], brush: Brush, rng: np.random.Generator) -> Field:
    """Thickness of fresh compound on one tooth."""
    section, length = section_axes(shape)
    if brush.across:
        bristles = streaks(shape, 70, 0.012, rng.uniform(-0.2, 0.2), rng)
    else:
        bristles = streaks((shape[1], shape[0]), 90, 0.012, rng.uniform(-0.05, 0.05), rng).T
    lumps = layered_noise(shape, (6, 8), rng)
    # Bristles thin the paste, they seldom bare the steel.
    field = np.exp(brush.streak * bristles + 0.22 * lumps - 0.5 * brush.streak**2)
    ragged = 0.03 * bristles + 0.03 * smooth_noise(shape, (9, 3), rng)
    cover = ramp(length + ragged - np.float32(brush.start), 0.0, 0.035)
    cover *= ramp(np.float32(brush.end) - length + ragged, 0.0, 0.035)
    land = ramp(np.abs(section - 0.5).astype(np.float32), 0.035, 0.085)
    drips = ramp(smooth_noise(shape, (2, 14), rng), 0.6, 1.4)
    field *= land + (1.0 - land) * np.clip(brush.land * (0.5 + bristles) + drips, 0.0, 1.2)
    from_root = np.minimum(section, 1.0 - section)
    pool = ramp(from_root, SECTION.drive_root + 0.03, 0.02)
    field *= 1.0 + (brush.root_pool - 1.0) * pool
    return np.asarray(brush.thickness_um * cover * np.clip(field, 0.0, 3.0), np.float32)


def painted_tooth(
    shape: tuple[int, int],
    brush: Brush,
    marks: dict[Side, SideMark],
    sizes_mm: dict[Side, tuple[float, float]],
    rng: np.random.Generator,
) -> PaintFields:
    """Brush one tooth, then squeeze the marks: a scuffed film inside, a lumpy ridge around."""
    thickness = brushed(shape, brush, rng)
    wiped = np.zeros(shape, np.float32)
    contact: dict[Side, NDArray[np.bool_]] = {}
    for side in SIDES:
        if side not in marks:
            continue
        rows = _side_rows(side, shape[0])
        level, true_mask = _ragged_level(side, rows, shape, marks[side], sizes_mm[side], rng)
        contact[side] = true_mask
        _squeeze(thickness, wiped, rows, level, marks[side].mark, rng)
    return PaintFields(thickness, wiped, contact)


def _side_rows(side: Side, rows: int) -> slice:
    """Texture rows of a tooth side, a little of the fillet and the chamfer included."""
    ends = (
        (SECTION.drive_root - 0.03, SECTION.top_start)
        if side == "drive"
        else (SECTION.top_end, SECTION.coast_root + 0.03)
    )
    return slice(int(ends[0] * rows), int(ends[1] * rows) + 1)


def _ragged_level(
    side: Side,
    rows: slice,
    shape: tuple[int, int],
    mark: SideMark,
    size_mm: tuple[float, float],
    rng: np.random.Generator,
) -> tuple[Field, NDArray[np.bool_]]:
    """Level over the texture rows with a ragged edge, and the true mask on the tooth side alone."""
    section, length = section_axes(shape)
    ends = (
        (SECTION.drive_root, SECTION.drive_tip)
        if side == "drive"
        else (SECTION.coast_root, SECTION.coast_tip)
    )
    profile = (section[rows] - ends[0]) / (ends[1] - ends[0])
    grid = np.broadcast_arrays(length.astype(float), profile.astype(float))
    # One level over a coarse grid is enough: the edge's raggedness comes from the noise.
    level = mark.level(grid[0], grid[1], size_mm).astype(np.float32)
    level += 0.05 * layered_noise(level.shape, (5, 12), rng)
    inside = (profile[:, 0] >= 0.0) & (profile[:, 0] <= 1.0)
    on_tooth = (length[0] >= 0.0) & (length[0] <= 1.0)
    mask = level[inside][:, on_tooth] > 0.0
    if side == "coast":
        mask = mask[::-1]
    # No contact beyond the tooth side's own edges: the chamfer and the fillet do not touch.
    off = np.maximum(profile - 1.0, -profile) * 6.0
    return np.asarray(level - np.clip(off, 0.0, None), np.float32), mask


def _squeeze(
    thickness: Field, wiped: Field, rows: slice, level: Field, mark: Mark, rng: np.random.Generator
) -> None:
    """Take compound out of the mark and pile some of it up along its edge, in place.

    The film left inside is streaked along the sliding, thicker toward the mark's edge; the ridge is
    lumpy and breaks off in places.
    """
    fresh = thickness[rows]
    gone = ramp(level, -0.02, 0.10) * np.float32(mark.wiped)
    scuff = streaks(level.shape, 90, 0.008, rng.uniform(-0.5, 0.5), rng)
    blotch = layered_noise(level.shape, (9, 18), rng)
    rim = 5.0 * np.exp(-np.clip(level, 0.0, None) / 0.12)
    film = np.clip(1.2 + 1.8 * scuff + 1.2 * blotch + rim, 0.1, None)
    left = fresh * (1.0 - gone) + np.minimum(fresh, film) * gone
    lumps = np.clip(0.75 + 0.7 * layered_noise(level.shape, (7, 30), rng), 0.0, 2.2)
    ridge = np.exp(-(((level + 0.07) / 0.06) ** 2)) * lumps
    drag = np.exp(-(((level + 0.30) / 0.16) ** 2)) * np.clip(0.5 + blotch, 0.0, 1.0)
    left = left * (1.0 - 0.25 * mark.wiped * drag)
    thickness[rows] = left + np.float32(1.5 * mark.wiped) * ridge * np.minimum(fresh, 70.0)
    wiped[rows] = np.maximum(wiped[rows], gone)


def smeared(shape: tuple[int, int], brush: Brush, amount: float, rng: np.random.Generator) -> Field:
    """Stray compound on a tooth that was not painted: a few dabs and streaks."""
    dabs = ramp(layered_noise(shape, (3, 4), rng), 1.35 - amount, 1.9 - amount)
    bristles = streaks(shape, 60, 0.04, rng.uniform(-0.5, 0.5), rng)
    return np.asarray(
        0.5 * brush.thickness_um * dabs * np.clip(0.6 + 0.6 * bristles, 0.0, 2.0), np.float32
    )
