"""Whether drawn outlines lie where the network sees the teeth."""

from __future__ import annotations

import numpy as np

from pattern.teeth.fields import PixelFields
from pattern.teeth.rectify import cell_centres, sampled
from pattern.teeth.surface import ToothSurface

_LEAST_CLEAR = 0.2


def slip_of(surface: ToothSurface, field: PixelFields) -> float | None:
    """How far an outline's lengthwise places lie from the network's (median), as a share of the tooth.

    Toe and heel exchanged or not: a toe that the user turned is no slip. None where the network sees
    too little of the side to tell.
    """
    grid_l, grid_p = np.meshgrid(cell_centres(60), cell_centres(20))
    xy = surface.to_photo(grid_l, grid_p)
    clear = sampled(field.side, field, xy) > 0.5
    if clear.mean() <= _LEAST_CLEAR:
        return None
    said, drawn = sampled(field.lengthwise, field, xy)[clear], grid_l[clear]
    return min(float(np.median(np.abs(v - drawn))) for v in (said, 1.0 - said))
