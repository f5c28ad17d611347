"""Turn rasterised views into photographs and their truth, a batch at a time, on CPU or GPU."""

from __future__ import annotations

from dataclasses import dataclass, fields

import torch
from torch import Tensor
from torch.nn import functional

from pattern.synthetic.shade_camera import (
    developed,
    exposure_gain,
    grainy,
    highlight_gain,
    jpeg,
    out_of_focus,
    shaken,
)
from pattern.synthetic.shade_light import bumped, lit_picture, materials, steel_height
from pattern.synthetic.shade_paint import (
    Batch,
    Dice,
    Paint,
    Plan,
    Teeth,
    apply_paint,
    locate,
    noise_maps,
    plan_paint,
    sampled,
)
from pattern.teeth.network import QUALITY_CODES

SHAKEN = 0.1
"""Share of pictures with camera shake."""
UNKNOWN = -1.0
"""A quality label that is neither clearly yes nor clearly no: left out of the loss."""


@dataclass
class Example:
    """Network input and truth on its half-resolution grid (B, ..., H/2, W/2).

    `masks` are side, other, painted, compound, contact, edge from 0 to 1. `coordinates` are
    lengthwise and profile, `known` the weight of their truth (0 off the teeth, under 1 on the other
    side). `quality` (B, 8) in the order of `QUALITY_CODES`, -1 where undecided.
    """

    inputs: Tensor
    masks: Tensor
    coordinates: Tensor
    known: Tensor
    quality: Tensor
    surface: Tensor

    def split(self, size: int) -> list[Example]:
        """The same pictures in parts of at most `size`."""
        parts = [getattr(self, part.name).split(size) for part in fields(self)]
        return [Example(*each) for each in zip(*parts, strict=True)]


def photograph(dice: Dice, batch: Batch, ease: float = 0.0) -> Example:
    """Paint, light and photograph a batch of views, with truth from the same numbers.

    `ease` 1 leaves out blur, shake and bad exposure, for the start of training; 0 has all of them.
    """
    count = batch.tooth.shape[0]
    teeth = locate(batch)
    plan = plan_paint(dice, batch)
    noise, streaks, scuffs, fine = _textures(dice, batch, teeth)
    paint = apply_paint(dice, batch, teeth, plan, noise, streaks, scuffs)
    height = steel_height(batch, fine, streaks, dice) * 0.25 + paint.lumps
    strength = dice.log_uniform(count, 1, 1, low=0.02, high=0.6)
    normal = bumped(batch.normal, height, strength)
    material = materials(dice, batch, teeth, paint, noise)
    radiance, glossy = lit_picture(dice, batch, teeth, material, normal)
    declared = teeth.flank & (teeth.side == plan.declared[:, None, None])
    nothing = batch.part == 255
    metered = torch.where(
        dice.chance(0.6, count, 1, 1), (batch.thing < 64).float() + 0.05, (~nothing).float()
    )
    stops = _stops(dice, count, ease)
    gain = exposure_gain(radiance, metered, stops)
    kept = torch.minimum(gain, highlight_gain(radiance, teeth.flank, 0.5 * stops))
    minded = dice.chance(0.85, count) & (stops < 1.5)
    gain = torch.where(minded[:, None, None, None], kept, gain)
    behind = batch.backdrop**2.2 * dice.uniform(count, 1, 1, 1, low=0.1, high=1.6)
    linear = torch.where(nothing[:, None], behind, radiance * gain)
    sigma, focus_px = _blur(dice, batch, teeth, declared, ease)
    linear = out_of_focus(linear.clamp(0.0, 12.0), sigma)
    linear, shake_px = _shaken(dice, linear, SHAKEN * (1 - ease))
    display = developed(dice, linear)
    masks, coordinates, known, surface = _truth(batch, teeth, plan, paint, declared)
    blur_px = torch.sqrt(focus_px**2 + (0.29 * shake_px) ** 2)
    quality = _quality(batch, plan, masks, declared, paint, display, glossy * gain[:, 0], blur_px)
    picture = _resampled(dice, display)
    sign = 1.0 - 2.0 * plan.declared.float()
    plane = sign[:, None, None, None].expand(count, 1, *picture.shape[2:])
    return Example(
        inputs=torch.cat([2.0 * picture - 1.0, plane], 1),
        masks=masks,
        coordinates=coordinates,
        known=known,
        quality=quality,
        surface=surface,
    )


def _textures(dice: Dice, batch: Batch, teeth: Teeth) -> tuple[Tensor, Tensor, Tensor, Tensor]:
    """Noise (B, 4, H, W) each: even, brush streaks (and machining lines), scuffs, fine grain."""
    count = batch.tooth.shape[0]
    maps = noise_maps(dice, count, 4, (1.3 * batch.tooth_px).clamp(12.0, 300.0))
    thing = batch.thing.float()
    shift_u, shift_v = 0.731 * thing, 0.417 * thing
    along, section = teeth.lengthwise, batch.texture[:, 1]
    scale = dice.log_uniform(count, 1, 1, low=0.5, high=1.3)
    even = sampled(maps, shift_u + scale * (2.0 * along - 1.0), shift_v + scale * 2.0 * section)
    turn = dice.normal(count, 1, 1, sd=0.35)
    turn = torch.where(dice.chance(0.2, count, 1, 1), dice.uniform(count, 1, 1, high=3.1), turn)
    x, y = 4.0 * along, 4.0 * section
    down = torch.cos(turn) * x + torch.sin(turn) * y
    across = torch.cos(turn) * y - torch.sin(turn) * x
    length = dice.log_uniform(count, 1, 1, low=0.03, high=0.25)
    streaks = sampled(maps.flip(1), shift_v + length * down, shift_u + 0.8 * across)
    scuffs = sampled(maps.roll(1, 1), shift_v + 2.2 * along, shift_u + 0.3 * section)
    fine = sampled(maps.roll(2, 1), shift_u + 1.9 * along, shift_v + 2.3 * section)
    return even, streaks, scuffs, fine


def _stops(dice: Dice, count: int, ease: float) -> Tensor:
    kind = dice.uniform(count)
    usual = dice.normal(count, sd=0.7)
    dark = dice.uniform(count, low=-6.0, high=-2.0)
    bright = dice.uniform(count, low=1.5, high=4.5)
    return torch.where(
        kind < 0.05 * (1 - ease), dark, torch.where(kind > 1 - 0.05 * (1 - ease), bright, usual)
    )


def _shaken(dice: Dice, linear: Tensor, share: float) -> tuple[Tensor, Tensor]:
    """Shake the first few pictures of the batch; also by how many px each (B,)."""
    count = linear.shape[0]
    some = sum(dice.batch_wide.random() < share for _ in range(count))
    length_px = torch.zeros(count, device=linear.device)
    if some:
        length_px[:some] = dice.log_uniform(some, low=1.0, high=26.0)
        linear = torch.cat([shaken(dice, linear[:some], length_px[:some]), linear[some:]])
    return linear, length_px


def _blur(
    dice: Dice, batch: Batch, teeth: Teeth, declared: Tensor, ease: float
) -> tuple[Tensor, Tensor]:
    """Gaussian sigma of focus per pixel (B, 1, H, W), and its mean on the aimed-at tooth (B,)."""
    count = batch.tooth.shape[0]
    on = (
        ((batch.thing == batch.tooth[:, None, None]) & declared).float() + 1e-6 * teeth.flank + 1e-9
    )
    far = torch.where(
        batch.depth > 0, batch.depth, 3.0 * batch.depth.amax((1, 2), keepdim=True) + 50.0
    )
    nearness = 1.0 / far
    at_tooth = ((nearness * on).sum((1, 2)) / on.sum((1, 2)))[:, None, None]
    relative = nearness / at_tooth
    focus = 1.0 + dice.normal(count, 1, 1, sd=0.03)
    miss = torch.where(
        dice.chance(0.1 * (1 - ease), count, 1, 1), dice.normal(count, 1, 1, sd=0.35), focus - 1.0
    )
    lens = dice.log_uniform(count, 1, 1, low=1.0, high=60.0) * dice.chance(
        0.6 * (1 - ease), count, 1, 1
    )
    defocus = lens * (relative - 1.0 - miss).abs()
    lens_blur = dice.log_uniform(count, 1, 1, low=0.35, high=1.1)
    soft = dice.log_uniform(count, 1, 1, low=1.0, high=20.0) * dice.chance(
        0.1 * (1 - ease), count, 1, 1
    )
    sigma = torch.sqrt(defocus**2 + lens_blur**2 + soft**2).clamp_max(20.0)
    return sigma[:, None], (sigma * on).sum((1, 2)) / on.sum((1, 2))


def _resampled(dice: Dice, display: Tensor) -> Tensor:
    """Noise, sharpening and JPEG, at full size or at the size of a smaller photo then enlarged."""
    height, width = display.shape[2:]
    kind = dice.batch_wide.random()
    factor = 1.0 if kind < 0.6 else 1.0 + 2.2 * (kind - 0.6) / 0.4
    if factor > 1.0:
        size = (round(height / factor), round(width / factor))
        display = functional.interpolate(display, size=size, mode="area")
    display = grainy(dice, display)
    if dice.batch_wide.random() < 0.8:
        display = jpeg(dice, display)
    if factor > 1.0:
        display = functional.interpolate(
            display, size=(height, width), mode="bilinear", align_corners=False
        )
    return torch.round(display * 255.0) / 255.0


# --- truth --------------------------------------------------------------------------------------------------


def _truth(
    batch: Batch, teeth: Teeth, plan: Plan, paint: Paint, declared: Tensor
) -> tuple[Tensor, Tensor, Tensor, Tensor]:
    other = teeth.flank & ~declared
    cover = 1.0 - torch.exp(-paint.amount)
    painted = paint.painted * declared
    compound = painted * (cover * 1.3).clamp_max(1.0) * (1.0 - paint.wiped)
    full = torch.stack(
        [declared.float(), other.float(), painted, compound, paint.wiped * declared], 1
    )
    masks = functional.avg_pool2d(full, 2)
    surface = torch.where(
        teeth.flank, batch.thing * 2 + teeth.side, torch.full_like(batch.thing, -1)
    )
    surface = surface.float()[:, None]
    highest, lowest = functional.max_pool2d(surface, 2), -functional.max_pool2d(-surface, 2)
    same = (highest == lowest)[:, 0]
    near_high = functional.max_pool2d(highest, 3, stride=1, padding=1)
    near_low = -functional.max_pool2d(-lowest, 3, stride=1, padding=1)
    edge = (near_high != near_low).float()
    places = functional.avg_pool2d(torch.stack([teeth.lengthwise, teeth.profile], 1), 2)
    on_declared, on_other = masks[:, 0] > 0.99, masks[:, 1] > 0.99
    known = same * (on_declared.float() + 0.3 * on_other.float()) * (1.0 + 1.5 * edge[:, 0])
    alone = torch.where(same, highest[:, 0], torch.full_like(highest[:, 0], -1.0))
    return torch.cat([masks, edge], 1), places.clamp(-0.1, 1.1), known, alone


def _quality(
    batch: Batch, plan: Plan, masks: Tensor, declared: Tensor, paint: Paint, display: Tensor,
    glossy: Tensor, blur_px: Tensor,
) -> Tensor:  # fmt: skip
    """(B, 8): 1 clearly so, 0 clearly not, -1 neither."""
    side, other, painted, compound, contact = (masks[:, k].sum((1, 2)) for k in range(5))
    cells = masks.shape[2] * masks.shape[3]
    luma = display.mean(1)
    area = (paint.painted * declared) + 0.02 * declared + 1e-9
    size = area.sum((1, 2))

    def share(condition: Tensor) -> Tensor:
        return (condition * area).sum((1, 2)) / size

    def between(value: Tensor, no: float, yes: float) -> Tensor:
        rising = torch.where(value >= yes, torch.ones_like(value), torch.full_like(value, UNKNOWN))
        falling = torch.where(value <= yes, torch.ones_like(value), torch.full_like(value, UNKNOWN))
        if no < yes:
            return torch.where(value <= no, torch.zeros_like(value), rising)
        return torch.where(value >= no, torch.zeros_like(value), falling)

    flanks = (side + other) / cells
    has_side, has_paint = side > 40, painted > 40
    mark = contact / painted.clamp_min(1.0)
    faint = plan.faintness > 0.72
    count = batch.tooth.shape[0]
    of_side = torch.arange(2, device=side.device)[None, :] == plan.declared[:, None]
    wanted = plan.painted.reshape(count, 64, 2).bool() & of_side[:, None, :]
    free = batch.visible * (batch.inside / 0.45).clamp(0.0, 1.0)
    free = torch.where(wanted & (batch.visible > 0), free, torch.zeros_like(free)).amax((1, 2))
    labels = {
        "no_teeth": between(flanks, 0.006, 0.0004),
        "no_compound": torch.where(
            has_side, between(compound + contact, 40.0, 0.5), torch.full_like(side, UNKNOWN)
        ),
        "no_contact": torch.where(
            has_paint & ~faint, between(mark, 0.02, 0.002), side * 0 + UNKNOWN
        ),
        "blurred": torch.where(
            flanks > 0.002,
            between(blur_px / batch.tooth_px.clamp_min(1.0), 0.02, 0.042),
            side * 0 + UNKNOWN,
        ),
        "too_dark": torch.where(side > 15, between(share(luma), 0.14, 0.07), side * 0 + UNKNOWN),
        "blown_out": torch.where(
            has_side, between(share((luma > 0.965).float()), 0.2, 0.5), side * 0 + UNKNOWN
        ),
        "glare": torch.where(
            has_side,
            between(share(((glossy > 0.5) & (luma > 0.92)).float()), 0.1, 0.35),
            side * 0 + UNKNOWN,
        ),
        "hidden": torch.where(
            plan.painted.any(1) & (batch.tooth_px > 0), between(free, 0.75, 0.4), side * 0 + UNKNOWN
        ),
    }
    return torch.stack([labels[code] for code in QUALITY_CODES], 1)
