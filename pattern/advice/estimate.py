"""Fit everything unknown about the set to all rolls at once, and keep the whole spread.

Unknown: where pinion and ring gear stand, the place the marks are meant for, the set's answer to
moves (27 numbers, `response`), and how exactly each move was made. All rolls teach all of them.
Maximum a posteriori by Levenberg-Marquardt on whitened parameters, then draws from the normal
approximation there, weighted back to the true posterior (importance sampling), so that edges of
the tooth and unknown gains do not distort the spread, and moved on from there by Metropolis steps, so
that no few draws stand for all. The same weights give each hypothesis
(tooth system, a move recorded with the wrong sign) its probability.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pattern.advice.evidence import Evidence
from pattern.advice.marks import backlash_thou, centres, seen
from pattern.advice.plausible import mendable, went_on
from pattern.advice.response import SIZE, Response, System

Array = NDArray[np.float64]

_START_SD_THOU = (12.0, 12.0)  # a set comes to the bench anywhere within 0.015 in, or further off
_MOVE_SD_THOU = 0.5
_POSITION, _DESIGN, _RESPONSE = slice(0, 2), slice(2, 6), slice(6, 6 + SIZE)
_FIXED = 6 + SIZE
_WIDER = 1.05  # draws from a little wider than the normal approximation, so that tails are covered
_KEPT, _WANDERINGS, _STRIDE = 800, 10, 0.4


@dataclass(frozen=True)
class Hypothesis:
    """One way the job may be: a tooth system and the moves that went the other way than recorded.

    `flipped` holds (roll index, 0 for pinion or 1 for ring gear). `prior` need not be normalised.
    `sound` is False for a set or housing that no shim mends.
    """

    system: System
    prior: float = 1.0
    flipped: tuple[tuple[int, int], ...] = ()
    sound: bool = True


@dataclass(frozen=True, eq=False)
class Fit:
    """One hypothesis fitted: equally weighted draws, log evidence and how badly the best fit misses.

    `pinion_thou`, `ring_thou` (N,) stand from the right place at the last roll; `response` (N, 27),
    `design` (N, 4). `misfit` is the sum of squared residuals of `measured` numbers and the prior.
    `steps` are the draws as `posterior` counts them; `settled` moves them on.
    """

    hypothesis: Hypothesis
    log_evidence: float
    misfit: float
    measured: int
    pinion_thou: Array
    ring_thou: Array
    response: Array
    design: Array
    posterior: _Posterior
    steps: Array


def fit(
    evidence: Evidence, response: Response, hypothesis: Hypothesis, *, draws: int = 2000
) -> Fit:
    """Fit one hypothesis. Deterministic: the draws come from a fixed seed."""
    if hypothesis.flipped:
        moves = evidence.moves_thou.copy()
        for at_roll, member in hypothesis.flipped:
            moves[at_roll, member] *= -1.0
        evidence = replace(evidence, moves_thou=moves)
    mean, root = _prior(evidence, response)
    best, square_root_cov = _climb(evidence, mean, root)
    posterior = _Posterior(evidence, mean, root, best, square_root_cov, hypothesis.sound)
    rng = np.random.default_rng(7)
    steps = _WIDER * rng.standard_normal((draws, len(mean)))
    measured, doubt = posterior.log_ratio(steps)
    log_det = float(np.sum(np.log(np.abs(np.diag(square_root_cov))))) + len(mean) * np.log(_WIDER)
    log_weight = measured - 0.5 * np.sum(steps**2, axis=1) * (1.0 - _WIDER**-2) + log_det
    top = float(log_weight.max())
    weight = np.exp(log_weight - top)
    log_evidence = top + float(np.log(weight.mean()))
    # a few draws must not carry everything: cap the weights (truncated importance sampling)
    weight = np.minimum(weight, weight.mean() * np.sqrt(draws)) * np.exp(doubt)
    kept = steps[_resample(weight, min(_KEPT, draws))]
    at = posterior.at(kept)
    final = _residuals(evidence, (mean + root @ best)[None])[0]
    return Fit(
        hypothesis=hypothesis,
        log_evidence=log_evidence,
        misfit=float(final @ final + best @ best),
        measured=int(np.count_nonzero(final)),
        pinion_thou=at.pinion_thou[:, -1],
        ring_thou=at.ring_thou[:, -1],
        response=at.response,
        design=at.design,
        posterior=posterior,
        steps=kept,
    )


def settled(found: Fit) -> Fit:
    """The same hypothesis with its draws moved on over the posterior, so that no few stand for all."""
    steps = _wander(found.posterior, found.steps, np.random.default_rng(8))
    at = found.posterior.at(steps)
    return replace(
        found, pinion_thou=at.pinion_thou[:, -1], ring_thou=at.ring_thou[:, -1],
        response=at.response, design=at.design, steps=steps,
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class _Posterior:
    """The posterior in steps from its normal approximation: parameters are mean + root (best + S u)."""

    evidence: Evidence
    mean: Array
    root: Array
    best: Array
    square_root_cov: Array
    sound: bool

    def at(self, steps: Array) -> _At:
        return _unpack(self.evidence, self.mean + self._whitened(steps) @ self.root.T)

    def log_ratio(self, steps: Array) -> tuple[Array, Array]:
        """Log of posterior over normal approximation at steps (N, n): by measurements, by the job."""
        z = self._whitened(steps)
        energy = 0.5 * np.sum(_residuals(self.evidence, self.mean + z @ self.root.T) ** 2, axis=1)
        measured = 0.5 * np.sum(steps**2, axis=1) - energy - 0.5 * np.sum(z**2, axis=1)
        at, limits = self.at(steps), self.evidence.limits_thou
        likely = went_on(at.response, at.design, at.pinion_thou, at.ring_thou, limits)
        if self.sound:
            likely = likely * mendable(at.response, limits)
        return measured, np.log(likely)

    def _whitened(self, steps: Array) -> Array:
        return np.asarray(self.best + steps @ self.square_root_cov.T)


def _wander(posterior: _Posterior, steps: Array, rng: np.random.Generator) -> Array:
    """Let resampled draws wander over the posterior, so that copies of a few become many again.

    Metropolis steps that keep the normal approximation (preconditioned Crank-Nicolson; Cotter,
    Roberts, Stuart and White, Statistical Science 28 (2013) 424-446, from memory). With five rolls
    the weights alone leave 10 to 50 of 2,000 draws.
    """
    level = np.sum(posterior.log_ratio(steps), axis=0)
    for _ in range(_WANDERINGS):
        tried = np.sqrt(1.0 - _STRIDE**2) * steps + _STRIDE * rng.standard_normal(steps.shape)
        tried_level = np.sum(posterior.log_ratio(tried), axis=0)
        accepted = np.log(rng.random(len(steps))) < tried_level - level
        steps = np.where(accepted[:, None], tried, steps)
        level = np.where(accepted, tried_level, level)
    return steps


@dataclass(frozen=True, eq=False)
class _At:
    response: Array  # (N, 27)
    design: Array  # (N, 4)
    pinion_thou: Array  # (N, T)
    ring_thou: Array  # (N, T)


def _unpack(evidence: Evidence, theta: Array) -> _At:
    made = np.broadcast_to(evidence.moves_thou, (len(theta), evidence.rolls, 2)).copy()
    made[:, 0] += theta[:, _POSITION]
    made[:, 1:] += theta[:, _FIXED:].reshape(len(theta), evidence.rolls - 1, 2)
    place = np.cumsum(made, axis=1)
    return _At(theta[:, _RESPONSE], theta[:, _DESIGN], place[:, :, 0], place[:, :, 1])


def _prior(evidence: Evidence, response: Response) -> tuple[Array, Array]:
    size = _FIXED + 2 * (evidence.rolls - 1)
    mean = np.zeros(size)
    mean[_DESIGN] = evidence.design
    mean[_RESPONSE] = response.mean
    cov = np.diag(np.full(size, _MOVE_SD_THOU**2))
    cov[_POSITION, _POSITION] = np.diag(np.square(_START_SD_THOU))
    cov[_DESIGN, _DESIGN] = np.diag(evidence.design_sd**2)
    cov[_RESPONSE, _RESPONSE] = response.cov
    # a move of nothing is made exactly
    moved = np.abs(evidence.moves_thou[1:].ravel()) > 0
    still = _FIXED + np.flatnonzero(~moved)
    cov[still, still] = 1e-6
    return mean, np.asarray(np.linalg.cholesky(cov + 1e-12 * np.eye(size)), dtype=float)


def _residuals(evidence: Evidence, theta: Array) -> Array:
    at = _unpack(evidence, theta)
    response = at.response[:, None, :]
    place, extent = seen(
        response, centres(response, at.design[:, None, :], at.pinion_thou, at.ring_thou)
    )
    backlash = backlash_thou(response, at.pinion_thou, at.ring_thou)
    parts = (
        (evidence.centre - place) / evidence.centre_sd,
        (evidence.extent - extent) / evidence.extent_sd,
        ((evidence.backlash_thou - backlash) / evidence.backlash_sd_thou)[..., None],
    )
    flat = np.concatenate(parts, axis=2).reshape(len(theta), -1)
    return np.where(np.isfinite(flat), flat, 0.0)  # nothing measured, nothing said


def _climb(evidence: Evidence, mean: Array, root: Array) -> tuple[Array, Array]:
    """Best whitened parameters and a square root of their covariance, by Levenberg-Marquardt."""
    size = len(mean)
    z, damping = np.zeros(size), 1e-2
    step = 1e-4
    residual = _residuals(evidence, mean[None])[0]
    cost = float(residual @ residual)
    for _ in range(40):
        shifted = _residuals(evidence, mean + (z + step * np.eye(size)) @ root.T)
        jacobian = (shifted - residual).T / step
        normal = jacobian.T @ jacobian + np.eye(size)
        gradient = jacobian.T @ residual + z
        improved = False
        for _ in range(8):
            delta = -np.linalg.solve(normal + damping * np.diag(np.diag(normal)), gradient)
            trial = _residuals(evidence, (mean + root @ (z + delta))[None])[0]
            trial_cost = float(trial @ trial + (z + delta) @ (z + delta))
            if trial_cost < cost:
                improved = True
                break
            damping *= 5.0
        if not improved:
            break
        gain = cost - trial_cost
        z, residual, cost, damping = z + delta, trial, trial_cost, damping * 0.2
        if gain < 1e-4:
            break
    shifted = _residuals(evidence, mean + (z + step * np.eye(size)) @ root.T)
    jacobian = (shifted - residual).T / step
    normal = jacobian.T @ jacobian + np.eye(size)
    return z, np.asarray(np.linalg.inv(np.linalg.cholesky(normal)).T)


def _resample(weight: Array, count: int) -> NDArray[np.intp]:
    """Systematic resampling: `count` indices in proportion to `weight`."""
    edges = np.cumsum(weight / weight.sum())
    edges[-1] = 1.0
    return np.searchsorted(edges, (np.arange(count) + 0.5) / count)
