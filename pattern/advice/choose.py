"""Choose the move that most likely ends right, by expected loss over the draws of the estimate and by experience.

A move is judged on every draw: where the marks would lie against the place they are meant for, and
whether the backlash would stay inside its limits. Only moves that shims can make are looked at, and
a pinion move must earn its price, because the pinion bearing has to be pressed off for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

from pattern.advice.estimate import Fit
from pattern.advice.experience import Experience
from pattern.advice.marks import GOOD_ENOUGH, RIGHT, backlash_thou, centres, cut
from pattern.advice.shims import Reach

Array = NDArray[np.float64]

_COARSE_THOU = 3.0
_MOVE_SD_THOU = 0.5
# of the loss that a hopeless set has: pressing the bearing off is the dear step. In the closed loop
# twice this price saved 0.05 more pinion moves a set and cost 0.13 more rolls
_PINION_PRICE = 0.15
# what a pinion move is weighed against: where no move is likely right, a miss costs many rolls, not one
_FULL_PRICE_CHANCE = 0.7
_BACKLASH_SOFT_THOU = 0.1
_SOFT = 0.15  # of the tolerance, over which success fades
_PULL = 0.005
_TRUST = 0.4  # in experience's chances, the rest in the draws'
_FEWEST = 40  # draws that still tell something
_CLEAR_ERROR_THOU = 4.0
# the first pinion move is a promise, least known where the tooth system is not told (12 let 2 of 315 such
# jobs go wrong, 25 one, 50 none and cost 0.02 of the first moves that end right); later a move that tells
# the hypotheses apart is worth a risk
_WRONG_WAY_PRICE_UNTOLD, _WRONG_WAY_PRICE_FIRST, _WRONG_WAY_PRICE = 50.0, 12.0, 1.5


@dataclass(frozen=True, eq=False)
class Belief:
    """Equally weighted draws of the set as it stands now, over all hypotheses.

    `pinion_thou`, `ring_thou` (N,), `response` (N, 27), `design` and `edge_half` (N, 4) as in `Answers`; `uniform` (N,) tells the
    draws that hold the set to be of uniform depth. `far` are chances that the pinion stands clearly too deep and
    clearly too shallow, where more than the draws say so: weighing them must not hide a doubt of the direction.
    `known` is what experience says, `not_right` that the set is taken not to be right as it stands.
    """

    pinion_thou: Array
    ring_thou: Array
    response: Array
    design: Array
    edge_half: Array
    uniform: NDArray[np.bool_]
    far: tuple[float, float] = (0.0, 0.0)
    known: Experience | None = None
    not_right: bool = False


@dataclass(frozen=True)
class Limits:
    """What a move is judged by: backlash limits, the sides' weight (drive, coast), a first move or not.

    `told` says whether the tooth system is known, and with it which way the pinion takes the marks.
    """

    low_thou: float
    high_thou: float
    weights: tuple[float, float] = (1.0, 1.0)
    first: bool = True
    told: bool = True


@dataclass(frozen=True)
class Choice:
    """A move in thousandths, the chance of being right after it, and of being good enough."""

    pinion_thou: float
    ring_thou: float
    loss: float
    chance_right: float
    chance_good: float
    chance_backlash: float


def shares(fits: Sequence[Fit]) -> Array:
    """Probability of each hypothesis, (n,)."""
    log = np.array([f.log_evidence + np.log(f.hypothesis.prior) for f in fits])
    share = np.exp(log - log.max())
    return np.asarray(share / share.sum())


def mix(fits: Sequence[Fit], draws: int = 1200) -> tuple[Belief, tuple[float, ...]]:
    """Join fitted hypotheses in proportion to their probability; also return the probabilities."""
    share = shares(fits)
    picks = []
    for f, p in zip(fits, share, strict=True):
        count = round(float(p) * draws)
        picks.append(np.linspace(0, len(f.pinion_thou) - 1, count).astype(int))
    parts = list(zip(fits, picks, strict=True))
    belief = Belief(
        np.concatenate([f.pinion_thou[at] for f, at in parts]),
        np.concatenate([f.ring_thou[at] for f, at in parts]),
        np.concatenate([f.response[at] for f, at in parts]),
        np.concatenate([f.design[at] for f, at in parts]),
        np.concatenate([f.edge_half[at] for f, at in parts]),
        np.concatenate([np.full(len(at), f.hypothesis.system == "uniform") for f, at in parts]),
    )
    return belief, tuple(float(p) for p in share)


def offsets(
    belief: Belief, moves_thou: Array, noise_thou: float = _MOVE_SD_THOU
) -> tuple[Array, Array]:
    """Marks' distances from their place (N, K, 4) and backlash (N, K) after moves (K, 2)."""
    jitter = noise_thou * np.random.default_rng(11).standard_normal((len(belief.pinion_thou), 1, 2))
    made = moves_thou[None] + jitter * (np.abs(moves_thou[None]) > 0)
    pinion = belief.pinion_thou[:, None] + made[..., 0]
    ring = belief.ring_thou[:, None] + made[..., 1]
    response = belief.response[:, None, :]
    place = centres(response, belief.design[:, None, :], pinion, ring)
    shown, _ = cut(place, belief.edge_half[:, None, :])
    return shown - belief.design[:, None, :], backlash_thou(response, pinion, ring)


def ends_right(belief: Belief, moves_thou: Array, limits: Limits) -> NDArray[np.bool_]:
    """Whether a draw ends right with a move, (N, K)."""
    off, backlash = offsets(belief, moves_thou)
    inside = (backlash >= limits.low_thou) & (backlash <= limits.high_thou)
    return np.asarray(np.all(np.abs(off) <= RIGHT, axis=2) & inside)


def judge(belief: Belief, moves_thou: Array, limits: Limits) -> tuple[Array, Array, Array, Array]:
    """Loss, chance right, chance good enough, chance of backlash inside, each (K,).

    Experience says nothing of how the sides weigh, nor of backlash by itself: there the draws decide alone, and
    being good enough it knows of all sets only, right now or not.
    """
    off, backlash = offsets(belief, moves_thou)
    inside = (backlash >= limits.low_thou) & (backlash <= limits.high_thou)
    right = np.all(np.abs(off) <= RIGHT, axis=2) & inside
    good = np.all(np.abs(off) <= GOOD_ENOUGH, axis=2) & inside
    weight = np.repeat(np.asarray(limits.weights), 2)
    share = np.sqrt(weight) * np.abs(off) / RIGHT
    outside = np.maximum(limits.low_thou - backlash, backlash - limits.high_thou)
    success = expit((1.0 - share.max(axis=2)) / _SOFT) * expit(-outside / _BACKLASH_SOFT_THOU)
    # far from right every move fails alike: the squared miss then says which way is better
    miss = np.sum(share**2, axis=2) + np.maximum(outside, 0.0) / _BACKLASH_SOFT_THOU
    chances = [part.mean(axis=0) for part in (success, right, good)]
    held = inside.mean(axis=0)
    if belief.known is not None:
        learnt = belief.known.right(moves_thou, now_too=not belief.not_right)
        heard = (learnt, learnt, belief.known.good(moves_thou))
        both = [(1.0 - _TRUST) * c + _TRUST * h for c, h in zip(chances, heard, strict=True)]
        # none is right with its backlash outside, and of that the draws know most: it was measured
        chances = [np.minimum(chance, held) for chance in both]
    loss = 1.0 - chances[0] + _PULL * np.minimum(miss, 200.0).mean(axis=0)
    # a pinion taken the wrong way is the dearest mistake: twice pressed, and further off than before
    deep, shallow = far(belief)
    pinion = moves_thou[:, 0]
    wrong_way = np.where(pinion > 0, deep, np.where(pinion < 0, shallow, 0.0))
    loss += _wrong_way_price(limits) * wrong_way
    return loss, chances[1], chances[2], held


def far(belief: Belief) -> tuple[float, float]:
    """Chances that the pinion stands clearly too deep, and clearly too shallow."""
    deep = float(np.mean(belief.pinion_thou > _CLEAR_ERROR_THOU))
    shallow = float(np.mean(belief.pinion_thou < -_CLEAR_ERROR_THOU))
    return max(deep, belief.far[0]), max(shallow, belief.far[1])


def choose(belief: Belief, limits: Limits, reach: Reach) -> Choice:
    """The move of least expected loss that shims can make; the ring gear alone where that serves.

    A move is only made on a set that is not right as it stands, so it is sized on those draws alone:
    `belief` should come from `if_not_right`. Judge it on the whole belief with `judged`. A move of
    nothing comes back only where nothing else can be made: staying cannot make a wrong set right.
    """
    alone = _search(belief, limits, np.zeros(1), reach.ring_thou)
    both = _search(belief, limits, reach.pinion_thou, reach.ring_thou)
    return both if both.loss + _pinion_price(both, limits) < alone.loss else alone


def _wrong_way_price(limits: Limits) -> float:
    if not limits.first:
        return _WRONG_WAY_PRICE
    return _WRONG_WAY_PRICE_FIRST if limits.told else _WRONG_WAY_PRICE_UNTOLD


def _pinion_price(both: Choice, limits: Limits) -> float:
    """In full for a first move, which has better ones after it; later in proportion to the chance of ending right."""
    if limits.first:
        return _PINION_PRICE
    return _PINION_PRICE * min(1.0, both.chance_right / _FULL_PRICE_CHANCE)


def if_not_right(belief: Belief, limits: Limits) -> Belief:
    """The draws on which the set is not right as it stands; all of them where hardly any is left."""
    wrong = ~ends_right(belief, np.zeros((1, 2)), limits)[:, 0]
    some = picked(belief, np.flatnonzero(wrong)) if wrong.sum() >= _FEWEST else belief
    return replace(some, not_right=True)


def judged(belief: Belief, limits: Limits, move: Choice) -> Choice:
    """The same move with its loss and chances over another belief."""
    return _choice(belief, limits, np.array([[move.pinion_thou, move.ring_thou]]))


def stay(belief: Belief, limits: Limits) -> Choice:
    """The set as it stands, judged like a move of nothing."""
    return _choice(belief, limits, np.zeros((1, 2)))


def _search(belief: Belief, limits: Limits, pinion: Array, ring: Array) -> Choice:
    grid = _grid(_every(pinion, _COARSE_THOU), _every(ring, _COARSE_THOU))
    loss = judge(thinned(belief, 150), grid, limits)[0]
    near = [
        _grid(_around(pinion, start[0]), _around(ring, start[1]))
        for start in grid[np.argsort(loss)[:3]]
    ]
    made = np.unique(np.concatenate(near), axis=0)
    some = made[np.any(made != 0.0, axis=1)]
    return _choice(belief, limits, some if len(some) else made)


def _every(moves: Array, spacing: float) -> Array:
    """Of the moves that can be made, those nearest to a coarse net, and zero."""
    net = np.arange(np.ceil(moves[0] / spacing), np.floor(moves[-1] / spacing) + 1) * spacing
    nearest = np.abs(moves[:, None] - np.append(net, 0.0)).argmin(axis=0)
    return np.asarray(moves[np.unique(nearest)])


def _around(moves: Array, start: float) -> Array:
    near = np.abs(moves - start) < _COARSE_THOU - 0.5
    return moves[near]


def _choice(belief: Belief, limits: Limits, moves: Array) -> Choice:
    loss, right, good, inside = judge(belief, moves, limits)
    k = int(np.argmin(loss))
    return Choice(
        float(moves[k, 0]), float(moves[k, 1]), float(loss[k]),
        float(right[k]), float(good[k]), float(inside[k]),
    )  # fmt: skip


def _grid(pinion: Array, ring: Array) -> Array:
    return np.stack(np.meshgrid(pinion, ring, indexing="ij"), axis=-1).reshape(-1, 2)


def thinned(belief: Belief, count: int) -> Belief:
    """About `count` of the draws, evenly picked."""
    return picked(belief, np.linspace(0, len(belief.pinion_thou) - 1, count).astype(int))


def picked(belief: Belief, at: NDArray[np.intp]) -> Belief:
    """Some of the draws, or some more than once."""
    return Belief(
        belief.pinion_thou[at], belief.ring_thou[at], belief.response[at], belief.design[at],
        belief.edge_half[at], belief.uniform[at], belief.far, belief.known, belief.not_right,
    )  # fmt: skip
