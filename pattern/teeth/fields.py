"""What the network says of every pixel: tooth sides, compound, contact and tooth coordinates."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Map = NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class PixelFields:
    """Maps on a grid of (h, w) cells over a photo or a part of it.

    Probabilities, 0 to 1
        side      visible surface of the *declared* side, of any tooth, painted or not
        other     visible surface of the other side
        painted   the tooth side under this cell was brushed with compound (the whole tooth side, its
                  wiped patch included)
        compound  compound still covers the cell
        contact   the wiped patch (bare, thin or shiny) of a painted tooth side
        edge      within about 1.5 cells of a tooth side's outline

    `lengthwise` and `profile` are tooth coordinates, meaningful where `side` is high; their `_sd` are
    one standard deviation as the network judges it. `quality` holds probabilities for the whole
    picture by flag code. `to_photo` is (2, 3): it takes a cell's (x, y, 1), centre of the first cell
    (0, 0), to photo pixels.
    """

    side: Map
    other: Map
    painted: Map
    compound: Map
    contact: Map
    edge: Map
    lengthwise: Map
    profile: Map
    lengthwise_sd: Map
    profile_sd: Map
    quality: dict[str, float]
    to_photo: NDArray[np.float64]

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of the grid."""
        return int(self.side.shape[0]), int(self.side.shape[1])

    def photo_xy(self, cells_xy: NDArray[np.float64]) -> NDArray[np.float64]:
        """Take (n, 2) grid points to (n, 2) photo pixels."""
        return cells_xy @ self.to_photo[:, :2].T + self.to_photo[:, 2]

    def grid_xy(self, photo_xy: NDArray[np.float64]) -> NDArray[np.float64]:
        """Take (n, 2) photo pixels to (n, 2) grid points."""
        inverse = np.linalg.inv(self.to_photo[:, :2])
        return (photo_xy - self.to_photo[:, 2]) @ inverse.T
