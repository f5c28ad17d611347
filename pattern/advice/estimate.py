"""Fit everything unknown about the set to all rolls at once, and keep the whole spread.

Unknown: where pinion and ring gear stand, the place the marks are meant for, the set's answer to
moves (the numbers of an account, `accounts`), and how exactly each move was made. All rolls teach all of them.
Maximum a posteriori by Levenberg-Marquardt on whitened parameters, then draws from the normal
approximation there, weighted back to the true posterior (importance sampling), so that edges of
the tooth and unknown gains do not distort the spread, and moved on from there by Metropolis steps, so
that no few draws stand for all. The same weights give each hypothesis
(tooth system, a move recorded with the wrong sign) its probability.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pattern.advice.accounts import Account, View
from pattern.advice.evidence import Evidence
from pattern.advice.plausible import mendable, went_on
from pattern.advice.response import System

Array = NDArray[np.float64]

# a set comes to the bench anywhere within 0.015 in; seldom further off, and how far fades slowly
_START_THOU, _START_FADES_THOU, _START_SD_THOU = 15.0, 2.0, 30.0
_MOVE_SD_THOU = 0.5
_POSITION, _MOVES = slice(0, 2), 2
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
    `design` and `edge_half` (N, 4) are as in `Answers`. `misfit` is the sum of squared residuals of `measured` numbers and the prior.
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
    edge_half: Array
    posterior: _Posterior
    steps: Array


def fit(evidence: Evidence, account: Account, hypothesis: Hypothesis, *, draws: int = 2000) -> Fit:
    """Fit one hypothesis. Deterministic: the draws come from a fixed seed."""
    if hypothesis.flipped:
        moves = evidence.moves_thou.copy()
        for at_roll, member in hypothesis.flipped:
            moves[at_roll, member] *= -1.0
        evidence = replace(evidence, moves_thou=moves)
    mean, root = _prior(evidence, account)
    known = _Known(evidence, account)
    best, square_root_cov = _climb(known, mean, root)
    posterior = _Posterior(known, mean, root, best, square_root_cov, hypothesis.sound)
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
    kept = steps[resampled(weight, min(_KEPT, draws))]
    final = known.residuals((mean + root @ best)[None])[0]
    return Fit(
        hypothesis=hypothesis,
        log_evidence=log_evidence,
        misfit=float(final @ final + best @ best),
        measured=evidence.measured,
        posterior=posterior,
        steps=kept,
        **posterior.told(kept),
    )


def settled(found: Fit) -> Fit:
    """The same hypothesis with its draws moved on over the posterior, so that no few stand for all."""
    steps = _wander(found.posterior, found.steps, np.random.default_rng(8))
    return replace(found, steps=steps, **found.posterior.told(steps))


@dataclass(frozen=True, eq=False)
class _Known:
    """What the job measured, seen through an account; parameters are position, move errors, its own."""

    evidence: Evidence
    account: Account

    def places(self, theta: Array) -> tuple[Array, Array]:
        """Pinion and ring gear at each roll, (N, T)."""
        rolls = self.evidence.rolls
        made = np.broadcast_to(self.evidence.moves_thou, (len(theta), rolls, 2)).copy()
        made[:, 0] += theta[:, _POSITION]
        made[:, 1:] += theta[:, _MOVES : 2 * rolls].reshape(len(theta), rolls - 1, 2)
        place = np.cumsum(made, axis=1)
        return place[:, :, 0], place[:, :, 1]

    def own(self, theta: Array) -> Array:
        """The account's numbers, (N, K)."""
        return theta[:, 2 * self.evidence.rolls :]

    def view(self, theta: Array) -> View:
        return self.account.view(self.own(theta), *self.places(theta))

    def residuals(self, theta: Array) -> Array:
        return self.missed(self.view(theta), theta)

    def missed(self, view: View, theta: Array) -> Array:
        """Residuals (N, m) in standard deviations; nothing measured, nothing said."""
        evidence = self.evidence
        off = (evidence.backlash_thou - view.backlash_thou) / evidence.backlash_sd_thou
        parts = (
            (evidence.centre - view.place) / evidence.centre_sd,
            (evidence.extent - view.extent) / evidence.extent_sd,
            off[..., None],
        )
        flat = np.concatenate(parts, axis=2).reshape(len(off), -1)
        beyond = np.maximum(np.abs(theta[:, _POSITION]) - _START_THOU, 0.0) / _START_FADES_THOU
        said = np.where(np.isfinite(flat), flat, 0.0)
        return np.concatenate([said, beyond, view.beside], axis=1)


@dataclass(frozen=True, eq=False)
class _Posterior:
    """The posterior in steps from its normal approximation: parameters are mean + root (best + S u)."""

    known: _Known
    mean: Array
    root: Array
    best: Array
    square_root_cov: Array
    sound: bool

    def told(self, steps: Array) -> dict[str, Any]:
        """The draws at the last roll, as the fields of `Fit`."""
        theta = self._theta(self._whitened(steps))
        pinion, ring = self.known.places(theta)
        answers = self.known.account.answers(self.known.own(theta))
        return {
            "pinion_thou": pinion[:, -1], "ring_thou": ring[:, -1], "response": answers.response,
            "design": answers.design, "edge_half": answers.edge_half,
        }  # fmt: skip

    def log_ratio(self, steps: Array) -> tuple[Array, Array]:
        """Log of posterior over normal approximation at steps (N, n): by measurements, by the job."""
        z = self._whitened(steps)
        theta, limits = self._theta(z), self.known.evidence.limits_thou
        view = self.known.view(theta)
        energy = 0.5 * np.sum(self.known.missed(view, theta) ** 2, axis=1)
        measured = 0.5 * np.sum(steps**2, axis=1) - energy - 0.5 * np.sum(z**2, axis=1)
        likely = went_on(view, limits)
        if self.sound:
            likely = likely * mendable(view, limits)
        return measured, np.log(likely)

    def _whitened(self, steps: Array) -> Array:
        return np.asarray(self.best + steps @ self.square_root_cov.T)

    def _theta(self, z: Array) -> Array:
        return np.asarray(self.mean + z @ self.root.T)


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


def _prior(evidence: Evidence, account: Account) -> tuple[Array, Array]:
    own_mean, own_cov = account.prior()
    job = 2 * evidence.rolls
    mean = np.concatenate([np.zeros(job), own_mean])
    cov = np.zeros((len(mean), len(mean)))
    # a move of nothing is made exactly
    moved = np.abs(evidence.moves_thou[1:].ravel()) > 0
    jobs_own = np.concatenate(
        [np.full(2, _START_SD_THOU**2), np.where(moved, _MOVE_SD_THOU**2, 1e-6)]
    )
    cov[:job, :job] = np.diag(jobs_own)
    cov[job:, job:] = own_cov
    return mean, np.asarray(np.linalg.cholesky(cov + 1e-12 * np.eye(len(mean))), dtype=float)


def _climb(known: _Known, mean: Array, root: Array) -> tuple[Array, Array]:
    """Best whitened parameters and a square root of their covariance, by Levenberg-Marquardt."""
    size = len(mean)
    z, damping = np.zeros(size), 1e-2
    step = known.account.step
    residual = known.residuals(mean[None])[0]
    cost = float(residual @ residual)
    for _ in range(40):
        shifted = known.residuals(mean + (z + step * np.eye(size)) @ root.T)
        jacobian = (shifted - residual).T / step
        normal = jacobian.T @ jacobian + np.eye(size)
        gradient = jacobian.T @ residual + z
        improved = False
        for _ in range(8):
            delta = -np.linalg.solve(normal + damping * np.diag(np.diag(normal)), gradient)
            trial = known.residuals((mean + root @ (z + delta))[None])[0]
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
    shifted = known.residuals(mean + (z + step * np.eye(size)) @ root.T)
    jacobian = (shifted - residual).T / step
    normal = jacobian.T @ jacobian + np.eye(size)
    return z, np.asarray(np.linalg.inv(np.linalg.cholesky(normal)).T)


def resampled(weight: Array, count: int) -> NDArray[np.intp]:
    """Systematic resampling: `count` indices in proportion to `weight`."""
    edges = np.cumsum(weight / weight.sum())
    edges[-1] = 1.0
    return np.searchsorted(edges, (np.arange(count) + 0.5) / count)
