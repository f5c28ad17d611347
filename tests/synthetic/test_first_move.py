"""What one roll can tell: the survey's fit against the sets themselves, and what knowing more is worth."""

from __future__ import annotations

import numpy as np

from pattern.synthetic.drawn_sets import LinearSet, right_at
from pattern.synthetic.first_move import draw, is_right_by, share_right


def test_the_fit_of_a_survey_says_where_the_set_itself_is_right() -> None:
    drawn = draw(LinearSet, "tapered", 20, seed=3)
    rng = np.random.default_rng(3)
    sets = (LinearSet("tapered", rng) for _ in range(20))  # those before the first were passed over
    same = next(one for one in sets if np.array_equal(one.design.ravel(), drawn.design[0]))
    at = np.random.default_rng(5).uniform(-4.0, 4.0, (200, 2))
    by_fit = is_right_by(drawn.shape[0], drawn.design[0], at)
    assert 10 < by_fit.sum() < 190
    assert np.mean(by_fit == right_at(same, at[:, 0], at[:, 1])) > 0.97


def test_a_first_move_that_is_told_the_answer_of_the_set_is_more_often_right() -> None:
    drawn = draw(LinearSet, "tapered", 700, seed=4)
    blind, knowing = (share_right(drawn, what) for what in ("nothing", "answer and design place"))
    assert 0.2 < blind < knowing < 1.0
