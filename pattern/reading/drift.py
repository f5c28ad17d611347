"""A steady drift of the mark from tooth to tooth: evidence of runout, apart from noise."""

from __future__ import annotations

import numpy as np

from pattern.records import ToothReading

_SURE = 3.0
_LEAST = 0.012
"""Drift per tooth below which no runout is called: 0.04 over the four teeth that a photo shows."""


def drift_per_tooth(teeth: list[ToothReading]) -> tuple[float, float] | None:
    """Slope of (lengthwise, profile) per tooth, None with fewer than three teeth.

    Teeth count up in the direction that the tooth sides face, which in a photo with the tip edge up
    is downward; teeth between that were not read are counted by the gaps.
    """
    if len(teeth) < 3:
        return None
    number = _tooth_numbers(teeth)
    slopes = [
        np.polyfit(number, [getattr(t, axis) for t in teeth], 1)[0]
        for axis in ("lengthwise", "profile")
    ]
    return float(slopes[0]), float(slopes[1])


def is_runout(drift: tuple[float, float] | None, teeth: list[ToothReading]) -> bool:
    """Whether the drift is larger than noise explains: three sds of the slope from the residuals."""
    if drift is None or len(teeth) < 4:
        return False
    number = _tooth_numbers(teeth)
    centred = number - number.mean()
    for axis, slope in zip(("lengthwise", "profile"), drift, strict=True):
        values = np.array([getattr(t, axis) for t in teeth])
        own = np.array([getattr(t, f"{axis}_sd") for t in teeth])
        residual = values - values.mean() - slope * centred
        noise2 = max(float(residual @ residual) / (len(teeth) - 2), 0.25 * float(np.mean(own**2)))
        if abs(slope) > max(_SURE * np.sqrt(noise2 / (centred @ centred)), _LEAST):
            return True
    return False


def _tooth_numbers(teeth: list[ToothReading]) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Place of each tooth along the direction from tip to root, in steps of the usual gap."""
    middles = np.array([t.outline.mean(axis=0) for t in teeth])
    tip_to_root = np.mean(
        [t.outline[2:].mean(axis=0) - t.outline[:2].mean(axis=0) for t in teeth], axis=0
    )
    along = middles @ tip_to_root / max(float(np.linalg.norm(tip_to_root)), 1e-9)
    gaps = np.diff(np.sort(along))
    step = max(float(np.median(gaps)), 1e-6)
    order = np.argsort(along)
    numbers = np.empty(len(teeth))
    numbers[order] = np.concatenate([[0.0], np.cumsum(np.maximum(np.rint(gaps / step), 1.0))])
    return numbers
