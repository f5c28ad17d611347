"""Can a mark be told from its surroundings in the finished picture? A measure apart from any reader.

A photo whose own truth cannot be seen is no fair test of reading, and none of declining either.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

LEAST = 1.2
"""Below this separation the two bands overlap so far that even their true border is a guess."""


def legibility(picture: NDArray[np.uint8], truth: dict[str, Any]) -> float | None:
    """Median over the teeth of the separation between the bands inside and outside the mark's edge.

    `picture` (height, width, 3) sRGB. The separation is Fisher's discriminant distance of the two
    bands' CIELAB colours in standard deviations (noise floor of 2 units), so a strong edge of
    colour or of brightness counts alike. None without marked teeth.
    """
    scaled = picture.astype(np.float32) / 255.0
    lab = np.asarray(cv2.cvtColor(scaled, cv2.COLOR_RGB2LAB), np.float32)
    values = []
    for tooth in truth["teeth"]:
        if tooth.get("contact"):
            inside, outside = _bands(tooth, picture.shape[:2])
            if min(inside.sum(), outside.sum()) >= 8:
                values.append(_separation(lab[inside], lab[outside]))
    return float(np.median(values)) if values else None


def _separation(one: NDArray[np.float32], other: NDArray[np.float32]) -> float:
    spread = np.cov(one.T) + np.cov(other.T) + 4.0 * np.eye(3)
    step = one.mean(axis=0) - other.mean(axis=0)
    return float(np.sqrt(2.0 * step @ np.linalg.solve(spread, step)))


def _bands(
    tooth: dict[str, Any], shape: tuple[int, ...]
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Bands just inside the contact's edge and just outside it, on the tooth side."""
    side = np.zeros(shape[:2], np.uint8)
    contact = side.copy()
    cv2.fillPoly(side, [_whole(tooth["tip_edge"] + tooth["root_edge"][::-1])], 1)
    for polygon in tooth["contact"]:
        cv2.fillPoly(contact, [_whole(polygon)], 1)
    width = max(1, round(float(np.sqrt(contact.sum())) / 14.0))
    inside = (cv2.erode(contact, _disc(1)) > 0) & (cv2.erode(contact, _disc(2 * width + 1)) == 0)
    outside = (cv2.dilate(contact, _disc(2 * width + 1)) > 0) & (cv2.erode(side, _disc(1)) > 0)
    return inside, outside & (cv2.dilate(contact, _disc(1 + width // 2)) == 0)


def _whole(points: list[list[float]]) -> NDArray[np.int32]:
    return np.round(np.asarray(points)).astype(np.int32)


def _disc(radius: int) -> NDArray[np.uint8]:
    size = (2 * radius + 1, 2 * radius + 1)
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, size), np.uint8)
