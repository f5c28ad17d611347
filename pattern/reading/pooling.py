"""Pool several values that each have a spread, with the scatter between them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
SHARED = 0.5
"""Share of a tooth's own variance that neighbouring teeth of a photo have in common (light, view,
habit of the reader) and that averaging over teeth does not take away. No source: set on drawn and
rendered teeth so that stated spreads cover the true error."""


@dataclass(frozen=True)
class Pooled:
    """Mean, its sd, and the scatter between the values beyond their own spread (sd)."""

    mean: float
    sd: float
    scatter: float


def pool(values: Floats, sds: Floats, shared: float = SHARED) -> Pooled:
    """Random-effects mean of (n,) values (DerSimonian and Laird 1986, from memory).

    `shared` is the share of the variances that is common to all values and stays in the mean's sd.
    """
    own = (1.0 - shared) * sds**2
    weights = 1.0 / own
    mean = float((weights * values).sum() / weights.sum())
    count = len(values)
    scatter2 = 0.0
    if count > 1:
        spread = float((weights * (values - mean) ** 2).sum())
        slack = float(weights.sum() - (weights**2).sum() / weights.sum())
        scatter2 = max(0.0, (spread - (count - 1)) / slack)
    weights = 1.0 / (own + scatter2)
    mean = float((weights * values).sum() / weights.sum())
    common = shared * float(np.mean(sds**2))
    return Pooled(mean, float(np.sqrt(1.0 / weights.sum() + common)), float(np.sqrt(scatter2)))


def stand_out(values: Floats, sds: Floats, limit: float = 4.0) -> NDArray[np.bool_]:
    """Which of (n,) values lie off the rest's median by more than `limit` spreads.

    The spread is the larger of the value's own and the median deviation's (1.4826 MAD). With fewer
    than four values none is called off: two against one proves nothing.
    """
    if len(values) < 4:
        return np.zeros(len(values), bool)
    off = np.abs(values - np.median(values))
    spread = np.maximum(sds, 1.4826 * np.median(off))
    return np.asarray(off > limit * spread)
