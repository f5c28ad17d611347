"""Marking compound, wiped patches and steel for a batch of rasterised views, drawn at random.

All functions take tensors of a batch on one device: B pictures of (H, W). Tables per tooth side hold
64 teeth x 2 sides (drive, coast), flattened to 128 columns.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from functools import lru_cache

import torch
from torch import Tensor
from torch.nn import functional

from pattern.synthetic.solids import Part
from pattern.synthetic.tooth_form import SECTION

TEETH = 64


@dataclass
class Batch:
    """Rasterised views on the device; see `raster_views.View` for the meaning of each."""

    part: Tensor  # (B, H, W) long
    thing: Tensor  # (B, H, W) long
    texture: Tensor  # (B, 2, H, W)
    normal: Tensor  # (B, 3, H, W)
    depth: Tensor  # (B, H, W), 0 where nothing is
    lit: Tensor  # (B, H, W)
    backdrop: Tensor  # (B, 3, H, W), 0 to 1
    towards_light: Tensor  # (B, 3)
    focal_px: Tensor  # (B,)
    centre_px: Tensor  # (B, 2)
    visible: Tensor  # (B, 64, 2)
    inside: Tensor  # (B, 64, 2)
    tooth: Tensor  # (B,) long
    side: Tensor  # (B,) long, 0 drive, 1 coast
    tooth_px: Tensor  # (B,)


@lru_cache(maxsize=64)
def constant(values: tuple[object, ...], device: torch.device) -> Tensor:
    """Numbers on the device, sent there once: each transfer would stop the queue of work."""
    return torch.tensor(values, device=device)


class Dice:
    """Random tensors of one device from one seed."""

    def __init__(self, seed: int, device: torch.device) -> None:
        self.generator = torch.Generator(device=device)
        self.generator.manual_seed(seed)
        self.device = device
        self.batch_wide = random.Random(seed)
        """For what a whole batch shares: drawn on the host, so that nothing waits for the device."""

    def uniform(self, *shape: int, low: float = 0.0, high: float = 1.0) -> Tensor:
        """Evenly from low to high."""
        drawn = torch.rand(*shape, generator=self.generator, device=self.device)
        return low + (high - low) * drawn

    def log_uniform(self, *shape: int, low: float, high: float) -> Tensor:
        """Evenly in the logarithm."""
        span = torch.log(torch.tensor([low, high])).tolist()
        return torch.exp(self.uniform(*shape, low=span[0], high=span[1]))

    def normal(self, *shape: int, sd: float = 1.0) -> Tensor:
        """Gaussian about 0."""
        return sd * torch.randn(*shape, generator=self.generator, device=self.device)

    def chance(self, share: float, *shape: int) -> Tensor:
        """True with that probability."""
        return self.uniform(*shape) < share


def noise_maps(dice: Dice, count: int, channels: int, finest: Tensor) -> Tensor:
    """(B, C, 256, 256) noise of unit spread, octaves 4 to 256; `finest` (B,) is the last octave kept."""
    total = torch.zeros(count, channels, 256, 256, device=dice.device)
    weight = torch.zeros(count, channels, 1, 1, device=dice.device)
    slope = dice.uniform(count, channels, 1, 1, low=0.0, high=1.2)
    for octave in range(2, 9):
        cells = 2**octave
        layer = dice.normal(count, channels, cells, cells)
        layer = functional.interpolate(layer, size=(256, 256), mode="bilinear", align_corners=False)
        keep = (finest >= cells).float()[:, None, None, None]
        strength = keep * torch.exp2(-slope * (octave - 2))
        total += strength * layer
        weight += strength**2
    return total / torch.sqrt(0.5 * weight + 1e-6)


def sampled(maps: Tensor, u: Tensor, v: Tensor) -> Tensor:
    """Noise (B, C, H, W) at texture places u, v (B, H, W), mirrored at the map's edges."""
    grid = torch.stack([u, v], -1)
    return functional.grid_sample(
        maps, grid, mode="bilinear", padding_mode="reflection", align_corners=False
    )


@dataclass
class Teeth:
    """Where on its tooth each pixel lies. `index` is into tables of 128 columns."""

    on_tooth: Tensor  # (B, H, W) bool, any surface of a tooth
    flank: Tensor  # (B, H, W) bool, drive or coast side
    side: Tensor  # (B, H, W) long, 0 drive, 1 coast, by which half of the section
    index: Tensor  # (B, H, W) long
    lengthwise: Tensor  # (B, H, W)
    profile: Tensor  # (B, H, W), under 0 in the fillet, over 1 on the top land


def locate(batch: Batch) -> Teeth:
    """Tooth coordinates of every pixel from the rasteriser's texture coordinates."""
    section = batch.texture[:, 1]
    on_tooth = (batch.thing < TEETH) & (batch.part <= int(Part.HEEL_END))
    coast = section > 0.5
    s = torch.where(coast, 1.0 - section, section)
    profile = (s - SECTION.drive_root) / (SECTION.drive_tip - SECTION.drive_root)
    side = coast.long()
    return Teeth(
        on_tooth=on_tooth,
        flank=batch.part <= int(Part.COAST),
        side=side,
        index=torch.where(on_tooth, batch.thing * 2 + side, torch.zeros_like(side)),
        lengthwise=batch.texture[:, 0],
        profile=profile,
    )


def looked_up(table: Tensor, index: Tensor) -> Tensor:
    """(B, K, 128) per tooth side to (B, K, H, W) per pixel."""
    count, columns = table.shape[:2]
    flat = index.reshape(count, 1, -1).expand(-1, columns, -1)
    return table.gather(2, flat).reshape(count, columns, *index.shape[1:])


@dataclass
class Plan:
    """What was painted and rolled. Tables (B, 128); `declared` (B,) 0 drive, 1 coast."""

    declared: Tensor
    painted: Tensor
    rolled: Tensor  # (B,) bool
    faintness: Tensor  # (B,) share of the compound's cover left in the wiped patch
    centre: Tensor  # (B, 2, 128) lengthwise and profile of the mark


def plan_paint(dice: Dice, batch: Batch) -> Plan:
    """Choose the declared side, the painted teeth and the marks."""
    count = batch.tooth.shape[0]
    declared = torch.where(dice.chance(0.2, count), 1 - batch.side, batch.side)
    tooth = torch.arange(TEETH, device=dice.device)[None, :]
    kind = dice.uniform(count)[:, None]
    ahead, behind = dice.uniform(2, count, high=6.0).long()
    gap = tooth - batch.tooth[:, None]
    near = (gap >= -behind[:, None]) & (gap <= ahead[:, None])
    single, scattered = gap == 0, dice.chance(0.4, count, TEETH) | (gap == 0)
    teeth = torch.where(kind < 0.12, single, torch.where(kind < 0.72, near, scattered))
    teeth = torch.where(kind > 0.85, torch.ones_like(teeth), teeth) & (kind > 0.0)
    teeth = teeth & ~dice.chance(0.11, count)[:, None]  # nothing painted at all
    which = dice.uniform(count)
    sides = torch.stack([torch.arange(2, device=dice.device).expand(count, 2)], 0)[0]
    aimed_side = sides == batch.side[:, None]
    brushed = torch.where(
        (which < 0.5)[:, None], torch.ones_like(aimed_side),
        torch.where((which < 0.93)[:, None], aimed_side, ~aimed_side),
    )  # fmt: skip
    painted = (teeth[:, :, None] & brushed[:, None, :]).reshape(count, 2 * TEETH)
    middle = dice.uniform(count, 2, 2, low=-0.02, high=1.02)
    usual = 0.5 + dice.normal(count, 2, 2, sd=0.2)
    middle = torch.where(dice.chance(0.5, count, 2, 2), middle, usual)
    wander = dice.normal(count, 2, TEETH, 2) * dice.uniform(count, 1, 1, 1, high=0.04)
    centre = middle[:, :, None, :] + wander
    return Plan(
        declared=declared,
        painted=painted,
        rolled=~dice.chance(0.12, count),
        faintness=torch.where(
            dice.chance(0.15, count),
            dice.uniform(count, low=0.45, high=0.8),
            dice.uniform(count, high=0.4),
        ),
        centre=centre.reshape(count, 2, 2 * TEETH),
    )


@dataclass
class Paint:
    """Per pixel (B, H, W): `amount` of compound as optical depth, `wiped` 0 to 1 in the mark, lumps."""

    amount: Tensor
    wiped: Tensor
    painted: Tensor
    lumps: Tensor
    colour: Tensor  # (B, 3)
    wetness: Tensor  # (B,)


def marks(dice: Dice, teeth: Teeth, plan: Plan, noise: Tensor) -> Tensor:
    """How deep inside the wiped patch a pixel lies: above 0 inside, (B, H, W)."""
    count = plan.rolled.shape[0]

    def one(*shape: int, low: float, high: float) -> Tensor:
        return looked_up(
            dice.uniform(count, *shape, 2, low=low, high=high).repeat(1, 1, TEETH), teeth.index
        )[:, 0]

    centre = looked_up(plan.centre, teeth.index)
    aspect = dice.uniform(count, 1, 1, low=2.8, high=4.6)
    tilt = one(1, low=-0.5, high=0.5) * (0.35 + 0.65 * dice.chance(0.4, count, 1, 1).float())
    length = one(1, low=0.10, high=0.52) * aspect
    width = one(1, low=0.10, high=0.55)
    power = one(1, low=1.6, high=4.0)
    away = (teeth.lengthwise - centre[:, 0]) * aspect
    rise = teeth.profile - centre[:, 1]
    along = torch.cos(tilt) * away + torch.sin(tilt) * rise
    across = -torch.sin(tilt) * away + torch.cos(tilt) * rise
    bend = dice.normal(count, 1, 1, sd=0.12) * dice.chance(0.5, count, 1, 1)
    across = across + bend * (along**2 / (length**2 + 1e-3))
    inside = 1.0 - (along.abs() / length) ** power - (across.abs() / width) ** power
    two = looked_up(dice.chance(0.09, count, 1, 2).float().repeat(1, 1, TEETH), teeth.index)[:, 0]
    apart = one(1, low=0.35, high=0.7)
    narrow = 0.45 * width
    upper = 1.0 - (along.abs() / length) ** power - ((across - 0.5 * apart).abs() / narrow) ** power
    lower = 1.0 - (along.abs() / length) ** power - ((across + 0.5 * apart).abs() / narrow) ** power
    inside = torch.where(two > 0, torch.maximum(upper, lower), inside)
    rough = dice.uniform(count, 1, 1, high=0.35)
    inside = inside.clamp(-4.0, 1.0) + rough * noise
    here = teeth.on_tooth & plan.rolled[:, None, None]
    return torch.where(here, inside, torch.full_like(inside, -4.0))


def apply_paint(
    dice: Dice,
    batch: Batch,
    teeth: Teeth,
    plan: Plan,
    noise: Tensor,
    streaks: Tensor,
    scuffs: Tensor,
) -> Paint:
    """Brush compound on the painted teeth and wipe it where they touched."""
    count = plan.rolled.shape[0]

    def scalar(low: float, high: float) -> Tensor:
        return dice.uniform(count, 1, 1, low=low, high=high)

    painted = looked_up(plan.painted.float()[:, None], teeth.index)[:, 0] * teeth.on_tooth
    depth = marks(dice, teeth, plan, noise[:, 0])
    sharp = dice.log_uniform(count, 1, 1, low=2.0, high=40.0)
    wiped = torch.sigmoid(sharp * depth)
    streaky = scalar(0.0, 0.8) * dice.chance(0.7, count, 1, 1)
    load = dice.log_uniform(count, 1, 1, low=0.8, high=6.0)
    body = (1.0 + streaky * (0.9 * streaks[:, 0] + 0.4 * noise[:, 1])).clamp_min(0.0)
    brushed = _brushed_area(dice, teeth, noise[:, 2], count)
    thin = torch.where(dice.chance(0.4, count, 1, 1), scalar(0.9, 1.0), scalar(0.0, 1.0))
    on_top = torch.where(teeth.profile > 1.0, thin, torch.ones_like(body))
    in_root = torch.where(teeth.profile < 0.0, scalar(0.0, 1.4), torch.ones_like(body))
    ends = (batch.part == int(Part.TOE_END)) | (batch.part == int(Part.HEEL_END))
    at_ends = torch.where(ends, scalar(-0.4, 0.5).clamp_min(0.0), torch.ones_like(body))
    amount = painted * load * body * brushed * on_top * in_root * at_ends
    film = plan.faintness[:, None, None] * (1.0 + scalar(0.2, 1.3) * scuffs[:, 0]).clamp(0.0, 1.8)
    ridge = scalar(0.0, 1.0) * dice.chance(0.6, count, 1, 1)
    ring = torch.exp(-((depth + 0.12) ** 2) * scalar(20.0, 120.0)) * (depth > -3.9)
    left = -torch.log1p(-film.clamp_max(0.97) * (1.0 - torch.exp(-amount)))
    amount = amount + wiped * (left - amount) + amount * ridge * ring * (1 - 0.7 * wiped)
    lumps = 0.4 * amount * (1.0 + 0.4 * noise[:, 3] * scalar(0.0, 1.0))
    stray = _stray_smears(dice, teeth, noise, count) * (1.0 - painted)
    return Paint(
        amount=amount + stray,
        wiped=wiped * painted * teeth.flank,
        painted=painted,
        lumps=lumps * scalar(0.0, 1.0),
        colour=compound_colours(dice, count),
        wetness=dice.uniform(count),
    )


def _brushed_area(dice: Dice, teeth: Teeth, noise: Tensor, count: int) -> Tensor:
    """Ragged ends of the brushed area; most teeth are covered whole."""
    reach = dice.uniform(count, 4, 2, low=-0.05, high=0.4)
    reach = torch.where(dice.chance(0.82, count, 4, 2), torch.full_like(reach, -1.0), reach)
    toe, heel, root, tip = looked_up(reach.repeat(1, 1, TEETH), teeth.index).unbind(1)
    ragged = 0.07 * noise
    soft = dice.log_uniform(count, 1, 1, low=8.0, high=80.0)
    gates = [
        teeth.lengthwise - 0.6 * toe + ragged,
        1.0 - teeth.lengthwise - 0.6 * heel + ragged,
        teeth.profile - 0.7 * root + 2 * ragged + 0.3 * (root < 0),
        1.0 - teeth.profile - 0.7 * tip + 2 * ragged + 0.3 * (tip < 0),
    ]
    area = torch.ones_like(noise)
    for gate, bound in zip(gates, (toe, heel, root, tip), strict=True):
        area = area * torch.where(bound > -0.9, torch.sigmoid(soft * gate), torch.ones_like(gate))
    return area


def _stray_smears(dice: Dice, teeth: Teeth, noise: Tensor, count: int) -> Tensor:
    """Drips and finger marks of compound on surfaces that were not brushed."""
    some = dice.chance(0.25, count, 1, 1).float()
    level = dice.uniform(count, 1, 1, low=1.6, high=2.6)
    return some * 3.0 * torch.sigmoid(8.0 * (noise[:, 2] + 0.5 * noise[:, 0] - level))


COMPOUNDS = (
    (0.78, 0.55, 0.06), (0.85, 0.68, 0.12), (0.62, 0.40, 0.08), (0.80, 0.80, 0.76), (0.92, 0.92, 0.90),
    (0.70, 0.16, 0.05), (0.78, 0.30, 0.06), (0.60, 0.05, 0.05), (0.05, 0.10, 0.40), (0.08, 0.22, 0.60),
    (0.05, 0.32, 0.14), (0.25, 0.50, 0.20), (0.50, 0.50, 0.50), (0.60, 0.60, 0.57), (0.34, 0.34, 0.35),
    (0.16, 0.15, 0.15), (0.05, 0.05, 0.05), (0.45, 0.36, 0.18), (0.70, 0.60, 0.40), (0.45, 0.12, 0.35),
)  # fmt: skip
"""Albedos of pastes of any make: yellows, whites, reds, blues, greens, greys near steel, black."""


def compound_colours(dice: Dice, count: int) -> Tensor:
    """(B, 3) linear albedo: a known paste, shifted; some drawn from anywhere."""
    known = constant(COMPOUNDS, dice.device)
    pick = (dice.uniform(count) * len(COMPOUNDS)).long().clamp_max(len(COMPOUNDS) - 1)
    colour = known[pick] * torch.exp(
        dice.normal(count, 3, sd=0.12) + dice.normal(count, 1, sd=0.18)
    )
    anything = dice.uniform(count, 3, low=0.02, high=0.9)
    return torch.where(dice.chance(0.12, count)[:, None], anything, colour).clamp(0.01, 0.97)
