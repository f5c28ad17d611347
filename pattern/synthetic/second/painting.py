"""The gear as it was painted and rolled: steel, compound, marks and smears of every tooth."""

from __future__ import annotations

import os
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np

from pattern.synthetic.second.arrays import Rng
from pattern.synthetic.second.compound import (
    Compound,
    PaintedTooth,
    Wiped,
    drawn_compound,
    painted_tooth,
)
from pattern.synthetic.second.marks import Mark, drawn_mark, placed_mark
from pattern.synthetic.second.plan import Order, Subject
from pattern.synthetic.second.solids import Shape
from pattern.synthetic.second.steel import Steel, drawn_steel, lapped_instead, steel_strip
from pattern.synthetic.second.surfaces import Material, drawn_surface

_LEAST_CONTRAST = 14.0
"""Colour distance (CIELAB) below which nobody would tell the mark from its compound."""

Surfaced = tuple[Shape, Material]


@dataclass(frozen=True, eq=False)
class Rolled:
    """What was rolled into the compound, and with what it was painted."""

    steel: Steel
    compound: Compound
    mark: Mark
    other: Mark
    """On the other side of the teeth."""
    both: bool
    """Both sides are painted."""


@dataclass(frozen=True, eq=False)
class PaintedGear:
    """Teeth and blank with their surfaces, and the marks of the declared side by tooth."""

    rolled: Rolled
    parts: list[Surfaced]
    marks: dict[int, Wiped]

    @property
    def told_apart(self) -> bool:
        """Whether marks and compound differ in colour, by their textures."""
        contrasts = [wiped.contrast for wiped in self.marks.values()]
        return bool(contrasts) and float(np.mean(contrasts)) >= _LEAST_CONTRAST


def drawn_rolled(rng: Rng, lasting: Rng, order: Order, subject: Subject) -> Rolled:
    """Steel, compound and the marks of both sides; half of them off centre."""
    off_centre = bool(lasting.random() < 0.57)
    steel, compound = drawn_steel(rng), drawn_compound(rng)
    mark = placed_mark(rng, off_centre, subject.gear.side_shape(subject.side))
    other = drawn_mark(rng, bool(rng.random() < 0.5))
    both = bool(rng.random() < 0.7)
    dark = compound.name in ("grease", "blue") and np.mean(compound.colour) < 0.2
    if steel.kind == "phosphate" and dark:
        steel = lapped_instead(rng)
    if order.fault == "glare":
        steel = replace(steel, oil=0.9)
    return Rolled(steel, compound, mark, other, both and order.fault != "not painted")


def painted_gear(
    rng: Rng, tooth_rng: Rng, order: Order, subject: Subject, rolled: Rolled
) -> PaintedGear:
    """Every tooth of the gear with its surface."""
    width_px = int(np.clip(1.25 * subject.wanted_px, 220, 900))
    bare = [steel_strip(rng, rolled.steel, int(1.45 * width_px), width_px) for _ in range(2)]
    smeared = _smeared_teeth(rng, order, subject)
    parts = _bare_teeth(rng, order, subject, smeared, bare)
    marks: dict[int, Wiped] = {}
    if order.fault != "not painted":
        with ThreadPoolExecutor(max(2, min(12, (os.cpu_count() or 2) - 1))) as pool:
            jobs = _painting(pool, rng, tooth_rng, order, subject, rolled, smeared, width_px)
            for tooth, job in jobs:
                done = job.result()
                shape = subject.tooth.moved(subject.turn(tooth))
                parts.append((shape, done.material))
                if tooth in subject.painted and subject.side in done.marks:
                    marks[tooth] = done.marks[subject.side]
    return PaintedGear(rolled, parts, marks)


def blank_surface(rng: Rng, steel: Steel) -> Material:
    """The body behind the teeth, about as bright as they are."""
    dark = steel.kind == "phosphate"
    surface = drawn_surface(rng, "black oxide" if dark else "machined")
    factor = 3.0 if dark else float(np.mean(steel.colour)) / 0.5
    return replace(surface, colour=surface.colour * factor, roughness=surface.roughness + 0.08)


def _smeared_teeth(rng: Rng, order: Order, subject: Subject) -> list[int]:
    """Teeth beside the painted ones that got some compound."""
    if order.fault == "not painted":
        return []
    beside = (subject.painted[0] - 1, subject.painted[-1] + 1)
    return [tooth % subject.gear.teeth for tooth in beside if rng.random() < 0.3]


def _bare_teeth(
    rng: Rng, order: Order, subject: Subject, smeared: list[int], bare: list[Material]
) -> list[Surfaced]:
    teeth = subject.gear.teeth
    dressed = set(smeared)
    if order.fault != "not painted":
        dressed |= {tooth % teeth for tooth in subject.painted}
    groups = [Shape() for _ in bare]
    for tooth in range(teeth):
        if tooth not in dressed:
            groups[int(rng.integers(2))].add(subject.tooth, subject.turn(tooth))
    return list(zip(groups, bare, strict=True))


def _painting(
    pool: ThreadPoolExecutor,
    rng: Rng,
    tooth_rng: Rng,
    order: Order,
    subject: Subject,
    rolled: Rolled,
    smeared: list[int],
    width_px: int,
) -> list[tuple[int, Future[PaintedTooth]]]:
    """Painted and smeared teeth, each drawn by a generator of its own, so in any order."""
    side, shape = subject.side, subject.gear.side_shape(subject.side)
    jobs = []
    for tooth in subject.painted:
        own = _own(tooth_rng)
        marks: dict[int, Mark | None] = {side: _on_this_tooth(order, rolled.mark, own)}
        if rolled.both:
            marks[1 - side] = _on_this_tooth(order, rolled.other, own)
        job = pool.submit(painted_tooth, own, rolled.steel, rolled.compound, marks, shape, width_px)
        jobs.append((tooth, job))
    for tooth in smeared:
        own = _own(tooth_rng)
        marks = {int(rng.integers(2)): None}
        if order.fault is None and rng.random() < 0.3:
            marks[side] = None
        paint = rolled.compound.smeared()
        narrow = max(220, width_px // 2)
        job = pool.submit(painted_tooth, own, rolled.steel, paint, marks, shape, narrow, True)
        jobs.append((tooth, job))
    return jobs


def _own(tooth_rng: Rng) -> Rng:
    return np.random.default_rng(tooth_rng.integers(1 << 40))


def _on_this_tooth(order: Order, mark: Mark, rng: Rng) -> Mark | None:
    return None if order.fault == "not rolled" else mark.varied(rng)
