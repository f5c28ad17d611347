"""Separate the contact patch from the compound around it by how the two look, on all teeth at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from pattern.contact.appearance import plane_basis, without_trend
from pattern.contact.templates import BLOCK, COLUMNS, ROWS, mark_templates

Floats = NDArray[np.float64]
_SMOOTH = (3.0, 2.0)
_ROUNDS = 4
_COMMON = 0.5
"""How much a tooth's two mean looks lean on those of all teeth."""


@dataclass(frozen=True, eq=False)
class Look:
    """One tooth side to separate: `features` (rows, columns, d), `inside` (rows, columns) the cells
    that count, and `prior`, a probability of contact per cell from elsewhere, or None."""

    features: NDArray[np.floating]
    inside: NDArray[np.bool_]
    prior: Floats | None = None


@dataclass(frozen=True, eq=False)
class Separation:
    """`contact` (rows, columns) probability 0 to 1; `contrast` the difference of the patch's look to
    the rest in units of the spread within; `core` the patch it was grown from."""

    contact: Floats
    contrast: float
    core: Floats


def separate(looks: Sequence[Look]) -> list[Separation]:
    """Find on each tooth the compact patch whose look differs most from the rest of the side.

    The teeth of a photo carry the same compound, the same steel and much the same mark, so the
    direction in which the look changes, and roughly where, come from all of them together: a shadow
    or a drip on one tooth is not repeated on the next. The start is the ellipse with the greatest
    common difference, or the priors; then Fisher's linear discriminant and the patch are found in
    turn. Linear trends are taken off first: a lamp that lights one end makes no patch.
    """
    if not looks:
        return []
    rows, columns, depth = looks[0].features.shape
    weights = [look.inside.astype(float) for look in looks]
    plain = [
        without_trend(look.features.reshape(-1, depth), plane_basis(rows, columns), w.ravel())
        for look, w in zip(looks, weights, strict=True)
    ]
    whitener = _whitener(plain, weights)
    white = [(p @ whitener).reshape(rows, columns, depth) for p in plain]
    cores = _cores(looks, white, weights)
    masks = cores
    contrast = 0.0
    scatter = _scatter(white, weights)
    counted = [_smoothed(w) for w in weights]
    leaning = [_leaning(core) for core in cores]
    for _ in range(_ROUNDS):
        scores, contrast = _discriminant(white, masks, weights, scatter)
        masks = [_regular(*each) for each in zip(scores, weights, counted, leaning, strict=True)]
    return [
        Separation(mask * w, contrast, core)
        for mask, w, core in zip(masks, weights, cores, strict=True)
    ]


def _whitener(plain: list[Floats], weights: list[Floats]) -> Floats:
    """(d, d) matrix that decorrelates the pooled features to unit variance.

    A floor on each variance keeps grain from being stretched to look like a difference.
    """
    total = max(float(sum(w.sum() for w in weights)), 1.0)
    scatter = sum((p.T @ p for p in plain), np.zeros((plain[0].shape[1],) * 2)) / total
    values, vectors = np.linalg.eigh(scatter)
    return np.asarray(vectors / np.sqrt(np.maximum(values, 1.0)))


def _cores(looks: Sequence[Look], white: list[Floats], weights: list[Floats]) -> list[Floats]:
    """The patch each tooth starts from, (rows, columns) 0 to 1."""
    if all(look.prior is not None for look in looks):
        return [np.asarray(look.prior) for look in looks]
    plain, level = mark_templates()
    columns_of = []
    for map_, weight in zip(white, weights, strict=True):
        blocks = (map_ * weight[..., None]).reshape(ROWS, BLOCK, COLUMNS, BLOCK, map_.shape[2])
        cells = blocks.mean(axis=(1, 3)).reshape(-1, map_.shape[2]).astype(np.float32)
        columns_of.append(cells / np.sqrt(max(float((cells**2).sum()), 1e-6)))
    projected = np.split(level @ np.concatenate(columns_of, axis=1), len(white), axis=1)
    common = np.mean(projected, axis=0)
    direction = common[int((common**2).sum(axis=1).argmax())]
    direction = direction / max(float(np.linalg.norm(direction)), 1e-9)
    together = common @ direction
    cores = []
    for own in projected:
        best = plain[int((0.5 * (own @ direction) + together).argmax())].reshape(ROWS, COLUMNS)
        cores.append(np.kron(best, np.ones((BLOCK, BLOCK))))
    return cores


def _scatter(white: list[Floats], weights: list[Floats]) -> Floats:
    """(d, d) sum of squares and products over all cells that count."""
    depth = white[0].shape[2]
    total = np.zeros((depth, depth))
    for map_, weight in zip(white, weights, strict=True):
        cells = map_.reshape(-1, depth)
        total += cells.T @ (cells * weight.reshape(-1, 1))
    return total


def _discriminant(
    white: list[Floats], masks: list[Floats], weights: list[Floats], scatter: Floats
) -> tuple[list[Floats], float]:
    """Fisher's score of each cell, 0 half way between the two mean looks of its tooth.

    The direction is common to all teeth; a tooth's own means lean on the common ones, as a tooth in
    the shade has less contrast but no other colours. `scatter` is that of all cells together.
    """
    depth = white[0].shape[2]
    within, count = scatter.copy(), 1e-9
    means = []
    for map_, mask, weight in zip(white, masks, weights, strict=True):
        cells, total = map_.reshape(-1, depth), float(weight.sum()) + 1e-9
        soft = (mask * weight).ravel()
        inside = float(soft.sum()) + 1e-9
        sum_in, sum_all = soft @ cells, weight.ravel() @ cells
        inner, outer = sum_in / inside, (sum_all - sum_in) / max(total - inside, 1e-9)
        # scatter about the two means: total less what lies between them
        within -= inside * np.outer(inner, inner) + (total - inside) * np.outer(outer, outer)
        count += total
        means.append((inner, outer))
    within = within / count + 0.02 * np.eye(depth)
    inner_all = np.mean([m[0] for m in means], axis=0)
    outer_all = np.mean([m[1] for m in means], axis=0)
    step = inner_all - outer_all
    direction = np.linalg.solve(within, step)
    scores = []
    for map_, (inner, outer) in zip(white, means, strict=True):
        own = 0.5 * (inner + outer)
        middle = _COMMON * 0.5 * (inner_all + outer_all) + (1.0 - _COMMON) * own
        scores.append(map_ @ direction - float(middle @ direction))
    return scores, float(np.sqrt(max(float(step @ direction), 0.0)))


def _regular(score: Floats, weights: Floats, counted: Floats, leaning: Floats) -> Floats:
    """Turn scores into a probability of contact, smoothed over neighbours, about the core patch."""
    smooth = _smoothed(np.clip(score, -6.0, 6.0) * weights)
    level = smooth / np.maximum(counted, 1e-3) + leaning
    return np.asarray(1.0 / (1.0 + np.exp(-2.0 * np.clip(level, -15, 15))))


def _smoothed(values: Floats) -> Floats:
    return np.asarray(cv2.GaussianBlur(values, (0, 0), sigmaX=_SMOOTH[0], sigmaY=_SMOOTH[1]))


def _leaning(core: Floats) -> Floats:
    """What being near the core patch, or far from it, adds to a cell's score."""
    reach = cv2.GaussianBlur(core, (0, 0), sigmaX=14.0, sigmaY=7.0)
    return np.asarray(np.clip(10.0 * (reach - 0.25), -2.5, 0.5))
