"""From linear light to the JPEG of a phone: exposure, faults of the shot, noise, tone, sharpening."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from pattern.synthetic.second.arrays import Array, Rng
from pattern.synthetic.second.plan import Order

_LUMINANCE = np.array([0.21, 0.72, 0.07], np.float32)


@dataclass(frozen=True, eq=False)
class Shot:
    """What the developing depends on, in px of the picture."""

    order: Order
    middle_px: Array
    """(2,) of the middle painted side."""
    wanted_px: float
    longest_px: float
    """Of the painted sides."""
    marks_px: Sequence[tuple[Array, float]]
    """Middle (2,) of each mark in view and the length of its side."""
    white_compound: bool
    white_balance: tuple[float, float, float]


def developed(rng: Rng, light: Array, shot: Shot) -> Array:
    """The picture (height, width, 3), uint8 BGR, of linear light (height, width, 3)."""
    picture = _denoised(_without_fireflies(light))
    picture = picture * np.float32(_exposure(rng, picture, shot))
    if shot.order.fault == "dark":
        picture *= rng.uniform(0.012, 0.035)
    if shot.order.fault == "glare":
        picture = _with_glare(rng, picture, shot)
    picture = _blurred(rng, picture, shot)
    picture *= _vignette(rng, picture)
    balance = np.array(shot.white_balance) * (1 + rng.normal(0, 0.035, 3))
    picture = _noisy(rng, picture * balance.astype(np.float32), shot.order)
    haze = cv2.GaussianBlur(np.clip(picture, 0, 6), (0, 0), 14 * shot.order.scale)
    picture = picture * 0.97 + 0.03 * haze
    encoded = _toned(rng, picture, shot.order)
    pixels = (np.clip(encoded, 0, 1) * 255 + 0.5).astype(np.uint8)
    return np.ascontiguousarray(pixels[..., ::-1])


def jpeg(rng: Rng, picture: Array) -> bytes:
    """A JPEG of quality 80 to 92 of a picture (height, width, 3), uint8 BGR."""
    quality = [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(80, 93))]
    return bytes(cv2.imencode(".jpg", picture, quality)[1])


def _without_fireflies(light: Array) -> Array:
    """Single pixels far above their neighbours brought down, as more samples would do."""
    grey = light.mean(-1)
    median = cv2.medianBlur(np.ascontiguousarray(grey), 5)
    spikes = grey > np.maximum(6 * median, np.percentile(grey, 90))
    light[spikes] *= (median[spikes] * 3 / np.maximum(grey[spikes], 1e-6))[:, None]
    return light


def _denoised(light: Array) -> Array:
    """A phone's noise filter."""
    floor = 1e-4 * max(light.mean(-1).mean(), 1e-6) * 30
    smooth = cv2.bilateralFilter(np.log(light + floor), 5, 0.28, 1.4)
    return np.maximum(np.exp(smooth) - floor, 0)


def _distance_px(picture: Array, point: Array) -> Array:
    """Distance of every pixel from a point."""
    rows, columns = np.mgrid[: picture.shape[0], : picture.shape[1]]
    return np.hypot(columns - point[0], rows - point[1])


def _exposure(rng: Rng, picture: Array, shot: Shot) -> float:
    """What the phone multiplies with: it meters the teeth, and a little everything else."""
    grey = picture @ _LUMINANCE
    reach = max(60 * shot.order.scale, 1.2 * shot.wanted_px)
    near = grey[_distance_px(picture, shot.middle_px) < reach]
    bright = np.percentile(near, 88)
    whole = np.mean(np.minimum(grey, np.percentile(grey, 90)))
    level = 0.75 * np.mean(np.minimum(near, bright)) + 0.25 * np.minimum(whole, 2.5 * bright)
    exposure = rng.uniform(0.13, 0.26) / max(float(level), 1e-5)
    return exposure * 0.85 if shot.white_compound else exposure


def _with_glare(rng: Rng, picture: Array, shot: Shot) -> Array:
    """Blown-out light over each mark in view."""
    for middle, length in shot.marks_px:
        squared = _distance_px(picture, middle) ** 2
        core = rng.uniform(3, 7) * np.exp(-squared / (2 * (0.21 * length) ** 2))
        veil = 0.12 * np.exp(-squared / (2 * (0.8 * length) ** 2))
        colour = np.array([1, 0.97, 0.92], np.float32)
        picture = picture + (core + veil)[..., None].astype(np.float32) * colour
    return picture


def _blurred(rng: Rng, picture: Array, shot: Shot) -> Array:
    """Camera shake for that fault, else often a little softness."""
    if shot.order.fault == "motion blur":
        size = int(np.clip(0.28 * shot.longest_px, 22, 150) * rng.uniform(1.0, 1.5)) | 1
        kernel, half = np.zeros((size, size), np.float32), size // 2
        way = rng.uniform(0, 3.14)
        x, y = half * np.cos(way), half * np.sin(way)
        begin, end = (int(half - x), int(half - y)), (int(half + x), int(half + y))
        cv2.line(kernel, begin, end, (1.0,), 1, cv2.LINE_AA)
        return np.asarray(
            cv2.filter2D(picture, -1, kernel / kernel.sum(), borderType=cv2.BORDER_REFLECT)
        )
    if rng.random() < 0.5:
        radius = rng.uniform(0.5, 1.1) * max(shot.order.scale, 0.5)
        return np.asarray(cv2.GaussianBlur(picture, (0, 0), radius))
    return picture


def _vignette(rng: Rng, picture: Array) -> Array:
    height, width = picture.shape[:2]
    rows, columns = np.mgrid[:height, :width]
    squared = (columns - width / 2) ** 2 + (rows - height / 2) ** 2
    fall = squared / ((width / 2) ** 2 + (height / 2) ** 2)
    return np.asarray((1 - rng.uniform(0.0, 0.3) * fall)[..., None].astype(np.float32))


def _noisy(rng: Rng, picture: Array, order: Order) -> Array:
    """With the noise of a small sensor, coarser than a pixel as after its filter."""
    if order.fault == "dark":
        gain = rng.uniform(0.6, 1.4) * 0.004
    else:
        gain = float(np.exp(rng.uniform(np.log(0.0012), np.log(0.010))))
    grain = rng.standard_normal(picture.shape, dtype=np.float32)
    grain = 0.6 * grain + 1.1 * cv2.GaussianBlur(grain, (0, 0), 0.9)
    return np.asarray(
        picture + grain * np.sqrt(np.maximum(picture, 0) * gain * 0.35 + gain**2 * 0.15)
    )


def _toned(rng: Rng, picture: Array, order: Order) -> Array:
    """Soft shoulder, sRGB encoding (IEC 61966-2-1), contrast, saturation, sharpening."""
    linear, knee = np.clip(picture, 0, None), rng.uniform(0.65, 0.95)
    room = 1.02 - knee
    linear = np.where(linear > knee, knee + room * (1 - np.exp(-(linear - knee) / room)), linear)
    encoded = np.where(
        linear <= 0.0031308,
        12.92 * linear,
        1.055 * np.power(np.maximum(linear, 1e-8), 1 / 2.4) - 0.055,
    )
    contrast = 0.0 if order.fault == "dark" else rng.uniform(0, 0.35)
    encoded = np.clip(encoded, 0, 1)
    curve = encoded * encoded * (3 - 2 * encoded)
    encoded = encoded * (1 - contrast) + contrast * curve
    grey = encoded.mean(-1, keepdims=True)
    encoded = grey + (encoded - grey) * rng.uniform(0.9, 1.25)
    if order.fault != "motion blur" and rng.random() < 0.6:
        strength = rng.uniform(0.2, 0.7)
        encoded = encoded + strength * (encoded - cv2.GaussianBlur(encoded, (0, 0), 1.3))
    return np.asarray(encoded)
