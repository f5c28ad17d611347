"""The camera for training pictures: metering, focus, shake, bloom, grain, sharpening, JPEG."""

from __future__ import annotations

import math

import torch
from torch import Tensor
from torch.nn import functional

from pattern.synthetic.shade_paint import Dice, constant

BLURS_PX = (0.0, 0.7, 1.4, 2.8, 5.6, 11.0, 22.0)
"""Gaussian sigmas between which a pixel's own blur is interpolated."""


def gaussian(picture: Tensor, sigma: float) -> Tensor:
    """Blur (B, C, H, W) by one sigma, borders held; large ones at reduced size."""
    if sigma <= 0:
        return picture
    if sigma > 2.0:
        small = functional.avg_pool2d(picture, 2, ceil_mode=True)
        small = gaussian(small, 0.5 * sigma)
        return functional.interpolate(
            small, size=picture.shape[2:], mode="bilinear", align_corners=False
        )
    radius = math.ceil(2.6 * sigma)
    x = torch.arange(-radius, radius + 1, device=picture.device, dtype=picture.dtype)
    kernel = torch.exp(-0.5 * (x / sigma) ** 2)
    channels = picture.shape[1]
    kernel = (kernel / kernel.sum()).repeat(channels, 1, 1)
    out = functional.pad(picture, (radius, radius, radius, radius), mode="replicate")
    out = functional.conv2d(out, kernel[:, :, None, :], groups=channels)
    return functional.conv2d(out, kernel[:, :, :, None], groups=channels)


def out_of_focus(picture: Tensor, sigma_px: Tensor) -> Tensor:
    """Blur each pixel by its own sigma (B, 1, H, W)."""
    result = torch.zeros_like(picture)
    previous = 0.0
    for k, level in enumerate(BLURS_PX):
        after = BLURS_PX[k + 1] if k + 1 < len(BLURS_PX) else math.inf
        rising = (
            (sigma_px - previous) / max(level - previous, 1e-6) if k else torch.ones_like(sigma_px)
        )
        falling = 1.0 - (sigma_px - level) / (after - level)
        weight = torch.minimum(rising, falling).clamp(0.0, 1.0)
        result = result + weight * gaussian(picture, level)
        previous = level
    return result


def shaken(dice: Dice, picture: Tensor, length_px: Tensor) -> Tensor:
    """Blur each picture along its own direction by its own length (B,), in px."""
    count, channels = picture.shape[:2]
    radius = 14
    turn = dice.uniform(count, 1, 1, high=math.pi)
    y, x = torch.meshgrid(
        torch.arange(-radius, radius + 1, device=picture.device, dtype=picture.dtype),
        torch.arange(-radius, radius + 1, device=picture.device, dtype=picture.dtype),
        indexing="ij",
    )
    along, across = (
        x * torch.cos(turn) + y * torch.sin(turn),
        y * torch.cos(turn) - x * torch.sin(turn),
    )
    reach = 0.5 * length_px[:, None, None]
    kernel = (reach + 0.6 - along.abs()).clamp(0, 1) * (1.0 - across.abs()).clamp_min(0)
    kernel = kernel / kernel.sum((1, 2), keepdim=True)
    kernel = (
        kernel[:, None].repeat(1, channels, 1, 1).reshape(count * channels, 1, *kernel.shape[1:])
    )
    flat = functional.pad(picture, [radius] * 4, mode="replicate")
    flat = flat.reshape(1, count * channels, *flat.shape[2:])
    return functional.conv2d(flat, kernel, groups=count * channels).reshape(picture.shape)


def exposure_gain(picture: Tensor, metered: Tensor, stops: Tensor) -> Tensor:
    """Gain (B, 1, 1, 1) that brings the metered area (B, H, W) to mid grey, off by `stops` (B,)."""
    grey = picture.mean(1)
    area = metered.float() + 1e-3
    level = torch.exp((torch.log(grey + 1e-3) * area).sum((1, 2)) / area.sum((1, 2)))
    return (0.20 * torch.exp2(stops) / level)[:, None, None, None]


def highlight_gain(picture: Tensor, teeth: Tensor, stops: Tensor) -> Tensor:
    """Gain (B, 1, 1, 1) at which 85 % of the tooth sides (B, H, W) stay white by `stops` (B,) or less."""
    grey = picture.amax(1)[:, ::6, ::6]
    grey = torch.where(teeth[:, ::6, ::6], grey, torch.full_like(grey, math.nan)).flatten(1)
    bright = torch.nanquantile(grey, 0.85, dim=1)
    kept = 0.85 / torch.nan_to_num(bright, nan=0.85).clamp_min(1e-3)
    return (kept * torch.exp2(stops))[:, None, None, None]


def developed(dice: Dice, picture: Tensor) -> Tensor:
    """White balance, vignette, bloom and a tone curve; linear in, 0 to 1 display values out."""
    count, _, height, width = picture.shape
    balance = torch.exp(dice.normal(count, 3, 1, 1, sd=0.10))
    x = torch.linspace(-1, 1, width, device=picture.device)[None, None, None, :]
    y = torch.linspace(-1, 1, height, device=picture.device)[None, None, :, None]
    dark = dice.uniform(count, 1, 1, 1, high=0.45) * dice.chance(0.5, count, 1, 1, 1)
    picture = picture * balance * (1.0 - dark * 0.5 * (x**2 + y**2))
    bloom = dice.uniform(count, 1, 1, 1, high=0.12) * dice.chance(0.5, count, 1, 1, 1)
    picture = picture.clamp(0.0, 20.0)
    picture = picture + bloom * gaussian((picture - 0.8).clamp(0.0, 6.0), 7.0)
    veil = dice.uniform(count, 1, 1, 1, high=0.06) * dice.chance(0.2, count, 1, 1, 1)
    picture = picture + veil
    knee = dice.uniform(count, 1, 1, 1, low=0.0, high=1.0)
    soft = picture / (1.0 + 0.55 * picture) * 1.35
    picture = (knee * soft + (1 - knee) * picture).clamp(0.0, 1.0)
    gamma = dice.uniform(count, 1, 1, 1, low=1.8, high=2.5)
    picture = picture.clamp_min(1e-5) ** (1.0 / gamma)
    contrast = dice.uniform(count, 1, 1, 1, low=-0.25, high=0.35)
    curved = picture * picture * (3.0 - 2.0 * picture)
    picture = picture + contrast * (curved - picture)
    mean = picture.mean(1, keepdim=True)
    return (mean + dice.uniform(count, 1, 1, 1, low=0.5, high=1.4) * (picture - mean)).clamp(
        0.0, 1.0
    )


def grainy(dice: Dice, picture: Tensor) -> Tensor:
    """Sensor noise after the tone curve: brightness and colour, fine and blotchy; then sharpening."""
    count = picture.shape[0]
    strength = dice.log_uniform(count, 1, 1, 1, low=0.001, high=0.05)
    fine = dice.normal(*picture.shape[:1], 1, *picture.shape[2:])
    colour = dice.normal(*picture.shape)
    blotch = dice.uniform(count, 1, 1, 1)
    noise = fine + 0.6 * colour
    noise = noise + blotch * (2.2 * gaussian(noise, 0.9) - noise)
    shadows = 1.3 - 0.9 * picture
    picture = picture + strength * noise * shadows
    amount = dice.uniform(count, 1, 1, 1, high=1.6) * dice.chance(0.6, count, 1, 1, 1)
    return (picture + amount * (picture - gaussian(picture, 1.0))).clamp(0.0, 1.0)


_LUMA = (
    16.0, 11.0, 10.0, 16.0, 24.0, 40.0, 51.0, 61.0,
    12.0, 12.0, 14.0, 19.0, 26.0, 58.0, 60.0, 55.0,
    14.0, 13.0, 16.0, 24.0, 40.0, 57.0, 69.0, 56.0,
    14.0, 17.0, 22.0, 29.0, 51.0, 87.0, 80.0, 62.0,
    18.0, 22.0, 37.0, 56.0, 68.0, 109.0, 103.0, 77.0,
    24.0, 35.0, 55.0, 64.0, 81.0, 104.0, 113.0, 92.0,
    49.0, 64.0, 78.0, 87.0, 103.0, 121.0, 120.0, 101.0,
    72.0, 92.0, 95.0, 98.0, 112.0, 100.0, 103.0, 99.0,
)  # fmt: skip
"""Luminance quantisation table of ITU-T T.81 (JPEG), Annex K, table K.1 (from memory)."""


def jpeg(dice: Dice, picture: Tensor) -> Tensor:
    """Quantise 8 x 8 cosine blocks as JPEG does, at qualities 35 to 98, colour at half size."""
    count, _, height, width = picture.shape
    quality = dice.uniform(count, 1, 1, 1, low=35.0, high=98.0)
    scale = torch.where(quality < 50, 50.0 / quality, 2.0 - quality / 50.0)
    k = torch.arange(8, device=picture.device, dtype=torch.float32)
    basis = torch.cos((2 * k[None, :] + 1) * k[:, None] * math.pi / 16) * 0.5
    basis[0] = math.sqrt(0.125)
    r, g, b = (picture * 255.0).unbind(1)
    luma = 0.299 * r + 0.587 * g + 0.114 * b
    blue, red = 0.564 * (b - luma), 0.713 * (r - luma)

    def coded(plane: Tensor, table: Tensor) -> Tensor:
        rows, columns = plane.shape[1:]
        plane = functional.pad(plane[:, None], (0, -columns % 8, 0, -rows % 8), mode="replicate")[
            :, 0
        ]
        blocks = plane.reshape(count, plane.shape[1] // 8, 8, plane.shape[2] // 8, 8).transpose(
            2, 3
        )
        waves = basis @ blocks @ basis.T
        step = (table * scale[:, :, :, :, None]).clamp_min(1.0)
        waves = torch.round(waves / step) * step
        blocks = basis.T @ waves @ basis
        return blocks.transpose(2, 3).reshape(plane.shape)[:, :rows, :columns]

    table = constant(_LUMA, picture.device).reshape(8, 8)
    luma = coded(luma - 128.0, table) + 128.0
    halved = functional.avg_pool2d(torch.stack([blue, red], 1), 2, ceil_mode=True)
    halved = torch.stack([coded(p, (1.6 * table).clamp_max(110.0)) for p in halved.unbind(1)], 1)
    blue, red = functional.interpolate(
        halved, size=(height, width), mode="bilinear", align_corners=False
    ).unbind(1)
    back = [
        luma + red / 0.713,
        luma - 0.344 * blue / 0.564 - 0.714 * red / 0.713,
        luma + blue / 0.564,
    ]
    return (torch.stack(back, 1) / 255.0).clamp(0.0, 1.0)
