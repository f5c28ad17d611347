"""What is known of a job beyond its measurements: sets can mostly be brought right, shops stop then.

Both are weights on draws of the estimate, mild on purpose: neither may outvote the readings.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pattern.advice.accounts import View
from pattern.advice.marks import RIGHT

Array = NDArray[np.float64]

_STOPS_WHEN_RIGHT = 0.88
_BEYOND_MENDING = 0.05  # share of sets that no shim brings right


def mendable(view: View, limits_thou: tuple[float, float]) -> Array:
    """Weight (N,) of draws: small where no position brings all rows and the backlash right.

    Linear about the right position: weighted least squares over pinion and ring gear of the five
    distances, marks from their place and backlash from the middle of its limits.
    """
    rows = np.empty((len(view.slopes), 5, 2))
    rows[:, :4] = view.slopes
    rows[:, 4, 0] = -view.backlash[:, 2]
    rows[:, 4, 1] = view.backlash[:, 1]
    middle = 0.5 * (limits_thou[0] + limits_thou[1])
    away = np.column_stack([view.away, view.backlash[:, 0] - middle])
    within = np.append(RIGHT, 0.5 * (limits_thou[1] - limits_thou[0]))
    rows, away = rows / within[:, None], away / within
    normal = np.einsum("nki,nkj->nij", rows, rows) + 1e-9 * np.eye(2)
    best = -np.linalg.solve(normal, np.einsum("nki,nk->ni", rows, away)[..., None])
    left = np.abs(away + (rows @ best)[..., 0]).max(axis=1)
    # least squares is not least maximum, and a little room is needed: a soft edge
    return np.asarray(_BEYOND_MENDING + (1 - _BEYOND_MENDING) / (1.0 + np.exp((left - 1.0) / 0.1)))


def went_on(view: View, limits_thou: tuple[float, float]) -> Array:
    """Weight (N,) of draws, given that the shop rolled again after every roll but the last.

    A set that was right would mostly have been left alone, so a draw that holds an earlier position
    to be right counts less; a last roll may be there only for the record.
    """
    inside = (view.backlash_thou >= limits_thou[0]) & (view.backlash_thou <= limits_thou[1])
    right = np.all(np.abs(view.place - view.design[:, None, :]) < RIGHT, axis=2) & inside
    return np.asarray(np.prod(1.0 - _STOPS_WHEN_RIGHT * right[:, :-1], axis=1))
