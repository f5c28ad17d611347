"""Exact search for the shim stack that comes nearest to a thickness with the fewest pieces.

Thicknesses are whole numbers of a small step here, so that sums are exact. One stack is a bounded
knapsack solved by dynamic programming over the total. Two stacks that draw on the same stock are
solved by branch and bound over which side gets the scarce pieces; the bound is the pair of
single-stack solutions, so the first pair that the stock can supply is the best one.
"""

from __future__ import annotations

import heapq
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import count

import numpy as np
from numpy.typing import NDArray

OUT_OF_REACH = np.iinfo(np.int32).max // 2


@dataclass(frozen=True, eq=False)
class Totals:
    """Fewest pieces for every total from 0 to `len(pieces) - 1` steps; OUT_OF_REACH where none.

    `sizes` are in steps. `taken[g]` says at which totals the group `groups[g]` (size index, number
    of pieces) is part of the best stack made of the groups up to g.
    """

    sizes: tuple[int, ...]
    pieces: NDArray[np.int32]
    groups: tuple[tuple[int, int], ...]
    taken: tuple[NDArray[np.bool_], ...]

    def counts_at(self, total: int) -> tuple[int, ...]:
        """How many of each size make `total` with the fewest pieces."""
        used = [0] * len(self.sizes)
        for (index, number), taken in zip(reversed(self.groups), reversed(self.taken), strict=True):
            if taken[total]:
                used[index] += number
                total -= number * self.sizes[index]
        return tuple(used)


def all_totals(sizes: Sequence[int], counts: Sequence[int], top: int) -> Totals:
    """Every total up to `top` steps that the stock can make, with its fewest pieces.

    Groups of 1, 2, 4 ... pieces stand for a count, so that a deep stock costs only its logarithm.
    """
    pieces = np.full(top + 1, OUT_OF_REACH, dtype=np.int32)
    pieces[0] = 0
    groups: list[tuple[int, int]] = []
    taken: list[NDArray[np.bool_]] = []
    for index, (size, stock) in enumerate(zip(sizes, counts, strict=True)):
        left = min(stock, top // size)
        number = 1
        while left > 0:
            number = min(number, left)
            step = number * size
            better = np.zeros(top + 1, dtype=np.bool_)
            with_group = pieces[:-step] + number if step <= top else pieces[:0]
            better[step:] = with_group < pieces[step:]
            pieces = pieces.copy()
            pieces[step:][better[step:]] = with_group[better[step:]]
            groups.append((index, number))
            taken.append(better)
            left -= number
            number *= 2
    return Totals(tuple(sizes), pieces, tuple(groups), tuple(taken))


def nearest_counts(sizes: Sequence[int], counts: Sequence[int], wanted: float) -> tuple[int, ...]:
    """Numbers of each size whose total comes nearest to `wanted` steps; fewest pieces on a tie.

    On a tie of both the thinner total is taken. A total above ``wanted + max(sizes)`` is never
    nearest, because it stays above after one piece is removed.
    """
    totals = all_totals(sizes, counts, _top(sizes, wanted))
    reach = np.flatnonzero(totals.pieces < OUT_OF_REACH)
    error = np.abs(reach - wanted)
    best = reach[np.lexsort((reach, totals.pieces[reach], np.round(error, 6)))[0]]
    return totals.counts_at(int(best))


def _top(sizes: Sequence[int], wanted: float) -> int:
    return int(np.ceil(max(wanted, 0.0))) + max(sizes)


# --- two stacks from one stock ----------------------------------------------------------------


@dataclass(order=True)
class _Branch:
    key: tuple[float, float, int]
    order: int
    left_stock: tuple[int, ...] = field(compare=False)
    right_stock: tuple[int, ...] = field(compare=False)
    left: tuple[int, ...] = field(compare=False)
    right: tuple[int, ...] = field(compare=False)


def nearest_pair(
    sizes: Sequence[int], counts: Sequence[int], wanted: tuple[float, float]
) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Two stacks from one stock, nearest to `wanted` (left, right) steps.

    With e the error of a side, the pair has the least ``|e_left + e_right| + |e_right - e_left|/2``
    (what is lost of the sum, which is preload, and of the position), then the least error of the
    sum, then the fewest pieces.
    """
    stock = tuple(counts)
    ticket = count()
    queue = [_solve(sizes, wanted, stock, stock, next(ticket))]
    while True:
        branch = heapq.heappop(queue)
        over = [
            index
            for index, limit in enumerate(stock)
            if branch.left[index] + branch.right[index] > limit
        ]
        if not over:
            return branch.left, branch.right
        for left_stock, right_stock in _split(branch, stock, over[0]):
            queue.append(_solve(sizes, wanted, left_stock, right_stock, next(ticket)))
        heapq.heapify(queue)


def _split(
    branch: _Branch, stock: tuple[int, ...], index: int
) -> list[tuple[tuple[int, ...], tuple[int, ...]]]:
    """Two halves that together hold every pair the stock can supply, and not the over-drawn one.

    Either the left side takes fewer of the scarce size than now, or at least as many, and then the
    right side has only the rest.
    """
    fewer = branch.left[index] - 1
    rest = stock[index] - branch.left[index]
    halves = []
    if fewer >= 0:
        halves.append((_with(branch.left_stock, index, fewer), branch.right_stock))
    halves.append((branch.left_stock, _with(branch.right_stock, index, max(rest, 0))))
    return halves


def _with(stock: tuple[int, ...], index: int, number: int) -> tuple[int, ...]:
    return (*stock[:index], min(stock[index], number), *stock[index + 1 :])


def _solve(
    sizes: Sequence[int],
    wanted: tuple[float, float],
    left_stock: tuple[int, ...],
    right_stock: tuple[int, ...],
    order: int,
) -> _Branch:
    """The best pair when each side has a stock of its own."""
    bound = 1.5 * (_miss(sizes, left_stock, wanted[0]) + _miss(sizes, right_stock, wanted[1]))
    left = all_totals(sizes, left_stock, int(np.ceil(wanted[0] + bound)))
    right = all_totals(sizes, right_stock, int(np.ceil(wanted[1] + bound)))
    left_at, right_at = _within(left, wanted[0], bound), _within(right, wanted[1], bound)
    error_left, error_right = (left_at - wanted[0])[:, None], (right_at - wanted[1])[None, :]
    lost_sum = np.round(np.abs(error_left + error_right), 6)
    cost = np.round(lost_sum + np.abs(error_right - error_left) / 2, 6)
    rows, columns = np.nonzero(cost == cost.min())
    tied_sum = lost_sum[rows, columns]
    tied_pieces = left.pieces[left_at[rows]] + right.pieces[right_at[columns]]
    best = np.lexsort((tied_pieces, tied_sum))[0]
    return _Branch(
        key=(float(cost.min()), float(tied_sum[best]), int(tied_pieces[best])),
        order=order,
        left_stock=left_stock,
        right_stock=right_stock,
        left=left.counts_at(int(left_at[rows[best]])),
        right=right.counts_at(int(right_at[columns[best]])),
    )


def _miss(sizes: Sequence[int], stock: Sequence[int], wanted: float) -> float:
    counts = nearest_counts(sizes, stock, wanted)
    return abs(sum(n * s for n, s in zip(counts, sizes, strict=True)) - wanted)


def _within(totals: Totals, wanted: float, bound: float) -> NDArray[np.int64]:
    """Totals no further than `bound` from `wanted`: one side's error never exceeds the pair's cost."""
    at: NDArray[np.int64] = np.flatnonzero(totals.pieces < OUT_OF_REACH).astype(np.int64)
    near: NDArray[np.int64] = at[np.abs(at - wanted) <= bound + 1e-6]
    return near
