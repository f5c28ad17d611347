"""Separate the contact patch from the compound around it by how the two look."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from pattern.contact.appearance import plane_basis, whitened
from pattern.contact.templates import COLUMNS, ROWS, mark_templates

Floats = NDArray[np.float64]
_SMOOTH = (3.0, 2.0)


@dataclass(frozen=True, eq=False)
class Separation:
    """`contact` (rows, columns) probability 0 to 1; `explained` is the share of the mask's variance
    that the look explains, 0 to 1; `contrast` the difference inside to outside in units of the
    spread within; `score` Fisher's score of each cell; `core` the patch it was grown from."""

    contact: Floats
    explained: float
    contrast: float
    score: Floats
    core: Floats


def separate(
    features: Floats, inside: NDArray[np.bool_], prior: Floats | None = None
) -> Separation:
    """Find the compact patch whose look differs most from the rest of the tooth side.

    `features` is (rows, columns, d); cells where `inside` is False do not count. `prior` is a
    probability of contact per cell from elsewhere, used as the start instead of the templates. The
    measure is the R² of a linear regression of the patch's mask on the features, both without
    linear trend: a lamp that lights one end of the tooth does not make a patch.
    """
    rows, columns, depth = features.shape
    weights = inside.astype(float)
    start = prior if prior is not None else _best_template(features, weights)
    weights_flat = weights.ravel()
    white = whitened(features.reshape(-1, depth), plane_basis(rows, columns), weights_flat)
    white_map = white.reshape(rows, columns, depth)
    mask = start
    contrast = explained = 0.0
    score = np.zeros((rows, columns))
    for _ in range(6):
        score, explained, contrast = _discriminant(white_map, mask, weights)
        mask = _regular(score, weights, near=start)
    return Separation(mask * weights, explained, contrast, score, start)


def _best_template(features: Floats, weights: Floats) -> Floats:
    """The ellipse that the look explains best, (rows, columns) 0 or 1."""
    rows, columns, depth = features.shape
    size = (COLUMNS, ROWS)
    small: Floats = np.asarray(cv2.resize(features, size, interpolation=cv2.INTER_AREA), float)
    counted = np.asarray(cv2.resize(weights, size, interpolation=cv2.INTER_AREA), float).ravel()
    plain, level = mark_templates()
    white = whitened(small.reshape(-1, depth), plane_basis(ROWS, COLUMNS), counted)
    projected = level @ white.astype(np.float32)
    explained = (projected**2).sum(axis=1) / max(counted.sum(), 1.0)
    best = plain[int(np.argmax(explained))].reshape(ROWS, COLUMNS)
    return np.asarray(cv2.resize(best.astype(np.float64), (columns, rows)))


def _discriminant(white: Floats, mask: Floats, weights: Floats) -> tuple[Floats, float, float]:
    """Fisher's score of each cell, 0 half way between the two means, and how well it separates."""
    soft_in, soft_out = mask * weights, (1.0 - mask) * weights
    n_in, n_out = soft_in.sum() + 1e-9, soft_out.sum() + 1e-9
    mean_in = (white * soft_in[..., None]).sum(axis=(0, 1)) / n_in
    mean_out = (white * soft_out[..., None]).sum(axis=(0, 1)) / n_out
    gap_in, gap_out = white - mean_in, white - mean_out
    within = np.einsum("rc,rci,rcj->ij", soft_in, gap_in, gap_in)
    within += np.einsum("rc,rci,rcj->ij", soft_out, gap_out, gap_out)
    within = within / (n_in + n_out) + 0.02 * np.eye(white.shape[2])
    step = mean_in - mean_out
    direction = np.linalg.solve(within, step)
    distance2 = float(step @ direction)
    share = n_in / (n_in + n_out)
    score = (white - 0.5 * (mean_in + mean_out)) @ direction
    explained = share * (1 - share) * distance2
    return score, explained / (1.0 + explained), float(np.sqrt(max(distance2, 0.0)))


def _regular(score: Floats, weights: Floats, near: Floats) -> Floats:
    """Turn scores into a probability of contact, smoothed over neighbours, near the start patch."""
    counted = cv2.GaussianBlur(weights, (0, 0), sigmaX=_SMOOTH[0], sigmaY=_SMOOTH[1])
    clipped = np.clip(score, -6.0, 6.0) * weights
    smooth = cv2.GaussianBlur(clipped, (0, 0), sigmaX=_SMOOTH[0], sigmaY=_SMOOTH[1])
    reach = cv2.GaussianBlur(near, (0, 0), sigmaX=18.0, sigmaY=9.0)
    leaning = np.clip(4.0 * (reach - 0.10), -3.0, 1.0)
    level = 1.2 * smooth / np.maximum(counted, 1e-3) + leaning
    return np.asarray(1.0 / (1.0 + np.exp(-2.0 * np.clip(level, -15, 15))))
