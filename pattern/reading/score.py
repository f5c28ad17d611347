"""Compare readings with what is known of their photos: a table of how well the reader does."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pattern.records import Reading

Floats = NDArray[np.float64]
OFF_CENTRE = 0.12
"""A mark this far from the middle has a direction that an advice would follow."""
FLOOR_NOTE = "always the middle"


@dataclass(frozen=True, eq=False)
class Known:
    """What is known of a photo: whether it can be read, and the mark's centre and outlines if so.

    `outlines` is a list of (4, 2) px arrays of every tooth side known, in the usual corner order.
    """

    readable: bool
    lengthwise: float | None = None
    profile: float | None = None
    outlines: tuple[Floats, ...] = ()


@dataclass(frozen=True)
class Row:
    """A line of the table: what, the value, and over how many it was taken."""

    name: str
    value: float | None
    of: int
    unit: str = ""

    def __str__(self) -> str:
        shown = "-" if self.value is None else f"{self.value:.3g}"
        return f"{self.name}: {shown}{self.unit} (of {self.of})"


def score(cases: Sequence[tuple[Known, Reading]]) -> list[Row]:
    """The table: share read, errors, directions, bad photos accepted, coverage, corners.

    Errors are of photos that were read, in shares of the tooth. A direction is wrong when the truth
    lies more than 0.12 off the middle along an axis and the reading on the other half. Coverage is
    the share of errors, both axes, within two stated standard deviations.
    """
    good = [(k, r) for k, r in cases if k.readable]
    bad = [r for k, r in cases if not k.readable]
    read = [(k, r) for k, r in good if r.status == "read"]
    rows = [
        Row(
            "readable photos read", _percent([r.status == "read" for _, r in good]), len(good), " %"
        ),
        Row("bad photos accepted", float(sum(r.status == "read" for r in bad)), len(bad)),
    ]
    within: list[bool] = []
    wrong: list[bool] = []
    for axis in ("lengthwise", "profile"):
        known = np.array([getattr(k, axis) for k, _ in read], float)
        said = np.array([getattr(r, axis) for _, r in read], float)
        spread = np.array([getattr(r, f"{axis}_sd") for _, r in read], float)
        error = np.abs(said - known)
        rows.append(Row(f"{axis} error, median", _quantile(error, 0.5), len(error)))
        rows.append(Row(f"{axis} error, 95th percentile", _quantile(error, 0.95), len(error)))
        rows.append(Row(f"{axis} error, mean signed", _mean(said - known), len(error)))
        floor = np.abs(np.array([getattr(k, axis) for k, _ in good], float) - 0.5)
        rows.append(Row(f"{axis} error, median of {FLOOR_NOTE}", _quantile(floor, 0.5), len(floor)))
        within += list(error <= 2.0 * spread)
        off = np.abs(known - 0.5) > OFF_CENTRE
        wrong += list((np.sign(said - 0.5) != np.sign(known - 0.5))[off])
    rows.append(Row("wrong directions", float(sum(wrong)), len(wrong)))
    rows.append(Row("errors within two sd", _percent(within), len(within), " %"))
    corners = np.concatenate([np.zeros(0), *(corner_errors(k, r) for k, r in read)])
    rows.append(
        Row(
            "corner error, 95th percentile of tooth length",
            _times(_quantile(corners, 0.95), 100),
            len(corners),
            " %",
        )
    )
    return rows


def corner_errors(known: Known, reading: Reading) -> Floats:
    """Distance of each corner of each tooth read from the nearest known tooth's, over its length: (n,)."""
    errors = []
    for tooth in reading.teeth:
        apart = [np.linalg.norm(tooth.outline - outline, axis=1) for outline in known.outlines]
        if not apart:
            continue
        nearest = min(range(len(apart)), key=lambda n: float(apart[n].mean()))
        outline = known.outlines[nearest]
        length = float(np.linalg.norm(outline[1] + outline[2] - outline[0] - outline[3])) / 2.0
        errors.append(apart[nearest] / max(length, 1.0))
    return np.concatenate(errors) if errors else np.zeros(0)


def _percent(flags: Sequence[bool]) -> float | None:
    return 100.0 * float(np.mean(flags)) if len(flags) else None


def _quantile(values: Floats, share: float) -> float | None:
    return float(np.quantile(values, share)) if len(values) else None


def _mean(values: Floats) -> float | None:
    return float(values.mean()) if len(values) else None


def _times(value: float | None, factor: float) -> float | None:
    return None if value is None else value * factor
