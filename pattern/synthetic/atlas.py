"""Textures of all teeth in one atlas, and the tooth surface with its place in it.

The atlas is a grid of slots; each holds one tooth's section (rows) by lengthwise (columns) image.
Painted teeth have slots of their own, their neighbours a smeared one, all others share a bare one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pattern.records import Side
from pattern.synthetic.geometry import GearMesh
from pattern.synthetic.noise import Field
from pattern.synthetic.paint import SLOT_EDGE, Brush, SideMark, painted_tooth, smeared
from pattern.synthetic.solids import Part
from pattern.synthetic.steel import Finish, SurfaceFields, tooth_surface


@dataclass(frozen=True)
class Layout:
    """Slots in the atlas and the pixels of one slot (section rows, lengthwise columns)."""

    rows: int
    columns: int
    slot_px: tuple[int, int]

    @property
    def slots(self) -> int:
        """How many teeth have a texture."""
        return self.rows * self.columns


USUAL = Layout(4, 2, (832, 1024))
CLOSE = Layout(4, 1, (832, 2048))


@dataclass(frozen=True)
class Painted:
    """Which teeth are painted and how each side was marked; `smear` is stray compound, 0 to 1."""

    brush: Brush
    marks: dict[int, dict[Side, SideMark]]
    smear: float = 0.4


@dataclass(frozen=True, eq=False)
class ToothAtlas:
    """`fields` (half precision: they travel between processes) are the whole atlas, `contact` the true masks, `slot_of` the slot of every tooth."""

    layout: Layout
    fields: SurfaceFields
    contact: dict[int, dict[Side, NDArray[np.bool_]]]
    slot_of: NDArray[np.int64]


def build_atlas(
    mesh: GearMesh,
    painted: Painted,
    finish: Finish,
    layout: Layout,
    sizes_mm: dict[Side, tuple[float, float]],
    rng: np.random.Generator,
) -> ToothAtlas:
    """Draw every slot. The last slot is bare steel, the two before it (if any) are smeared."""
    teeth = sorted(painted.marks)
    spare = layout.slots - len(teeth)
    if spare < 1:
        raise ValueError(f"{len(teeth)} painted teeth do not fit {layout.slots} slots")
    slot_of = np.full(mesh.spec.ring_teeth, layout.slots - 1)
    slots: list[SurfaceFields] = []
    contact: dict[int, dict[Side, NDArray[np.bool_]]] = {}
    for slot, tooth in enumerate(teeth):
        slot_of[tooth] = slot
        fields = painted_tooth(layout.slot_px, painted.brush, painted.marks[tooth], sizes_mm, rng)
        contact[tooth] = fields.contact
        slots.append(tooth_surface(finish, painted.brush, fields.thickness_um, fields.wiped, rng))
    for index in range(spare):
        amount = painted.smear if index < spare - 1 else 0.0
        stray = smeared(layout.slot_px, painted.brush, amount, rng)
        if amount == 0.0:
            stray = np.zeros_like(stray)
        slots.append(tooth_surface(finish, painted.brush, stray, np.zeros_like(stray), rng))
    for index, tooth in enumerate(_neighbours(teeth, mesh.spec.ring_teeth)[: spare - 1]):
        slot_of[tooth] = len(teeth) + index
    return ToothAtlas(layout, _tiled(slots, layout), contact, slot_of)


def _neighbours(teeth: list[int], count: int) -> list[int]:
    if not teeth:
        return []
    around = [(teeth[0] - 1) % count, (teeth[-1] + 1) % count]
    return [t for t in around if t not in teeth]


def _tiled(slots: list[SurfaceFields], layout: Layout) -> SurfaceFields:
    def tile(name: str) -> Field:
        images = [getattr(s, name) for s in slots]
        lines = [
            np.concatenate(images[r * layout.columns : (r + 1) * layout.columns], axis=1)
            for r in range(layout.rows)
        ]
        return np.concatenate(lines, axis=0).astype(np.float16)

    return SurfaceFields(*(tile(n) for n in ("colour", "roughness", "metal", "wet", "height_mm")))


def tooth_soup(mesh: GearMesh, atlas: ToothAtlas) -> tuple[Field, Field, Field]:
    """Corners (n, 3) of the tooth surfaces, their normals (n, 3) and texture coordinates (n, 2).

    Texture coordinates run from the atlas's first row and column, 0 to 1.
    """
    rows = np.flatnonzero(mesh.part <= Part.FILLET)
    points = mesh.vertices[mesh.triangles[rows]].reshape(-1, 3)
    normals = mesh.normals[rows].reshape(-1, 3)
    section = mesh.section[rows].astype(float)
    slot = atlas.slot_of[mesh.tooth[rows]][:, None]
    inner = SLOT_EDGE + (1.0 - 2.0 * SLOT_EDGE) * section
    u = (slot % atlas.layout.columns + inner[..., 0]) / atlas.layout.columns
    v = (slot // atlas.layout.columns + section[..., 1]) / atlas.layout.rows
    place = np.stack([u, v], -1).reshape(-1, 2)
    return points.astype(np.float32), normals.astype(np.float32), place.astype(np.float32)
