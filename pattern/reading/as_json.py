"""A reading as the JSON object of the command line: one a photo."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from pattern.records import Extent, Reading, ToothReading


def reading_json(reading: Reading) -> dict[str, Any]:
    """Plain values for `json.dumps`; numbers are None where the photo was declined."""
    return {
        "photo": reading.photo,
        "sha256": reading.sha256,
        "status": reading.status,
        "reasons": [{"code": r.code, "message": r.message} for r in reading.reasons],
        "side": reading.side,
        "side_from": reading.side_from,
        "hand": reading.hand,
        "toe": reading.toe,
        "lengthwise": _rounded(reading.lengthwise, 4),
        "lengthwise_sd": _rounded(reading.lengthwise_sd, 4),
        "profile": _rounded(reading.profile, 4),
        "profile_sd": _rounded(reading.profile_sd, 4),
        "correlation": _rounded(reading.correlation, 3) if reading.status == "read" else None,
        "extent": _extent(reading.extent),
        "tilt_deg": _rounded(reading.tilt_deg, 2),
        "area": _rounded(reading.area, 4),
        "compound": reading.compound,
        "flags": list(reading.flags),
        "drift_per_tooth": (
            None
            if reading.drift_per_tooth is None
            else [_rounded(value, 4) for value in reading.drift_per_tooth]
        ),
        "teeth": [_tooth(tooth) for tooth in reading.teeth],
        "marked": [_points(polygon) for polygon in reading.marked],
        "size_px": list(reading.size_px) if reading.size_px else None,
        "version": reading.version,
        "settings": reading.settings,
    }


def _tooth(tooth: ToothReading) -> dict[str, Any]:
    return {
        "outline": _points(tooth.outline),
        "tip_edge": _points(tooth.tip_edge),
        "root_edge": _points(tooth.root_edge),
        "confidence": _rounded(tooth.confidence, 3),
        "lengthwise": _rounded(tooth.lengthwise, 4),
        "lengthwise_sd": _rounded(tooth.lengthwise_sd, 4),
        "profile": _rounded(tooth.profile, 4),
        "profile_sd": _rounded(tooth.profile_sd, 4),
        "extent": _extent(tooth.extent),
        "tilt_deg": _rounded(tooth.tilt_deg, 2),
        "area": _rounded(tooth.area, 4),
        "contact": _points(tooth.contact),
        "flags": list(tooth.flags),
    }


def _extent(extent: Extent | None) -> dict[str, list[float]] | None:
    if extent is None:
        return None
    return {
        "lengthwise": [round(v, 4) for v in extent.lengthwise],
        "profile": [round(v, 4) for v in extent.profile],
    }


def _points(points: NDArray[np.float64]) -> list[list[float]]:
    return [[round(float(x), 1), round(float(y), 1)] for x, y in points]


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(float(value), digits)
