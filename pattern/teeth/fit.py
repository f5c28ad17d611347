"""Fit one tooth side's surface to a coordinate field: outline from tooth coordinates."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pattern.teeth.surface import ToothSurface

Floats = NDArray[np.float64]
_KNOTS = 33
_CORRELATED_CELLS = 40.0
"""Neighbouring cells err alike: about this many count as one observation (no source)."""
_BOW_DIFFERENCE = 0.02
"""Tip and root edge bend alike: sd of the difference of their bows over the tooth's length."""
_BORDER_SD = 0.03
_BORDER_REACH = 0.16
_ITERATIONS = 6


@dataclass(frozen=True, eq=False)
class Observed:
    """What the field says about one tooth side.

    `xy` (n, 2) cells' places and `place` (n, 2) their tooth coordinates with `sd` (n, 2); `border`
    (m, 2) places on the rim of what is visible.
    """

    xy: Floats
    place: Floats
    sd: Floats
    border: Floats


@dataclass(frozen=True, eq=False)
class FittedSurface:
    """`surface` in the units of the observations, `corner_sd` the sd of its corners in those units,
    `misfit` the robust spread of the residuals (lengthwise, profile) in tooth coordinates, and
    `on_border` the share of the outline where a rim was seen."""

    surface: ToothSurface
    corner_sd: float
    misfit: tuple[float, float]
    on_border: float


def fit_surface(seen: Observed) -> FittedSurface | None:
    """Least squares of two edge parabolas and the rulings between them; None if undetermined.

    Pixels are regressed on tooth coordinates, residuals weighed in tooth coordinates (through the
    surface's own Jacobian) and robustly (Cauchy). Rim points near one of the four edges pull that
    edge onto them; a rim far from all edges is a neighbour that covers the tooth and does not count.
    """
    if len(seen.xy) < 24 or np.ptp(seen.place[:, 0]) < 0.25 or np.ptp(seen.place[:, 1]) < 0.25:
        return None
    weights = np.ones(len(seen.xy))
    basis = _basis(seen.place)
    theta: Floats = np.asarray(np.linalg.lstsq(basis, seen.xy, rcond=None)[0], float)
    rims = _Rims(np.zeros((0, 2)), np.zeros((0, 2)), np.zeros(0, int))
    information = np.eye(12)
    residual = np.zeros((len(seen.xy), 2))
    for step in range(_ITERATIONS):
        surface = _surface(theta)
        residual = _to_coordinates(theta, seen.place, seen.xy - basis @ theta)
        weights = 1.0 / (1.0 + ((residual / (2.0 * seen.sd)) ** 2).sum(axis=1))
        if step in (1, 3, 5) and len(seen.border):
            rims = _match_border(surface, seen.border)
        theta, information = _solve(theta, seen, basis, weights, rims)
        if not np.isfinite(theta).all():
            return None
    surface = _surface(theta)
    misfit = 1.4826 * np.median(np.abs(residual), axis=0)
    return FittedSurface(
        surface=surface,
        corner_sd=_corner_sd(information),
        misfit=(float(misfit[0]), float(misfit[1])),
        on_border=_covered(rims),
    )


@dataclass(frozen=True, eq=False)
class _Rims:
    """Rim points that lie near an edge: places, tooth coordinates on that edge, axis held (0, 1)."""

    xy: Floats
    place: Floats
    axis: NDArray[np.int64]


def _basis(place: Floats) -> Floats:
    """(n, 6) functions of tooth coordinates whose combinations are the surface."""
    along, tip = place[:, 0], place[:, 1]
    bow = 4.0 * along * (1.0 - along)
    root = 1.0 - tip
    return np.stack([root, root * along, root * bow, tip, tip * along, tip * bow], axis=1)


def _slopes(place: Floats) -> tuple[Floats, Floats]:
    share, tip = place[:, 0], place[:, 1]
    bow, d_bow = 4.0 * share * (1.0 - share), 4.0 - 8.0 * share
    zero, one, root = np.zeros_like(share), np.ones_like(share), 1.0 - tip
    along = np.stack([zero, root, root * d_bow, zero, tip, tip * d_bow], axis=1)
    up = np.stack([-one, -share, -bow, one, share, bow], axis=1)
    return along, up


def _inverse_jacobian(theta: Floats, place: Floats) -> Floats:
    """(n, 2, 2): pixels to tooth coordinates at each place."""
    along, up = _slopes(place)
    d_l, d_p = along @ theta, up @ theta
    det = d_l[:, 0] * d_p[:, 1] - d_l[:, 1] * d_p[:, 0]
    det = np.where(np.abs(det) < 1e-6, 1e-6, det)
    rows = np.stack(
        [np.stack([d_p[:, 1], -d_p[:, 0]], axis=1), np.stack([-d_l[:, 1], d_l[:, 0]], axis=1)],
        axis=1,
    )
    return np.asarray(rows / det[:, None, None])


def _to_coordinates(theta: Floats, place: Floats, miss: Floats) -> Floats:
    return np.asarray(np.einsum("nij,nj->ni", _inverse_jacobian(theta, place), miss))


def _solve(
    theta: Floats, seen: Observed, basis: Floats, weights: Floats, rims: _Rims
) -> tuple[Floats, Floats]:
    """One weighted linear solve for the twelve numbers of the surface; and its information matrix."""
    inverse = _inverse_jacobian(theta, seen.place) / seen.sd[:, :, None]
    scale = np.sqrt(weights / _CORRELATED_CELLS)
    design = [(scale[:, None, None] * _rows(inverse, basis)).reshape(-1, 12)]
    target = [(scale[:, None] * np.einsum("nij,nj->ni", inverse, seen.xy)).ravel()]
    if len(rims.xy):
        held = _inverse_jacobian(theta, rims.place)[np.arange(len(rims.xy)), rims.axis] / _BORDER_SD
        held = held[:, None, :] / np.sqrt(4.0)
        design.append(_rows(held, _basis(rims.place)).reshape(-1, 12))
        target.append(np.einsum("nij,nj->ni", held, rims.xy).ravel())
    length = max(float(np.linalg.norm(theta[1] + theta[4])) / 2.0, 1e-6)
    alike = np.zeros((2, 12))
    for axis in (0, 1):
        alike[axis, 2 * 2 + axis], alike[axis, 5 * 2 + axis] = 1.0, -1.0
    design.append(alike / (_BOW_DIFFERENCE * length))
    target.append(np.zeros(2))
    a, b = np.concatenate(design), np.concatenate(target)
    information = a.T @ a
    solved = np.linalg.solve(information + 1e-9 * np.eye(12), a.T @ b)
    return solved.reshape(6, 2), information


def _rows(inverse: Floats, basis: Floats) -> Floats:
    """(n, k, 12) design rows: inverse Jacobian rows times the basis, unknowns ordered (basis, xy)."""
    rows = np.einsum("nkj,nb->nkbj", inverse, basis)
    return np.asarray(rows.reshape(len(basis), inverse.shape[1], 12))


def _match_border(surface: ToothSurface, border: Floats) -> _Rims:
    """Assign rim points to the edge they lie on, if they lie near one."""
    place = surface.to_tooth(border, steps=2)
    aspect = max(surface.length_px / max(surface.depth_px, 1e-6), 1.0)
    gaps = np.stack(
        [
            np.abs(place[:, 0]) * aspect,
            np.abs(1.0 - place[:, 0]) * aspect,
            np.abs(place[:, 1]),
            np.abs(1.0 - place[:, 1]),
        ],
        axis=1,
    )
    edge = gaps.argmin(axis=1)
    reach = np.where(edge < 2, _BORDER_REACH * 1.5, _BORDER_REACH)
    near = (gaps.min(axis=1) < reach) & (place > -0.3).all(axis=1) & (place < 1.3).all(axis=1)
    axis = np.where(edge < 2, 0, 1)
    held = place.copy()
    held[np.arange(len(held)), axis] = np.where(edge % 2 == 0, 0.0, 1.0)
    return _Rims(border[near], np.clip(held[near], 0.0, 1.0), axis[near])


def _surface(theta: Floats) -> ToothSurface:
    share = np.linspace(0.0, 1.0, _KNOTS)
    root = _basis(np.stack([share, np.zeros(_KNOTS)], axis=1)) @ theta
    tip = _basis(np.stack([share, np.ones(_KNOTS)], axis=1)) @ theta
    return ToothSurface(tip=tip, root=root)


def _corner_sd(information: Floats) -> float:
    """Root mean square sd of the four corners' places."""
    covariance = np.linalg.pinv(information)
    corners = _basis(np.array([[0.0, 1.0], [1.0, 1.0], [1.0, 0.0], [0.0, 0.0]]))
    rows = np.concatenate([np.kron(corners, [[1.0, 0.0]]), np.kron(corners, [[0.0, 1.0]])])
    variance = np.einsum("ni,ij,nj->n", rows, covariance, rows)
    return float(np.sqrt(np.clip(variance, 0.0, None).mean()))


def _covered(rims: _Rims) -> float:
    """Share of 20 stretches of the two long edges where a rim was seen."""
    long_edge = rims.axis == 1
    stretch = np.clip((rims.place[:, 0] * 10).astype(int), 0, 9)
    tip = rims.place[:, 1] > 0.5
    seen = {(bool(t), int(s)) for t, s in zip(tip[long_edge], stretch[long_edge], strict=True)}
    return len(seen) / 20.0
