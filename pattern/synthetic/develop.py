"""From scene light to a phone's JPEG: metering, balance, glow, grain, tone, sharpening."""

from __future__ import annotations

import io
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from pattern.synthetic.noise import Field, layered_noise


@dataclass(frozen=True)
class Development:
    """A phone's rendering. `ev` is off the metered exposure, `cast` the balance's error per channel,
    `defocus_px` and `motion_px` blur the whole picture, `grain` is the noise at mid grey."""

    ev: float = 0.0
    cast: tuple[float, float, float] = (1.0, 1.0, 1.0)
    contrast: float = 1.0
    saturation: float = 1.05
    vignette: float = 0.25
    bloom: float = 0.05
    grain: float = 0.012
    sharpen: float = 0.7
    defocus_px: float = 0.0
    motion_px: float = 0.0
    motion_deg: float = 0.0
    quality: int = 85


def developed(
    light: Field, weight: Field, how: Development, rng: np.random.Generator
) -> NDArray[np.uint8]:
    """An 8-bit sRGB picture (height, width, 3) of linear light; `weight` (height, width) meters."""
    picture = np.maximum(np.nan_to_num(light, nan=0.0, posinf=1e4), 0.0).astype(np.float32)
    picture = _blurred(picture, how)
    luminance = picture @ np.array([0.2126, 0.7152, 0.0722], np.float32)
    # A log mean keeps a few wet highlights from darkening the whole picture; the floor keeps a
    # black cloth from washing out what lies on it.
    middle = float(np.average(luminance, weights=weight**2))
    clipped = np.clip(luminance, 0.25 * middle, np.quantile(luminance, 0.995))
    metered = float(np.exp(np.average(np.log(clipped + 1e-6), weights=weight)))
    picture *= np.float32(0.24 / max(metered, 1e-6) * 2.0**how.ev)
    picture *= np.asarray(how.cast, np.float32)
    picture = _glow(picture, how.bloom)
    picture *= _vignette(picture.shape[:2], how.vignette)[..., None]
    picture = _grained(picture, how.grain, rng)
    picture = _tone(picture, how.contrast)
    grey = picture.mean(axis=-1, keepdims=True)
    picture = np.clip(grey + how.saturation * (picture - grey), 0.0, 1.0)
    soft = cv2.GaussianBlur(picture, (0, 0), 1.1)
    picture = np.clip(picture + np.float32(how.sharpen) * (picture - soft), 0.0, 1.0)
    return np.asarray(np.round(picture * 255.0), np.uint8)


def with_glare(light: Field, sides: Field, rng: np.random.Generator) -> Field:
    """The lamp's mirror image on wet tooth sides (mask, height x width): it drowns what lies there."""
    wet = np.clip(0.8 + 0.5 * layered_noise(sides.shape, (6, 9), rng), 0.25, None)
    width = 0.004 * sides.shape[1]
    sheen = cv2.GaussianBlur(sides * wet, (0, 0), width) + 0.25 * cv2.GaussianBlur(
        sides, (0, 0), 5 * width
    )
    typical = float(np.median(light))
    return np.asarray(light + 40.0 * typical * sheen[..., None], np.float32)


def _blurred(picture: Field, how: Development) -> Field:
    if how.defocus_px > 0.3:
        size = int(2 * np.ceil(how.defocus_px) + 1)
        y, x = np.mgrid[:size, :size] - size // 2
        disc = (np.hypot(x, y) <= how.defocus_px).astype(np.float32)
        picture = np.asarray(cv2.filter2D(picture, -1, disc / disc.sum()), np.float32)
    if how.motion_px > 0.5:
        size = int(2 * np.ceil(how.motion_px / 2) + 3)
        kernel = np.zeros((size, size), np.float32)
        reach = 0.5 * how.motion_px
        angle = np.radians(how.motion_deg)
        for step in np.linspace(-reach, reach, 4 * size):
            kernel[
                round(size // 2 + step * np.sin(angle)), round(size // 2 + step * np.cos(angle))
            ] += 1
        picture = np.asarray(cv2.filter2D(picture, -1, kernel / kernel.sum()), np.float32)
    return picture


def _glow(picture: Field, amount: float) -> Field:
    """Stray light of the lens around what is far brighter than white."""
    scale = picture.shape[1] / 1280.0
    bright = np.minimum(picture, 12.0)
    near = cv2.GaussianBlur(bright, (0, 0), 6.0 * scale)
    small = cv2.resize(bright, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    far = cv2.resize(
        cv2.GaussianBlur(small, (0, 0), 14.0 * scale), (picture.shape[1], picture.shape[0])
    )
    return np.asarray(picture * (1.0 - amount) + amount * (0.6 * near + 0.4 * far), np.float32)


def _vignette(shape: tuple[int, int], amount: float) -> Field:
    y, x = np.mgrid[: shape[0], : shape[1]].astype(np.float32)
    r2 = ((x / shape[1] - 0.5) ** 2 + (y / shape[0] - 0.5) ** 2) / 0.5
    return np.asarray(1.0 - amount * r2, np.float32)


def _grained(picture: Field, amount: float, rng: np.random.Generator) -> Field:
    """Shot and read noise as a phone leaves them: fine in brightness, blotchy in colour."""
    fine = rng.standard_normal(picture.shape[:2]).astype(np.float32)[..., None]
    half = (picture.shape[0] // 2, picture.shape[1] // 2, 3)
    blotch = cv2.resize(
        rng.standard_normal(half).astype(np.float32), (picture.shape[1], picture.shape[0])
    )
    level = np.sqrt(np.maximum(picture, 0.0) * 0.2 + 0.003)
    return np.asarray(
        np.maximum(picture + amount * 2.0 * level * (0.8 * fine + 0.45 * blotch), 0.0), np.float32
    )


def _tone(picture: Field, contrast: float) -> Field:
    """A shoulder for highlights, the sRGB curve, then contrast about mid grey."""
    white = 5.0
    shoulder = picture * (1.0 + picture / white**2) / (1.0 + 0.6 * picture)
    shoulder = np.clip(shoulder * 1.12, 0.0, 1.0)
    encoded = np.where(
        shoulder <= 0.0031308, 12.92 * shoulder, 1.055 * shoulder ** (1 / 2.4) - 0.055
    )
    return np.asarray(np.clip(0.46 + contrast * (encoded - 0.46), 0.0, 1.0), np.float32)


def undeveloped(picture: NDArray[np.uint8]) -> Field:
    """Linear light of a finished picture, by the tone curve turned round; clipped light is lost."""
    light = np.linspace(0.0, 1.0, 2048, dtype=np.float32) ** 2 * 8.0
    encoded = _tone(light, 1.0)
    return np.asarray(np.interp(picture / 255.0, encoded, light), np.float32)


def jpeg_bytes(picture: NDArray[np.uint8], quality: int) -> bytes:
    """A baseline JPEG with 4:2:0 colour."""
    stream = io.BytesIO()
    Image.fromarray(picture).save(stream, "JPEG", quality=quality, subsampling=2, optimize=True)
    return stream.getvalue()
