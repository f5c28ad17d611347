"""Area, centroid, extents and slant of a patch on the unrolled tooth."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pattern.records import Extent

TRUE_ASPECT = 5.3
"""Length over depth of a ring gear's tooth side in true lengths. Of the sets 37/9 to 43/14, both
tooth systems, drawn from ISO 23509:2016 proportions it is 4.9 to 5.8; the tilt needs it, no more."""


@dataclass(frozen=True)
class Moments:
    """A patch's measures. Positions and extents in tooth coordinates, `area` as a share of the side,
    `tilt_deg` in true lengths, positive when the heel end sits nearer the tip."""

    lengthwise: float
    profile: float
    extent: Extent
    tilt_deg: float
    area: float


def moments_of(
    weights: NDArray[np.floating],
    aspect: float = TRUE_ASPECT,
    share: tuple[float, float] = (0.05, 0.95),
) -> Moments | None:
    """Measure a (rows, columns) map of weights on the laid-out tooth, None if it is empty.

    Row 0 is at the tip and column 0 at the toe; a weight counts at its cell's centre. The slant is
    that of the major axis of the second moments (scikit-image's `regionprops` defines it likewise),
    with lengthwise stretched by `aspect`.
    """
    values = np.clip(np.asarray(weights, dtype=np.float64), 0.0, None)
    total = float(values.sum())
    if total <= 0.0:
        return None
    rows, columns = values.shape
    lengthwise = (np.arange(columns) + 0.5) / columns
    profile = 1.0 - (np.arange(rows) + 0.5) / rows
    along, up = values.sum(axis=0) / total, values.sum(axis=1) / total
    centre_l, centre_p = float(along @ lengthwise), float(up @ profile)
    x = (lengthwise - centre_l) * aspect
    y = profile - centre_p
    var_x, var_y = float(along @ x**2), float(up @ y**2)
    cov = float(y @ values @ x) / total
    tilt = 0.5 * math.degrees(math.atan2(2.0 * cov, var_x - var_y))
    return Moments(
        lengthwise=centre_l,
        profile=centre_p,
        extent=Extent(
            lengthwise=_range(along, 0.0, share),
            profile=_range(up[::-1], 0.0, share),
        ),
        tilt_deg=tilt,
        area=total / values.size,
    )


def _range(
    density: NDArray[np.float64], start: float, share: tuple[float, float]
) -> tuple[float, float]:
    """Where the cumulative density reaches the two shares, linear within a cell."""
    edges = start + np.linspace(0.0, 1.0, len(density) + 1)
    reached = np.concatenate([[0.0], np.cumsum(density)])
    # equal values make the inverse ambiguous: an empty run is stepped over, not averaged
    keep = np.concatenate([[True], np.diff(reached) > 0])
    first = int(np.argmax(density > 0))
    keep[first] = True
    reached, edges = reached[first:][keep[first:]], edges[first:][keep[first:]]
    low, high = np.interp(share, reached, edges)
    return float(low), float(high)
