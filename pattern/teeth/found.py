"""What looking for teeth gives, whether they were found, drawn by the user or framed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pattern.photo.quality import ToothLight
from pattern.records import Direction, Reason, ToothSide


@dataclass(frozen=True, eq=False)
class FoundTeeth:
    """The tooth sides of a photo that are to be measured.

    `regions` are closed polygons (n, 2) px over which the photo's quality is judged, one a tooth.
    `flags` say what was seen on the way; those that stop the photo come with no teeth to measure;
    `seen` are then polygons of what was taken for painted teeth, to be shown to the user. `lights` are the
    regions' measures if they were taken on the way.
    `toe` is where the toe lies in the picture, None if there is no tooth.
    """

    teeth: tuple[ToothSide, ...]
    flags: tuple[Reason, ...] = ()
    regions: tuple[NDArray[np.float64], ...] = ()
    toe: Direction | None = None
    seen: tuple[NDArray[np.float64], ...] = ()
    lights: tuple[ToothLight, ...] | None = None
