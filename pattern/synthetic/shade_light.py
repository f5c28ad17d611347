"""Light for rasterised views: surroundings that are reflected, a key light with shadow, a flash."""

from __future__ import annotations

import math
from dataclasses import dataclass

import torch
from torch import Tensor
from torch.nn import functional

from pattern.synthetic.shade_paint import Batch, Dice, Paint, Teeth, constant, sampled
from pattern.synthetic.solids import Part

ENV_ROWS, ENV_COLUMNS = 48, 96
ENV_BLURS = (0.6, 1.8, 4.5, 11.0)
"""Blur of each copy of the surroundings, in cells of 3.75 degrees: mirror-like to dull."""


@dataclass
class Material:
    """Per pixel: `albedo` (B, 3, H, W), `shine` reflectance at square view (B, 3, H, W), `rough`."""

    albedo: Tensor
    shine: Tensor
    rough: Tensor


def surroundings(dice: Dice, count: int) -> Tensor:
    """(B, 12, 48, 96): what lies around, four copies from sharp to dull, as longitude by latitude."""
    device = dice.device
    v = torch.linspace(-1, 1, ENV_ROWS, device=device)[None, :, None]
    u = torch.linspace(-1, 1, ENV_COLUMNS, device=device)[None, None, :]
    low, high = dice.log_uniform(2, count, 1, 1, low=0.02, high=0.8)
    grey = low + (high - low) * (0.5 - 0.5 * v)
    grey = grey.expand(count, ENV_ROWS, ENV_COLUMNS)
    tint = torch.exp(dice.normal(count, 3, 1, 1, sd=0.08))
    light = grey[:, None] * tint
    clutter = functional.interpolate(
        dice.normal(count, 1, 6, 12), size=(ENV_ROWS, ENV_COLUMNS), mode="bicubic"
    )
    light = light * torch.exp(0.5 * clutter)
    for _ in range(6):
        at_u, at_v = dice.uniform(2, count, 1, 1, low=-1, high=1)
        wide = dice.log_uniform(count, 1, 1, low=0.015, high=0.4)
        tall = dice.log_uniform(count, 1, 1, low=0.03, high=0.5)
        gap = (u - at_u + 1).remainder(2.0) - 1
        box = torch.sigmoid((wide - gap.abs()) * 40) * torch.sigmoid((tall - (v - at_v).abs()) * 30)
        bright = dice.log_uniform(count, 1, 1, low=0.3, high=40.0) * dice.chance(0.6, count, 1, 1)
        lamp = torch.exp(dice.normal(count, 3, 1, 1, sd=0.12))
        light = light + (box * bright)[:, None] * lamp
    return torch.cat([_blurred(light, sigma) for sigma in ENV_BLURS], 1)


def _blurred(light: Tensor, sigma: float) -> Tensor:
    radius = max(1, math.ceil(2.5 * sigma))
    x = torch.arange(-radius, radius + 1, device=light.device, dtype=light.dtype)
    kernel = torch.exp(-0.5 * (x / sigma) ** 2)
    kernel = (kernel / kernel.sum()).repeat(3, 1, 1)
    light = functional.pad(light, (radius, radius, 0, 0), mode="circular")
    light = functional.conv2d(light, kernel[:, :, None, :], groups=3)
    light = functional.pad(light, (0, 0, radius, radius), mode="replicate")
    return functional.conv2d(light, kernel[:, :, :, None], groups=3)


def seen_around(maps: Tensor, direction: Tensor, rough: Tensor) -> Tensor:
    """Light (B, 3, H, W) from a direction (B, 3, H, W), spread by roughness 0 to 1."""
    u = torch.atan2(direction[:, 0], -direction[:, 2]) / math.pi
    v = torch.asin(direction[:, 1].clamp(-0.999, 0.999)) * (2 / math.pi)
    seen = sampled(maps, u, v)
    level = (rough.clamp(0, 1).sqrt() * (len(ENV_BLURS) - 1))[:, None]
    total = torch.zeros_like(seen[:, :3])
    for k in range(len(ENV_BLURS)):
        weight = (1.0 - (level - k).abs()).clamp_min(0.0)
        total = total + weight * seen[:, 3 * k : 3 * k + 3]
    return total


def materials(dice: Dice, batch: Batch, teeth: Teeth, paint: Paint, noise: Tensor) -> Material:
    """Steel, dark phosphate, rust, oil, paint on parts, cloth and plastic, compound on top."""
    count = batch.tooth.shape[0]
    table = _material_table(dice, count)
    row = torch.where(batch.thing < 64, batch.part, batch.thing).clamp(0, 127)
    flat = row.reshape(count, 1, -1).expand(-1, table.shape[1], -1)
    seen = table.gather(2, flat).reshape(count, table.shape[1], *row.shape[1:])
    albedo, shine, rough, spotted = seen[:, :3], seen[:, 3:6], seen[:, 6], seen[:, 7]
    grime = (1.0 + spotted * noise[:, 1]).clamp(0.1, 2.5)
    albedo, rough = albedo * grime[:, None], (rough * grime.sqrt()).clamp(0.05, 1.0)
    rust = dice.uniform(count, 1, 1, low=-0.4, high=0.9) * dice.chance(0.12, count, 1, 1)
    rusty = torch.sigmoid(5.0 * (noise[:, 2] - 1.2 + 1.6 * rust)) * (rust != 0) * (batch.thing < 96)
    brown = constant((0.26, 0.11, 0.05), dice.device)[None, :, None, None]
    albedo = albedo + rusty[:, None] * (brown - albedo)
    shine = shine * (1 - 0.85 * rusty[:, None])
    burnish = paint.wiped * dice.uniform(count, 1, 1, high=0.5)
    rough = (rough * (1 - burnish)).clamp_min(0.05)
    cover = 1.0 - torch.exp(-paint.amount)
    cover3 = cover[:, None]
    colour = paint.colour[:, :, None, None] * (1.0 + 0.12 * noise[:, 3:4])
    albedo = albedo + cover3 * (colour.clamp(0.0, 1.0) - albedo)
    shine = shine + cover3 * (0.04 - shine)
    wet = (0.75 - 0.6 * paint.wetness)[:, None, None]
    rough = rough + cover * (wet - rough)
    return Material(albedo, shine, rough.clamp(0.05, 1.0))


def _material_table(dice: Dice, count: int) -> Tensor:
    """(B, 8, 128): albedo 3, shine 3, roughness, spottiness; rows 0 to 95 gear, above: other things."""
    finish = dice.uniform(count, 1)
    dark = finish < 0.28
    metal = dice.uniform(count, 1, low=0.3, high=0.68)
    steel = torch.where(dark, dice.uniform(count, 1, low=0.04, high=0.14), metal)
    dull = torch.where(
        dark,
        dice.uniform(count, 1, low=0.02, high=0.1),
        dice.uniform(count, 1, low=0.02, high=0.22),
    )
    rough = torch.where(
        dark, dice.uniform(count, 1, low=0.3, high=0.8), dice.uniform(count, 1, low=0.1, high=0.6)
    )
    vary = torch.exp(dice.normal(count, 96, sd=0.25))
    vary[:, :2] = 1.0  # both tooth sides are of one finish
    tint = torch.exp(dice.normal(count, 3, 1, sd=0.05))
    gear = torch.cat(
        [
            (dull * vary)[:, None] * tint,
            (steel * vary.sqrt())[:, None].clamp(0.0, 0.8) * tint,
            (rough * vary).clamp(0.06, 1.0)[:, None],
            dice.uniform(count, 1, 1, high=0.3).expand(count, 1, 96),
        ],
        1,
    )
    metal_thing = dice.chance(0.45, count, 1, 32).float()
    grey = dice.uniform(count, 1, 32, low=0.02, high=0.85)
    colour = (grey + dice.normal(count, 3, 32, sd=0.15) * dice.chance(0.5, count, 1, 32)).clamp(
        0.01, 0.95
    )
    bright = dice.uniform(count, 1, 32, low=0.3, high=0.7)
    things = torch.cat(
        [
            colour * (1 - 0.85 * metal_thing),
            (bright * metal_thing + 0.04 * (1 - metal_thing)).expand(count, 3, 32),
            dice.uniform(count, 1, 32, low=0.1, high=0.95),
            dice.uniform(count, 1, 32, high=0.5),
        ],
        1,
    )
    return torch.cat([gear, things], 2)


def bumped(normal: Tensor, height: Tensor, strength: Tensor) -> Tensor:
    """Normals tipped by the slope of a height map (B, H, W) in picture space."""
    dx = functional.pad(height[:, :, 1:] - height[:, :, :-1], (0, 1))
    dy = functional.pad(height[:, 1:] - height[:, :-1], (0, 0, 0, 1))
    tipped = normal.clone()
    tipped[:, 0] = tipped[:, 0] - strength * dx.clamp(-2, 2)
    tipped[:, 1] = tipped[:, 1] - strength * dy.clamp(-2, 2)
    return functional.normalize(tipped, dim=1, eps=1e-4)


def viewing(batch: Batch) -> Tensor:
    """Unit directions (B, 3, H, W) from the surface to the camera."""
    _, height, width = batch.depth.shape
    x = (
        torch.arange(width, device=batch.depth.device)[None, None, :]
        - batch.centre_px[:, 0, None, None]
    )
    y = (
        torch.arange(height, device=batch.depth.device)[None, :, None]
        - batch.centre_px[:, 1, None, None]
    )
    focal = batch.focal_px[:, None, None]
    ones = torch.ones_like(batch.depth)
    return functional.normalize(-torch.stack([x / focal * ones, y / focal * ones, ones], 1), dim=1)


def lit_picture(
    dice: Dice, batch: Batch, teeth: Teeth, material: Material, normal: Tensor
) -> tuple[Tensor, Tensor]:
    """Radiance (B, 3, H, W) of everything drawn, and the share of it that is mirror-like glare."""
    count = batch.tooth.shape[0]
    view = viewing(batch)
    maps = surroundings(dice, count)
    facing = (normal * view).sum(1, keepdim=True).clamp(0.02, 1.0)
    mirror = 2.0 * (normal * view).sum(1, keepdim=True) * normal - view
    deep = dice.uniform(count, 1, 1, low=0.15, high=0.8)
    open_sky = (deep + (1 - deep) * (0.25 + 0.75 * teeth.profile).clamp(0.0, 1.0)).clamp(0.0, 1.0)
    open_sky = torch.where(teeth.on_tooth, open_sky, torch.ones_like(open_sky))[:, None]
    fresnel = material.shine + (1 - material.shine) * (1 - facing) ** 5 * (
        1 - material.rough[:, None]
    )
    dull = seen_around(maps, normal, torch.ones_like(material.rough)) * material.albedo
    glossy = seen_around(maps, mirror, material.rough) * fresnel
    light = functional.normalize(batch.towards_light, dim=1)[:, :, None, None]
    key = dice.log_uniform(count, 1, 1, 1, low=0.2, high=6.0) * dice.chance(0.75, count, 1, 1, 1)
    key = key * _pool(dice, batch)[:, None]
    dull_key, glossy_key = _direct(normal, view, light, material)
    flash = dice.log_uniform(count, 1, 1, 1, low=0.1, high=4.0) * dice.chance(0.3, count, 1, 1, 1)
    dull_flash, glossy_flash = _direct(normal, view, view, material)
    spot, strength = _spot(dice, batch, teeth, normal, view)
    dull_spot, glossy_spot = _direct(normal, view, spot, material)
    shade = batch.lit[:, None]
    dull = dull * open_sky + key * shade * dull_key + flash * dull_flash + strength * dull_spot
    glossy = glossy * open_sky + key * shade * glossy_key + flash * glossy_flash
    glossy = glossy + strength * glossy_spot
    return dull + glossy, glossy.mean(1)


def _spot(
    dice: Dice, batch: Batch, teeth: Teeth, normal: Tensor, view: Tensor
) -> tuple[Tensor, Tensor]:
    """A lamp that the aimed-at tooth side mirrors into the camera, in some pictures; and how strong."""
    count = batch.tooth.shape[0]
    aimed = teeth.flank & (batch.thing == batch.tooth[:, None, None])
    aimed = (aimed & (batch.part == batch.side[:, None, None]))[:, None].float()
    share = aimed.sum((2, 3), keepdim=True) + 1e-3
    facing = functional.normalize((normal * aimed).sum((2, 3), keepdim=True) / share + 1e-4, dim=1)
    seen = functional.normalize((view * aimed).sum((2, 3), keepdim=True) / share + 1e-4, dim=1)
    mirror = 2.0 * (facing * seen).sum(1, keepdim=True) * facing - seen
    lamp = functional.normalize(mirror + dice.normal(count, 3, 1, 1, sd=0.12), dim=1)
    strength = dice.log_uniform(count, 1, 1, 1, low=0.5, high=10.0)
    return lamp, strength * dice.chance(0.2, count, 1, 1, 1)


def _pool(dice: Dice, batch: Batch) -> Tensor:
    """A lamp that lights part of the picture more than the rest, (B, H, W)."""
    count, height, width = batch.depth.shape
    at = dice.uniform(count, 2, 1, 1)
    size = dice.uniform(count, 1, 1, low=0.25, high=3.0)
    x = torch.linspace(0, 1, width, device=dice.device)[None, None, :] - at[:, 0]
    y = torch.linspace(0, 1, height, device=dice.device)[None, :, None] - at[:, 1]
    return 0.25 + 0.75 * torch.exp(-(x**2 + y**2) / size**2)


def _direct(
    normal: Tensor, view: Tensor, light: Tensor, material: Material
) -> tuple[Tensor, Tensor]:
    """Dull and glossy light of a distant lamp of unit strength (GGX lobe, no masking term)."""
    falls = (normal * light).sum(1, keepdim=True).clamp_min(0.0)
    half = functional.normalize(view + light, dim=1)
    tight = (material.rough[:, None] ** 2).clamp_min(0.01) ** 2
    cosine = (normal * half).sum(1, keepdim=True).clamp(0.0, 1.0)
    lobe = tight / (math.pi * (cosine**2 * (tight - 1) + 1) ** 2)
    return material.albedo * falls, material.shine * (lobe * falls).clamp_max(60.0)


def steel_height(batch: Batch, noise: Tensor, streaks: Tensor, dice: Dice) -> Tensor:
    """Height of machining lines, dents and grain, (B, H, W)."""
    count = batch.tooth.shape[0]
    on_tooth = (batch.part <= int(Part.HEEL_END)).float()
    lines = dice.uniform(count, 1, 1, high=1.0) * dice.chance(0.7, count, 1, 1)
    grain = dice.uniform(count, 1, 1, high=0.5)
    return on_tooth * lines * streaks[:, 1] + grain * noise[:, 0]
