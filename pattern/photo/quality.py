"""Judge whether the photo is good enough on the teeth: sharpness, light, size."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from pattern.flags import flag
from pattern.photo.levels import factor_for, reduced
from pattern.records import Photo, Reason
from pattern.settings import Settings

Floats = NDArray[np.float64]
_CLIPPED = 250
_BLOWN_SHARE = 0.5
_DARK_LEVEL = 60.0
"""95th percentile of brightness (0 to 255) on a tooth below which the mark drowns in grain."""
_BLUR_SHARE = 0.015
"""Edge blur (sd) over tooth length beyond which the mark's rim is lost."""
_SHAKE_SHARE = 0.0205
"""The same for the third sharpest direction; both limits set on the sample and trial photos: 98 % of readable ones
stay under 0.0113 and 0.0162."""
_DIRECTIONS = 6
_OWN_BLUR_PX = 1.0
_WORK_PX = 280


@dataclass(frozen=True)
class ToothLight:
    """What a tooth's picture is like: `length_px`, the 95th percentile of brightness, the share of
    washed-out pixels, and the blur (sd) as a share of the tooth's length: of its sharpest edges, and
    across the direction in which a shaken camera leaves them sharp."""

    length_px: float
    bright: float
    clipped: float
    blur_share: float
    shake_share: float


def check_photo(
    photo: Photo,
    regions: Sequence[NDArray[np.float64]],
    settings: Settings,
    measured: Sequence[ToothLight] | None = None,
) -> tuple[Reason, ...]:
    """Reasons to decline a photo for its quality on the teeth, judged by the median over them.

    `regions` are closed polygons (n, 2) px, one a tooth, `measured` what `measure_light` said of them
    if it was asked before. Each reason says what was seen and what to do.
    """
    if not regions:
        return ()
    lights = measured or [measure_light(photo, region) for region in regions]
    faults = _faults(_usual(lights), settings)
    if not faults:
        return ()
    return (Reason(faults[0], _message(faults[0], lights, settings)),)


def _usual(lights: Sequence[ToothLight]) -> ToothLight:
    """The median of each measure over the teeth; of the lengths the greatest."""

    def middle(name: str) -> float:
        return float(np.median([getattr(light, name) for light in lights]))

    return ToothLight(
        length_px=max(light.length_px for light in lights),
        bright=middle("bright"),
        clipped=middle("clipped"),
        blur_share=middle("blur_share"),
        shake_share=middle("shake_share"),
    )


def measure_light(photo: Photo, region: NDArray[np.float64]) -> ToothLight:
    """Measure brightness, washed-out share and edge blur over one polygon of the photo."""
    corners = np.asarray(region, float)
    length = _longest(corners)
    low = np.clip(np.floor(corners.min(axis=0)) - 0.06 * length, 0, None).astype(int)
    high = np.ceil(corners.max(axis=0) + 0.06 * length).astype(int) + 1
    step = factor_for(photo, length / _WORK_PX)
    low, factor = low // step * step, 1.0 / step
    part = reduced(photo, step)[low[1] // step : high[1] // step, low[0] // step : high[0] // step]
    if part.size == 0:
        return ToothLight(length, 0.0, 0.0, 1.0, 1.0)
    if step > 1:  # a large tooth is worked on at one size, whatever the camera's
        factor = _WORK_PX / length
        size = [max(1, round(n * step * factor)) for n in (part.shape[1], part.shape[0])]
        part = np.asarray(cv2.resize(part, size, interpolation=cv2.INTER_AREA), np.uint8)
    inside = np.zeros(part.shape[:2], np.uint8)
    local = np.rint((corners - low) * factor).astype(np.int32)
    cv2.fillPoly(inside, [local], 1)
    colours = part[inside > 0]
    if colours.size == 0:
        return ToothLight(length, 0.0, 0.0, 1.0, 1.0)
    # one by one: a reduction over so short an axis takes 30 times as long
    red, green, blue = colours.T
    on_tooth = np.maximum(np.maximum(red, green), blue)
    clipped = float((np.minimum(np.minimum(red, green), blue) >= _CLIPPED).mean())
    window = max(7, int(0.1 * length * factor)) | 1
    sharpest, across = edge_blur_px(part, inside, window)
    local_length = length * factor
    bright = float(np.percentile(on_tooth, 95))
    return ToothLight(length, bright, clipped, sharpest / local_length, across / local_length)


def edge_blur_px(
    rgb: NDArray[np.uint8], inside: NDArray[np.uint8], window_px: int
) -> tuple[float, float]:
    """Blur (sd, px) of the sharpest edges where `inside` or near it: of all, and across.

    The second is that of the edges of the third sharpest direction of six: a shaken camera leaves
    edges along its path sharp.

    A step blurred by a Gaussian of sd s has the greatest slope step / (s √(2π)). The step is taken
    as the range of brightness within `window_px`, so s = range / (slope √(2π)), at the pixels where
    that is least. The blur that tames grain here is taken off again.
    """
    grey = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY).astype(np.float32)
    soft = cv2.GaussianBlur(grey, (0, 0), _OWN_BLUR_PX)
    slope_x = cv2.Sobel(soft, cv2.CV_32F, 1, 0, ksize=3) / 8.0
    slope_y = cv2.Sobel(soft, cv2.CV_32F, 0, 1, ksize=3) / 8.0
    near = cv2.dilate(inside, np.ones((9, 9), np.uint8)) > 0
    kernel = np.ones((window_px, window_px), np.uint8)
    # the range of whole levels is enough, and takes a quarter of the time
    level = np.rint(soft).astype(np.uint8)
    span = cv2.subtract(cv2.dilate(level, kernel), cv2.erode(level, kernel)).astype(np.float32)
    strong = near & (span > max(15.0, float(np.median(span[near]))))
    if strong.sum() < 20:
        return float(window_px), float(window_px)
    across, down = slope_x[strong], slope_y[strong]
    slope = np.hypot(across, down)
    width = span[strong] / (np.maximum(slope, 1e-3) * np.sqrt(2.0 * np.pi))
    direction = (np.arctan2(down, across) / np.pi * _DIRECTIONS).round() % _DIRECTIONS
    by_direction = []
    for number in range(_DIRECTIONS):
        own = width[direction == number]
        if len(own) >= max(15, 0.02 * len(width)):
            by_direction.append(float(np.percentile(own, 5)))
    sharpest = float(np.percentile(width, 5))
    third = sorted(by_direction)[2] if len(by_direction) > 2 else sharpest
    return _without_own(sharpest), _without_own(third)


def _without_own(blur_px: float) -> float:
    return float(np.sqrt(max(blur_px**2 - _OWN_BLUR_PX**2, 0.05)))


def _faults(light: ToothLight, settings: Settings) -> list[str]:
    faults = []
    if light.length_px < settings.tooth_min_px:
        faults.append("too_small")
    if light.bright < _DARK_LEVEL:
        faults.append("too_dark")
    elif light.clipped > _BLOWN_SHARE:
        faults.append("blown_out")
    elif light.blur_share > _BLUR_SHARE or light.shake_share > _SHAKE_SHARE:
        faults.append("blurred")
    return faults


def _message(code: str, lights: Sequence[ToothLight], settings: Settings) -> str:
    middle = lights[len(lights) // 2]
    seen = {
        "too_small": f"A tooth is only {max(t.length_px for t in lights):.0f} pixels long, "
        f"{settings.tooth_min_px:.0f} are needed.",
        "too_dark": f"The teeth reach a brightness of only {middle.bright:.0f} of 255.",
        "blown_out": f"{100 * max(t.clipped for t in lights):.0f} % of the tooth is washed out white.",
        "blurred": f"Edges are smeared over {100 * middle.shake_share:.1f} % of the tooth's length.",
    }[code]
    return f"{seen} {flag(code).remedy}"


def _longest(corners: Floats) -> float:
    """Greatest extent of a polygon along any of 18 directions."""
    angles = np.linspace(0.0, np.pi, 18, endpoint=False)
    along = corners @ np.stack([np.cos(angles), np.sin(angles)])
    return float((along.max(axis=0) - along.min(axis=0)).max())
