"""Weigh the estimate's draws by experience, so that both speak with one voice.

The draws explain a set; experience says of every move how likely it ends right, and knows sets that no account
covers. A draw that ends right where experience says so counts more: the weights are those with which the draws
come nearest, by the likelihood of Richardson and Lucy's iteration (Richardson 1972, Lucy 1974, from memory), to what
is said of all moves at once. Everything after it, the move, its chance, what the next roll should show, rests on
the weighed draws.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pattern.advice.choose import Belief, Limits, ends_right, far, picked, thinned
from pattern.advice.estimate import resampled
from pattern.advice.experience import Experience

Array = NDArray[np.float64]

_REACH_THOU = 20
_WORTH = 0.004  # a chance below it says nothing
_FEW = 150
_TURNS = 8
_TRUST = 0.5  # the draws keep half their say; what they then say has its part in each chance besides (`choose`)
_LEAST = 1e-4
_TOO_FEW = 0.125  # of the draws, that would stand for all of them


def weighed(belief: Belief, limits: Limits, known: Experience | None) -> Belief:
    """The draws in proportion to their weights; as they are where experience has nothing to say."""
    if known is None:
        return belief
    moves = _asked(belief, limits, known)
    right = ends_right(belief, moves, limits)
    share = _shares(right.astype(np.float32), known.right(moves, now_too=True))
    # next to no draw does as it says: this set is none that it knows
    if 1.0 / np.sum(share**2) < _TOO_FEW * len(share):
        return belief
    doubt = [max(pair) for pair in zip(far(belief), known.clear, strict=True)]
    return replace(
        picked(belief, resampled(share, len(share))), far=(doubt[0], doubt[1]), known=known
    )


def _asked(belief: Belief, limits: Limits, known: Experience) -> Array:
    """Moves (m, 2) that either may call right: every thousandth where experience does, else every other."""
    steps = np.arange(-_REACH_THOU, _REACH_THOU + 1.0)
    net = np.stack(np.meshgrid(steps, steps, indexing="ij"), axis=-1).reshape(-1, 2)
    coarse = net[np.all(net % 2 == 0, axis=1)]
    by_draws = coarse[ends_right(thinned(belief, _FEW), coarse, limits).any(axis=0)]
    by_experience = net[known.right(net, now_too=True) > _WORTH]
    return np.unique(np.concatenate([by_experience, by_draws]), axis=0)


def _shares(right: NDArray[np.float32], said: Array) -> Array:
    """Weights (n,) of draws that end right (n, m) with which the chances of moves come near `said` (m,)."""
    count = right.sum(axis=1)
    aim = (_TRUST * said + (1.0 - _TRUST) * right.mean(axis=0)).astype(np.float32)
    share = np.full(len(right), 1.0 / len(right), dtype=np.float32)
    for _ in range(_TURNS):
        ratio = aim / np.maximum(share @ right, _LEAST)
        share = share * np.where(count > 0, (right @ ratio) / np.maximum(count, 1), 1.0)
        share /= share.sum()
    return share.astype(np.float64)
