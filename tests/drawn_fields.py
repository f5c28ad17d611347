"""What a network would say of a drawn picture if it were right, with noise of a chosen size."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from pattern.teeth.fields import PixelFields
from tests.drawn import Drawn


def fields_of(drawn: Drawn, *, step: int = 2, noise: float = 0.03, seed: int = 0) -> PixelFields:
    """True maps on a grid of every `step`-th pixel; coordinates with smooth errors of sd `noise`."""
    rng = np.random.default_rng(seed)

    def soft(mask: NDArray[np.bool_]) -> NDArray[np.float32]:
        size = (mask.shape[1] // step, mask.shape[0] // step)
        small = cv2.resize(mask.astype(np.float32), size, interpolation=cv2.INTER_AREA)
        return np.clip(cv2.GaussianBlur(small, (0, 0), 0.7), 0.01, 0.99)

    side = soft(drawn.side_map)
    shape = side.shape
    offset = (step - 1) // 2

    def sampled(values: NDArray[np.float32], spread: float) -> NDArray[np.float32]:
        small = values[offset::step, offset::step][: shape[0], : shape[1]]
        wobble = cv2.GaussianBlur(rng.normal(size=shape), (0, 0), 5.0)
        wobble = wobble / wobble.std() * spread
        return (np.nan_to_num(small, nan=0.5) + wobble).astype(np.float32)

    profile = sampled(drawn.profile_map, noise)
    hard = drawn.side_map.astype(np.uint8)
    ring = cv2.morphologyEx(hard, cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8)) > 0
    jump = np.zeros_like(ring)
    filled = np.nan_to_num(drawn.profile_map, nan=-1.0)
    jump[1:] |= np.abs(np.diff(filled, axis=0)) > 0.3
    jump[:, 1:] |= np.abs(np.diff(filled, axis=1)) > 0.3
    edge = cv2.dilate((ring | jump).astype(np.uint8), np.ones((step + 1, step + 1), np.uint8)) > 0
    painted = drawn.painted_map & (drawn.side_map | drawn.other_map)
    scale = float(step)
    shift = 0.5 * scale - 0.5
    return PixelFields(
        side=side,
        other=soft(drawn.other_map),
        painted=soft(painted),
        compound=soft(painted & ~drawn.contact_map),
        contact=soft(drawn.contact_map),
        edge=soft(edge & drawn.side_map),
        lengthwise=sampled(drawn.lengthwise_map, noise),
        profile=profile,
        lengthwise_sd=np.full(shape, max(noise, 0.01), np.float32),
        profile_sd=np.full(shape, max(noise, 0.01), np.float32),
        quality={},
        to_photo=np.array([[scale, 0.0, shift], [0.0, scale, shift]]),
    )
