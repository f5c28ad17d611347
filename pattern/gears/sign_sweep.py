"""Which way a mark goes lengthwise when the pinion goes deeper, over many drawn sets.

`python -m pattern.gears.tables` writes its results into the table beside this module and draws the plot
(matplotlib, a developer extra).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from pattern.errors import InvalidAxle
from pattern.gears.blank import Blank, System, make_blank
from pattern.gears.defaults import CUTTER_SHARE, CUTTER_SPREAD, draw_geometry, geometry_of
from pattern.gears.easeoff import EaseOff
from pattern.gears.evaluate import COARSE, evaluate_batch
from pattern.gears.kinematics import Moves
from pattern.gears.prior import draw_ease_offs
from pattern.records import MM_PER_IN, Axle

Array = NDArray[np.float64]
_COUNTS = ((41, 11), (41, 10), (37, 9), (41, 12), (43, 12), (45, 11), (39, 11), (43, 14), (37, 10))
_STEP_MM = 0.002 * MM_PER_IN
_DRAWS = 4


@dataclass(frozen=True, eq=False)
class Sweep:
    """One row a set: `uniform` (bool), curve radius over mean cone distance, offset over diameter, and
    how far the marks go per 0.001 in of pinion, shares of the tooth, + toward the heel.
    """

    uniform: NDArray[np.bool_]
    ratio: Array
    offset: Array
    drive: Array
    coast: Array


def sweep(sets: int, seed: int, *, wide: bool) -> Sweep:
    """Draw sets and compute both sides' lengthwise rates.

    `wide` spreads the cutter evenly over 0.6 to 1.2 of the mean cone distance for both systems;
    otherwise each system has the cutters that are usual for it.
    """
    rng = np.random.default_rng(seed)
    rows: list[tuple[float, ...]] = []
    while len(rows) < sets:
        system: System = "uniform" if rng.random() < 0.5 else "tapered"
        counts = _COUNTS[rng.integers(len(_COUNTS))]
        offset = 0.0 if rng.random() < 0.15 else float(rng.uniform(0.06, 0.20))
        diameter = float(rng.uniform(7.0, 11.0))
        axle = Axle(*counts, diameter, offset_in=offset * diameter, tooth_system=system)
        try:
            rows.append((system == "uniform", *_rates(axle, system, rng, wide)))
        except InvalidAxle:  # cannot be cut: no such set exists
            continue
    table = np.array(rows, dtype=np.float64)
    return Sweep(table[:, 0] > 0, *table[:, 1:].T)


@dataclass(frozen=True)
class Apart:
    """Lengthwise rates (drive, coast) per 0.001 in of pinion when the cutter differs by a factor.

    `both` lets the pitch cones follow the cutter as a design would, `cutter` keeps them, `cones` keeps
    the cutter and takes only the cones that would follow.
    """

    ratio: float
    both: tuple[float, float]
    cutter: tuple[float, float]
    cones: tuple[float, float]


def cutter_and_cones_apart(axle: Axle, share: float) -> Apart:
    """Which of the two the sign hangs on, for a cutter of `share` times the mean cone distance."""
    geometry, _ = geometry_of(axle, "tapered")
    teeth = axle.ring_teeth, axle.pinion_teeth
    usual = make_blank(geometry, *teeth, axle.hand, "tapered")
    radius = share * usual.cones.ring_cone_mm
    other = make_blank(replace(geometry, cutter_radius_mm=radius), *teeth, axle.hand, "tapered")
    return Apart(
        share,
        _middle_rates(other),
        _middle_rates(replace(usual, cutter_radius_mm=radius)),
        _middle_rates(replace(other, cutter_radius_mm=usual.cutter_radius_mm)),
    )


def _middle_rates(blank: Blank) -> tuple[float, float]:
    moves = Moves(np.array([_STEP_MM, -_STEP_MM]))
    found = evaluate_batch(blank, moves, EaseOff(), EaseOff(), resolution=COARSE)
    drive, coast = ((m.lengthwise[0] - m.lengthwise[1]) / 4 for m in (found.drive, found.coast))
    return float(drive), float(coast)


def turning_point(ratio: Array, rate: Array) -> float:
    """Ratio at which a straight line through the rates changes sign; NaN when it never does."""
    slope, level = np.polyfit(ratio, rate, 1)
    return float(-level / slope) if abs(slope) > 1e-9 else math.nan


def hit_rate(heel: NDArray[np.bool_], rate: Array) -> float:
    """Share of sets whose sign is the predicted one."""
    return float((heel == (rate > 0)).mean())


def best_threshold(ratio: Array, rate: Array) -> tuple[float, float]:
    """Ratio that best parts heel from toe, and the share it gets right."""
    order = np.sort(ratio)
    cuts = (order[1:] + order[:-1]) / 2
    hits = [hit_rate(ratio < cut, rate) for cut in cuts]
    if rate[ratio < np.median(ratio)].mean() < rate[ratio >= np.median(ratio)].mean():
        hits = [1 - hit for hit in hits]
    best = int(np.argmax(hits))
    return float(cuts[best]), float(hits[best])


def plot(found: Sweep, file: Path) -> None:
    """Rates against the ratio, both sides, tapered and uniform apart."""
    import matplotlib

    matplotlib.use("svg")
    matplotlib.rcParams["svg.hashsalt"] = "lengthwise sign"
    from matplotlib import pyplot as plt

    figure, axes = plt.subplots(1, 2, figsize=(9, 3.6), sharey=True, layout="constrained")
    for axis, side in zip(axes, ("drive", "coast"), strict=True):
        rate = getattr(found, side)
        for uniform, marker, colour in ((False, "o", "#24587a"), (True, "^", "#a4400b")):
            some = found.uniform == uniform
            axis.plot(
                found.ratio[some], rate[some] * 100, marker, color=colour, ms=3.5, alpha=0.7,
                label="uniform depth" if uniform else "tapered depth",
            )  # fmt: skip
        axis.axhline(0, color="#1d2329", lw=0.8)
        axis.set_title(f"{side} side, pinion deeper")
        axis.set_xlabel("lengthwise curve radius / mean cone distance")
    axes[0].set_ylabel("% of face width per 0.001 in, + heel")
    axes[0].legend(frameon=False)
    figure.savefig(file, metadata={"Date": None})
    plt.close(figure)


def _rates(axle: Axle, system: System, rng: np.random.Generator, wide: bool) -> tuple[float, ...]:
    geometry, assumed = geometry_of(axle, system)
    geometry = draw_geometry(
        geometry, tuple(n for n in assumed if n != "cutter_radius_in"), system, rng
    )
    if wide:
        share = float(rng.uniform(0.6, 1.2))
    else:
        share = CUTTER_SHARE[system] * math.exp(rng.normal(0, CUTTER_SPREAD[system]))
    cutter = geometry.cutter_radius_mm / CUTTER_SHARE[system] * share
    blank = make_blank(
        replace(geometry, cutter_radius_mm=cutter),
        axle.ring_teeth,
        axle.pinion_teeth,
        "right",
        system,
    )
    drawn = draw_ease_offs(_DRAWS, rng)
    ease = EaseOff(*(np.tile(np.broadcast_to(np.asarray(v), (_DRAWS,)), 2) for v in drawn.values))
    moves = Moves(np.repeat([_STEP_MM, -_STEP_MM], _DRAWS))
    found = evaluate_batch(blank, moves, ease, ease, resolution=COARSE)
    offset = (axle.offset_in or 0.0) / axle.ring_diameter_in
    rates = (_slope(found.drive.lengthwise), _slope(found.coast.lengthwise))
    return (blank.curve_ratio, offset, *(float(np.nanmedian(rate)) for rate in rates))


def _slope(values: Array) -> Array:
    """Change per 0.001 in of pinion, (draws,)."""
    ahead, behind = values.reshape(2, _DRAWS)
    return (ahead - behind) / 4
