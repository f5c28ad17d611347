"""Run the reader's network on a photo or a part of it, on the CPU.

The network sees right-hand ring gears only: a left-hand gear is mirrored on the way in and its maps
are mirrored back on the way out, so tooth coordinates need no change. The declared side goes in as a
fourth channel, +1 for drive and -1 for coast: it settles toe and heel where one tooth side alone
cannot show which side it is, and both sides come out as masks, so that a wrong declaration shows.
"""

from __future__ import annotations

import math
import threading

import cv2
import numpy as np
from numpy.typing import NDArray

from pattern.photo.levels import reduced
from pattern.records import Hand, Photo, Side
from pattern.teeth.fields import PixelFields
from pattern.teeth.runtime import run

FIELD_NAMES = ("side", "other", "painted", "compound", "contact", "edge")
"""The first output channels, as logits, in this order."""
ON_SIDE = ("painted", "compound", "contact")
"""Those of them that are said of the declared side's pixels only."""
COORDINATE_NAMES = ("lengthwise", "profile", "lengthwise_log_sd", "profile_log_sd")
"""The channels after those: coordinates as they are, spreads as natural logarithms."""
QUALITY_CODES = (
    "no_teeth",
    "no_compound",
    "no_contact",
    "blurred",
    "too_dark",
    "blown_out",
    "glare",
    "hidden",
)
"""The second output, one logit each."""

STRIDE = 2  # one grid cell is this many network input pixels each way
MULTIPLE = 32  # the network halves its input five times
WEIGHTS = "reader.onnx"
_RUNNING = threading.Lock()  # one pass takes all threads and some 100 MB: two at once gain nothing


def predict_fields(
    photo: Photo,
    side: Side,
    hand: Hand,
    *,
    region: tuple[float, float, float, float] | None = None,
    long_side: int,
) -> PixelFields:
    """Predict the maps of a photo.

    `region` is (x0, y0, x1, y1), a slice of the photo in pixels, cut to the photo; without it all of it
    is looked at. The region is scaled to `long_side` network pixels (a multiple of 32; training
    used 256 to 512), its short side to the nearest multiple of 32. Raises ValueError for an empty region.
    """
    x0, y0, x1, y1 = _slice_of(photo, region)
    width, height = input_size(x1 - x0, y1 - y0, long_side)
    factor = _halvings((x1 - x0) / width, (y1 - y0) / height)
    pixels = reduced(photo, factor)
    # whole pixels of the photo averaged down; the rest of the way is up to the resize
    x0, y0, x1, y1 = (factor * (edge // factor) for edge in (x0, y0, x1, y1))
    crop = pixels[y0 // factor : y1 // factor, x0 // factor : x1 // factor]
    way = cv2.INTER_AREA if width < crop.shape[1] else cv2.INTER_LINEAR
    image = np.asarray(cv2.resize(crop, (width, height), interpolation=way), np.uint8)
    if hand == "left":
        image = image[:, ::-1]
    maps, quality = _forward(network_input(image, side))
    if hand == "left":
        maps = maps[:, :, ::-1]
    scale_x, scale_y = (x1 - x0) / width * STRIDE, (y1 - y0) / height * STRIDE
    to_photo = np.array(
        [[scale_x, 0.0, x0 + 0.5 * scale_x - 0.5], [0.0, scale_y, y0 + 0.5 * scale_y - 0.5]]
    )
    return assemble(maps, quality, to_photo)


def input_size(width: int, height: int, long_side: int) -> tuple[int, int]:
    """Network input (width, height) for a region of that size, both multiples of 32."""
    scale = long_side / max(width, height)
    return tuple(  # type: ignore[return-value]
        max(2 * MULTIPLE, round(length * scale / MULTIPLE) * MULTIPLE) for length in (width, height)
    )


def network_input(image: NDArray[np.uint8], side: Side) -> NDArray[np.float32]:
    """(1, 4, h, w): red, green, blue from -1 to 1, and the declared side."""
    blob = np.empty((1, 4, *image.shape[:2]), np.float32)
    for channel, values in enumerate(cv2.split(image)):
        np.multiply(values, np.float32(2.0 / 255.0), out=blob[0, channel])
    blob[0, :3] -= 1.0
    blob[0, 3] = 1.0 if side == "drive" else -1.0
    return blob


def assemble(
    maps: NDArray[np.float32], quality: NDArray[np.float32], to_photo: NDArray[np.float64]
) -> PixelFields:
    """Turn raw outputs, (10, h, w) and (8,), into fields."""
    count = len(FIELD_NAMES)
    chances = sigmoid(maps[:count])
    for name in ON_SIDE:  # the network says these given that a pixel is of the declared side
        chances[FIELD_NAMES.index(name)] *= chances[FIELD_NAMES.index("side")]
    masks = dict(zip(FIELD_NAMES, chances, strict=True))
    lengthwise, profile = np.clip(maps[count : count + 2], -0.5, 1.5)
    spreads = np.exp(np.clip(maps[count + 2 : count + 4], -6.0, 1.0))
    return PixelFields(
        **masks,
        lengthwise=lengthwise,
        profile=profile,
        lengthwise_sd=spreads[0],
        profile_sd=spreads[1],
        quality=dict(zip(QUALITY_CODES, map(float, sigmoid(quality)), strict=True)),
        to_photo=to_photo,
    )


def _slice_of(
    photo: Photo, region: tuple[float, float, float, float] | None
) -> tuple[int, int, int, int]:
    height, width = photo.height_px, photo.width_px
    if region is None:
        return 0, 0, width, height
    x0, y0 = max(0, round(region[0])), max(0, round(region[1]))
    x1, y1 = min(width, round(region[2])), min(height, round(region[3]))
    if x1 - x0 < 2 or y1 - y0 < 2:
        raise ValueError(f"region {region} leaves nothing of a picture {width} x {height}")
    return x0, y0, x1, y1


def _halvings(*shrinks: float) -> int:
    """The greatest power of two by which a slice may be reduced before it is resized by `shrinks`."""
    return int(2 ** max(0, math.floor(math.log2(max(min(shrinks), 1.0)))))


def _forward(blob: NDArray[np.float32]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    with _RUNNING:
        maps, quality = run(WEIGHTS, blob, ("maps", "quality"))
    return maps[0], quality.reshape(-1)


def sigmoid(logits: NDArray[np.float32]) -> NDArray[np.float32]:
    """Logits of any shape as chances, 0 to 1."""
    return (1.0 / (1.0 + np.exp(-np.clip(logits, -30.0, 30.0)))).astype(np.float32)
