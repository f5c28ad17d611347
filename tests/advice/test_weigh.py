"""Draws of the estimate weighed by experience: one voice, and no doubt of the direction hidden."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pattern.advice.choose import (
    Belief,
    Limits,
    ends_right,
    far,
    if_not_right,
    judge,
    picked,
    thinned,
)
from pattern.advice.correction import believe, fits, settle
from pattern.advice.evidence import gather
from pattern.advice.experience import BUMPS, Experience
from pattern.advice.response import BACKLASH, DIRECTION, HALF, HOUSING, documented_response
from pattern.advice.weigh import weighed
from tests.advice.cases import axle, roll

LIMITS = Limits(6.0, 10.0)


@dataclass(frozen=True, eq=False)
class Says(Experience):
    """Experience that calls right what some draws call right."""

    like: Belief | None = None

    def right(
        self, moves_thou: NDArray[np.float64], *, now_too: bool = False
    ) -> NDArray[np.float64]:
        assert self.like is not None
        return np.asarray(ends_right(self.like, moves_thou, LIMITS).mean(axis=0))


def says(like: Belief, clear: tuple[float, float] = (0.0, 0.0)) -> Says:
    return Says(np.zeros((3, BUMPS, 6)), clear, like)


def belief(pinion: NDArray[np.float64]) -> Belief:
    """Draws of one sound set whose pinion stands at `pinion`."""
    count = len(pinion)
    response = documented_response(axle(), "tapered").mean[None].repeat(count, axis=0)
    response[:, HOUSING], response[:, HALF] = 0.0, np.log(0.3)
    response[:, BACKLASH.start] = 8.0
    assert response[:, DIRECTION].any()
    return Belief(
        pinion, 0.45 * pinion, response, np.full((count, 4), 0.5), np.full((count, 4), 0.3),
        np.zeros(count, dtype=bool),
    )  # fmt: skip


def test_draws_that_end_right_where_experience_says_so_count_more() -> None:
    both = belief(np.concatenate([np.full(200, 6.0), np.full(200, -6.0)]))
    deep = belief(np.full(50, 6.0))
    assert np.mean(weighed(both, LIMITS, says(deep)).pinion_thou > 0) > 0.6


def test_experience_that_says_what_the_draws_say_changes_nothing() -> None:
    spread = belief(np.linspace(-8.0, 8.0, 321))
    after = weighed(spread, LIMITS, says(spread))
    assert abs(np.mean(after.pinion_thou)) < 0.3
    assert abs(np.std(after.pinion_thou) - np.std(spread.pinion_thou)) < 0.3


def test_where_experience_says_nothing_the_draws_stay_as_they_are() -> None:
    spread = belief(np.linspace(-8.0, 8.0, 33))
    assert weighed(spread, LIMITS, None) is spread


def test_a_doubt_of_the_direction_is_never_weighed_away() -> None:
    # a wrong direction is the worst outcome: one draw in ten held the pinion too deep
    doubtful = belief(np.concatenate([np.full(40, 6.0), np.full(360, -6.0)]))
    shallow = belief(np.full(50, -6.0))
    after = weighed(doubtful, LIMITS, says(shallow))
    assert np.mean(after.pinion_thou > 0) < 0.1
    assert far(after)[0] >= 0.1
    warned = weighed(shallow, LIMITS, says(shallow, clear=(0.2, 0.7)))
    assert far(warned)[0] == 0.2


@dataclass(frozen=True, eq=False)
class Sure(Experience):
    """Experience with one chance for all moves, another for sets that are not right now."""

    def right(
        self, moves_thou: NDArray[np.float64], *, now_too: bool = False
    ) -> NDArray[np.float64]:
        return np.full(len(moves_thou), 0.25 if now_too else 0.75)

    def good(self, moves_thou: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.full(len(moves_thou), 1.0)


SURE = Sure(np.zeros((3, BUMPS, 6)), (0.0, 0.0))


def test_experience_has_its_say_in_every_chance() -> None:
    # draws that never end right there: what is left is what experience says, of all sets or of those not right now
    far_off = replace(belief(np.full(60, 12.0)), known=SURE)
    move = np.array([[-3.0, -1.0]])
    _, right, good, _ = judge(far_off, move, LIMITS)
    _, alone, alone_good, _ = judge(replace(far_off, known=None), move, LIMITS)
    _, not_now, _, _ = judge(if_not_right(far_off, LIMITS), move, LIMITS)
    assert alone[0] == alone_good[0] == 0.0
    assert 0.0 < right[0] < 0.25 and right[0] < not_now[0] < 0.75
    assert good[0] > right[0]


def test_experience_never_calls_right_what_has_its_backlash_outside() -> None:
    here = replace(belief(np.full(60, 0.0)), known=SURE)
    apart = np.array(
        [[0.0, 12.0]]
    )  # about 0.008 in more backlash (2 tan(phi) sin(pitch angle), see `response`)
    _, right, good, held = judge(here, apart, LIMITS)
    assert right[0] == good[0] == held[0] == 0.0


def test_some_of_the_draws_keep_what_experience_said() -> None:
    heard = replace(belief(np.linspace(-8.0, 8.0, 99)), known=SURE, far=(0.3, 0.2))
    for some in (thinned(heard, 20), picked(heard, np.arange(5)), if_not_right(heard, LIMITS)):
        assert some.known is SURE and some.far == (0.3, 0.2)


def test_where_next_to_no_draw_does_as_experience_says_the_draws_stay() -> None:
    # one draw of 400 would have to stand for all: the set is none that experience knows
    odd = belief(np.concatenate([np.full(2, 9.0), np.full(398, -9.0)]))
    assert weighed(odd, LIMITS, says(belief(np.full(50, 9.0)))) is odd


def test_experience_is_not_asked_about_a_set_that_may_be_beyond_mending() -> None:
    # all the sets it learnt from could be brought right; one mark high and the other low is lame contact
    # (TM 10-3930-643-34 p. 16-30), and its word would hide that
    for apart, asked in ((0.03, True), (0.17, False)):
        known = axle()
        rolls = [roll((0.47, 0.50 + apart), (0.47, 0.50 - apart))]
        evidence = gather(known, rolls)
        belief, _ = believe(known, rolls, evidence, settle(fits(known, evidence)))
        assert (belief.known is not None) is asked
