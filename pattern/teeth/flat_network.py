"""A small network that sees the teeth of a photo laid out flat: where each is wiped, covered, misplaced.

The reader's first network finds teeth in the whole picture; this one looks at them alone, enlarged and
lined up, and sees what they have in common. It runs on the CPU.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from pattern.teeth.network import sigmoid
from pattern.teeth.runtime import run

ROWS, COLUMNS = 48, 144
"""Cells of a laid-out tooth that the network is given; its maps have half as many each way."""
WEIGHTS = "marks.onnx"
MAP_NAMES = ("contact", "own", "lengthwise_slip", "profile_slip")
"""Channels of the first output: two logits, then true less assumed tooth coordinates."""
SCALAR_NAMES = ("painted", "marked")
"""The second output, logits for each tooth."""
CHANNELS = 11
_LEAST_SD = 0.02

Maps = NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class FlatFields:
    """What the network says of one tooth side, maps on ROWS/2 x COLUMNS/2 cells from tip to root and
    toe to heel: `contact` and `own` (visible surface of this side) 0 to 1, `lengthwise_slip` and
    `profile_slip` true less assumed tooth coordinates. `painted` and `marked`: 0 to 1, the side was
    brushed with compound, and carries a wiped patch."""

    contact: Maps
    own: Maps
    lengthwise_slip: Maps
    profile_slip: Maps
    painted: float
    marked: float

    def mark(self, rows: int, columns: int) -> NDArray[np.float64]:
        """The chance that a cell shows the wiped patch of this side, on (rows, columns) cells."""
        return np.asarray(_enlarged(self.contact * self.own, rows, columns), float)

    def visible(self, rows: int, columns: int, least: float) -> NDArray[np.bool_]:
        """The cells at which this side is seen with at least that chance."""
        return np.asarray(_enlarged(self.own, rows, columns) >= least)


def look_at_teeth(flats: Sequence[NDArray[np.float32]]) -> list[FlatFields]:
    """Look at a photo's laid-out teeth, each (rows, columns, 3) sRGB 0 to 255, tip first, toe left."""
    if not flats:
        return []
    small = [cv2.resize(flat, (COLUMNS, ROWS), interpolation=cv2.INTER_AREA) for flat in flats]
    rgb = np.stack(small).transpose(0, 3, 1, 2).astype(np.float32) / 255.0
    inputs = flat_inputs(rgb)
    maps, scalars = run(WEIGHTS, inputs, ("maps", "scalars"))
    chances, sure = sigmoid(maps[:, :2]), sigmoid(scalars).tolist()
    return [
        FlatFields(contact, own, *slips, *judged)
        for (contact, own), slips, judged in zip(chances, maps[:, 2:], sure, strict=True)
    ]


def flat_inputs(rgb: NDArray[np.float32]) -> NDArray[np.float32]:
    """(T, 3, ROWS, COLUMNS) 0 to 1, the teeth of one photo, to the network's (T, CHANNELS, ...).

    Colours as they are, by the spread of this photo's teeth, the mean tooth likewise, and the place.
    """
    inputs = np.empty((len(rgb), CHANNELS, ROWS, COLUMNS), np.float32)
    as_is, level, common, places = np.split(inputs, [3, 6, 9], axis=1)
    np.subtract(2.0 * rgb, 1.0, out=as_is)
    np.subtract(rgb, rgb.mean(axis=(0, 2, 3), keepdims=True), out=level)
    variance = np.einsum("tcrk,tcrk->c", level, level) / (level.size / 3)
    level /= np.maximum(np.sqrt(variance), _LEAST_SD).reshape(1, 3, 1, 1)
    np.clip(level, -3.0, 3.0, out=level)
    level /= 1.5
    common[:] = level.mean(axis=0)
    lengthwise = np.linspace(-1.0, 1.0, COLUMNS, dtype=np.float32)
    profile = np.linspace(1.0, -1.0, ROWS, dtype=np.float32)
    places[:] = np.stack(np.meshgrid(lengthwise, profile))
    return inputs


def _enlarged(values: Maps, rows: int, columns: int) -> Maps:
    return np.asarray(cv2.resize(values, (columns, rows), interpolation=cv2.INTER_LINEAR))
