"""Marking compound on a tooth: colours, brushwork, and what the rolling wiped away."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from pattern.synthetic.second.arrays import Array, Rng, noise, smooth_step
from pattern.synthetic.second.gear import DRIVE
from pattern.synthetic.second.marks import Mark, centroid, mark_field
from pattern.synthetic.second.steel import Steel, steel_strip
from pattern.synthetic.second.surfaces import Material
from pattern.synthetic.second.tooth_solid import LAND_FROM, ROOT_SHARE, SIDE_SHARE

_COLOURS: dict[str, list[tuple[float, float, float]]] = {
    "yellow": [(0.80, 0.56, 0.03), (0.72, 0.48, 0.05), (0.85, 0.66, 0.12), (0.62, 0.40, 0.04)],
    "white": [(0.80, 0.79, 0.74), (0.70, 0.70, 0.68), (0.78, 0.75, 0.64)],
    "blue": [(0.015, 0.035, 0.16), (0.02, 0.07, 0.32), (0.01, 0.02, 0.10), (0.03, 0.13, 0.40)],
    "red": [(0.45, 0.03, 0.02), (0.35, 0.05, 0.03), (0.55, 0.06, 0.05)],
    "orange": [(0.75, 0.22, 0.03), (0.62, 0.16, 0.03)],
    "green": [(0.05, 0.30, 0.08), (0.12, 0.42, 0.12), (0.04, 0.22, 0.14)],
    "grease": [(0.035, 0.033, 0.03), (0.07, 0.068, 0.06), (0.14, 0.13, 0.12)],
}
_ODDS = [0.33, 0.12, 0.15, 0.11, 0.09, 0.09, 0.11]
_BRUSHWORK = ((3, 38), (38, 2.5), (14, 14))
"""Cells of the streaks across and down: brushed lengthwise, up and down, dabbed."""

PROBE_LENGTHWISE, PROBE_PROFILE = (
    grid.ravel() for grid in np.meshgrid(np.linspace(0.03, 0.97, 30), np.linspace(0.05, 0.97, 15))
)
"""Places of a side at which visibility and colour are looked at."""


@dataclass(frozen=True, eq=False)
class Compound:
    """The compound of one photo; thickness 1 is a usual coat."""

    name: str
    colour: Array
    thickness: float
    hiding: float
    brush: int
    streaks: float
    missed: float
    """Less misses more spots."""
    short: float
    """How far the brush may stop short of the edges."""
    over: float
    """Over the tip edge onto the top land."""
    down: float
    """Into the root."""
    dust: float
    darker: float
    dirt: float
    roughness: float
    relief_mm: float

    def smeared(self) -> Compound:
        """What came off onto a neighbouring tooth."""
        return replace(self, thickness=self.thickness * 0.5, over=self.over * 0.5)


def drawn_compound(rng: Rng) -> Compound:
    """Any compound, any brush."""
    name = str(rng.choice(list(_COLOURS), p=_ODDS))
    colour = _COLOURS[name][int(rng.integers(len(_COLOURS[name])))]
    thickness = float(rng.choice([0.45, 0.9, 1.6], p=[0.25, 0.45, 0.3]) * rng.uniform(0.8, 1.2))
    return Compound(
        name=name,
        colour=np.clip(np.array(colour) * (1 + rng.uniform(-0.12, 0.12, 3)), 0, 0.9),
        thickness=thickness,
        hiding=rng.uniform(2.2, 4.5),
        brush=int(rng.choice([0, 1, 2], p=[0.55, 0.2, 0.25])),
        streaks=rng.uniform(0.15, 0.75),
        missed=rng.uniform(0.75, 1.6),
        short=float(rng.choice([0.0, 0.12], p=[0.6, 0.4])),
        over=float(rng.choice([0, 0.4, 1.2], p=[0.35, 0.35, 0.3])),
        down=float(rng.choice([0, 0.4, 1.2], p=[0.35, 0.35, 0.3])),
        dust=rng.uniform(0, 0.6) * (rng.random() < 0.4),
        darker=rng.uniform(0.05, 0.3),
        dirt=float(rng.choice([0, 0.35, 0.8], p=[0.5, 0.35, 0.15])),
        roughness=rng.uniform(0.22, 0.55),
        relief_mm=rng.uniform(0.02, 0.09),
    )


@dataclass(frozen=True, eq=False)
class Wiped:
    """A mark as it came out on one tooth side."""

    centroid: tuple[float, float] | None
    distance: Array
    """Below 1 inside the mark, at the probed places."""
    contrast: float
    """Colour distance (CIELAB) between the mark and the compound about it, in even light."""


@dataclass(frozen=True, eq=False)
class PaintedTooth:
    """Texture of a painted tooth and the mark of each rolled side."""

    material: Material
    marks: dict[int, Wiped]


@dataclass(frozen=True, eq=False)
class _Coat:
    """Compound on one side, row 0 at the root end; the same beyond tip and root; what is wiped."""

    thickness: Array
    over: Array
    down: Array | None
    wiped: Array | None
    distance: Array | None


def painted_tooth(
    rng: Rng,
    steel: Steel,
    compound: Compound,
    marks: dict[int, Mark | None],
    side_shape: float,
    width_px: int,
    smear: bool = False,
) -> PaintedTooth:
    """One painted tooth; `marks` names the painted sides, None where none was rolled in."""
    height = int(width_px * 1.45)
    bare = steel_strip(rng, steel, height, width_px)
    thickness = np.zeros((height, width_px), np.float32)
    wiped = np.zeros((height, width_px), np.float32)
    coats: dict[int, _Coat] = {}
    for side, mark in marks.items():
        coat = _coat(rng, compound, mark, side_shape, (height, width_px), smear)
        coats[side] = coat
        # The coast side lies in the second half of the strip, the other way up.
        _laid(thickness if side == DRIVE else thickness[::-1], coat)
        if coat.wiped is not None:
            half = wiped if side == DRIVE else wiped[::-1]
            begin = int(ROOT_SHARE * height)
            rows = slice(begin, begin + len(coat.wiped))
            half[rows] = np.maximum(half[rows], coat.wiped)
    material = _over_steel(rng, compound, bare, thickness, wiped)
    seen = {
        side: _as_wiped(material.colour, compound, side, coat.distance)
        for side, coat in coats.items()
        if coat.distance is not None
    }
    return PaintedTooth(material, seen)


def _coat(
    rng: Rng,
    compound: Compound,
    mark: Mark | None,
    side_shape: float,
    strip: tuple[int, int],
    smear: bool,
) -> _Coat:
    height, width = strip
    rows = int(SIDE_SHARE * height)
    base = float(compound.thickness) * rng.uniform(0.8, 1.2)
    across, down_cells = _BRUSHWORK[compound.brush]
    streaks = noise(rng, rows, width, across, down_cells, 3)
    lumps = noise(rng, rows, width, 6, 3, 3)
    coat = base * np.clip(1 + compound.streaks * streaks + 0.35 * lumps, 0, 3)
    distance = direction = None
    if mark is not None:
        distance, direction = mark_field(rng, mark, rows, width, side_shape)
    covered = _reach(rng, compound, rows, width)
    spots = noise(rng, rows, width, 9, 5, 4) + 0.3 * streaks
    present = 1 - (smooth_step(compound.missed - 0.2, compound.missed, spots)) * 0.95
    if distance is not None:
        near = smooth_step(1.75, 1.25, distance)
        covered, present = np.maximum(covered, near), np.maximum(present, near)
    if smear:
        patches = noise(rng, rows, width, 3, 3, 3) + rng.uniform(-0.2, 0.25)
        covered = covered * smooth_step(0.35, 0.75, patches) * rng.uniform(0.3, 0.9)
    coat = coat * covered * present
    wiped = None
    if mark is not None and distance is not None and direction is not None:
        coat, wiped = _rolled(rng, mark, coat, distance, direction, lumps, base)
    over, down = _beyond(rng, compound, coat, base, height)
    return _Coat(coat, over, None if smear else down, wiped, distance)


def _reach(rng: Rng, compound: Compound, rows: int, width: int) -> Array:
    """How far the brush reached toward toe, heel and root."""
    across = (np.arange(width, dtype=np.float32) + 0.5)[None] / width
    up = (np.arange(rows, dtype=np.float32) + 0.5)[:, None] / rows
    edge = 0.05 * noise(rng, rows, width, 8, 6, 3)
    toe = rng.uniform(-0.25, compound.short)
    heel = 1 - rng.uniform(-0.25, compound.short)
    root = rng.uniform(-0.3, compound.short * 0.9)
    return np.asarray(
        smooth_step(toe - 0.04, toe + 0.04, across + edge)
        * smooth_step(-heel - 0.04, -heel + 0.04, -across + edge)
        * smooth_step(root - 0.05, root + 0.05, up + edge)
    )


def _rolled(
    rng: Rng,
    mark: Mark,
    coat: Array,
    distance: Array,
    direction: Array,
    lumps: Array,
    base: float,
) -> tuple[Array, Array]:
    """The coat with the mark wiped into it and its rim pushed out; and how far it is wiped."""
    soft = mark.softness
    wiped = smooth_step(1 + soft, 1 - soft, distance)
    rows, width = distance.shape
    film = mark.film * np.clip(1 + 0.9 * noise(rng, rows, width, 5, 40, 3), 0, 2.5)
    coat = coat * (1 - wiped) + wiped * np.minimum(coat, 0.5 * film)
    ridge = np.exp(-(((distance - 1 - soft * 0.7 - mark.rim_width) / mark.rim_width) ** 2))
    uneven = np.clip(0.8 + 0.8 * np.cos(direction - mark.rim_towards_rad) + 0.5 * lumps, 0, 2)
    return coat + ridge * mark.rim * uneven * base * 0.9, wiped


def _beyond(
    rng: Rng, compound: Compound, coat: Array, base: float, height: int
) -> tuple[Array, Array]:
    """Compound over the tip edge, row 0 at the edge, and into the root, row 0 at the side."""
    width = coat.shape[1]
    rows = int(0.08 * height * (0.6 if rng.random() < 0.5 else 1.0))
    edge = coat[-1][None] * 1.0
    ragged = np.clip(0.4 + noise(rng, rows, width, 12, 2, 3) * 1.3, 0, 2)
    fading = smooth_step(1, 0.3, np.arange(rows)[:, None] / rows / rng.uniform(0.4, 1.2))
    over = compound.over * ragged * base * fading * (edge > 0.05 * base)
    rows = int(ROOT_SHARE * height)
    ragged = np.clip(0.3 + noise(rng, rows, width, 6, 2, 3) * 1.2, 0, 2)
    down = compound.down * ragged * base * np.linspace(1, 0.1, rows, dtype=np.float32)[:, None]
    return over.astype(np.float32), down


def _laid(strip: Array, coat: _Coat) -> None:
    """Lay a coat into the strip, whose row 0 is the middle of the space beside that side."""
    height = len(strip)
    begin, land = int(ROOT_SHARE * height), int(LAND_FROM * height)
    strip[begin : begin + len(coat.thickness)] = coat.thickness
    strip[land : land + len(coat.over)] += coat.over
    if coat.down is not None:
        strip[:begin] += coat.down[::-1]


def _over_steel(
    rng: Rng, compound: Compound, steel: Material, thickness: Array, wiped: Array
) -> Material:
    """Steel seen through compound of a thickness (rows, columns); bare where wiped it is polished."""
    height, width = thickness.shape
    coat = cv2.GaussianBlur(thickness, (0, 0), max(0.6, width / 700))
    if compound.dust > 0:
        specks = np.clip(noise(rng, height, width, 30, 40, 3) - 0.55, 0, 1)
        coat = coat + compound.dust * 0.25 * specks
    hidden = 1 - np.exp(-coat * compound.hiding)
    relative = np.clip(coat / max(compound.thickness, 0.05), 0, 3)[..., None]
    uneven = 1 + 0.05 * noise(rng, height, width, 9, 12, 3)[..., None]
    thick = 1.12 - compound.darker * np.clip(relative - 0.7, 0, 1.6)
    paste = np.array(compound.colour, np.float32) * thick * uneven
    patches = np.clip(0.4 + noise(rng, height, width, 4, 6, 4), 0, 1)[..., None]
    paste = paste * (1 - 0.55 * (float(compound.dirt) * patches))
    wet = compound.roughness * (1 + 0.25 * noise(rng, height, width, 6, 8, 3))
    polished = np.where(wiped > 0, steel.roughness * (1 - 0.25 * wiped), steel.roughness)
    colour = steel.colour * (1 - hidden[..., None]) + paste * hidden[..., None]
    return Material(
        colour=np.clip(colour, 0.004, 0.95),
        roughness=polished * (1 - hidden) + wet * hidden,
        metal=steel.metal * (1 - hidden),
        bump_mm=steel.bump_mm * (1 - hidden) + coat * compound.relief_mm,
        clamped=True,
    )


def _as_wiped(colour: Array, compound: Compound, side: int, distance: Array) -> Wiped:
    height, width = colour.shape[:2]
    rows = len(distance)
    up = np.minimum((PROBE_PROFILE * rows).astype(int), rows - 1)
    along = np.minimum((PROBE_LENGTHWISE * width).astype(int), width - 1)
    probed = distance[up, along]
    down = up + int(ROOT_SHARE * height)
    seen = colour[down if side == DRIVE else height - 1 - down, along]
    inside, about = probed < 0.85, (probed > 1.25) & (probed < 2.2)
    plain = np.array(compound.colour, np.float32)
    pair = np.stack(
        [
            seen[inside].mean(0) if inside.any() else plain,
            seen[about].mean(0) if about.any() else seen.mean(0),
        ]
    )
    encoded = pair[None].astype(np.float32) ** np.float32(1 / 2.2)
    lab = cv2.cvtColor(encoded, cv2.COLOR_RGB2LAB)[0]
    return Wiped(centroid(distance), probed, float(np.linalg.norm(lab[0] - lab[1])))
