"""Speed of the physics of the pair, and that the timed resolution is accurate enough.

Run with `pytest -m bench tests/benchmarks/test_gears_speed.py`. Limits: one full evaluation 40 ms, the
response with its spread 0.5 s, 200 draws 0.3 s. Times are the processor's own, best of many rounds, so
that other programs on the machine do not count; at rest they are the wall's too, as one core is used.
"""

from __future__ import annotations

import time

import numpy as np
import pytest

from pattern.gears.easeoff import EaseOff
from pattern.gears.evaluate import Resolution, evaluate, evaluate_batch
from pattern.gears.kinematics import Moves
from pattern.gears.lattice import tooth_lattice
from pattern.gears.prior import _draw_blanks, draw_ease_offs
from pattern.gears.response import _response, response
from pattern.records import SIDES, Axle
from tests.gears.sets import blank

pytestmark = [pytest.mark.bench, pytest.mark.benchmark(timer=time.process_time)]

EASE = EaseOff(0.03, 0.02, 0.004)
MOVES = Moves(0.06, -0.03)


def test_one_full_evaluation(benchmark):
    """Both sides: marks, motion error, path and backlash, the set's lattice ready."""
    one = blank("tapered")
    evaluate(one, MOVES, EASE, EASE)
    marks = benchmark.pedantic(evaluate, (one, MOVES, EASE, EASE), rounds=60, warmup_rounds=3)
    assert benchmark.stats.stats.min < 0.040
    fine = evaluate(one, MOVES, EASE, EASE, resolution=Resolution(81, 41, 3, 96))
    for side in SIDES:
        assert marks.side(side).lengthwise == pytest.approx(fine.side(side).lengthwise, abs=0.002)
        assert marks.side(side).profile == pytest.approx(fine.side(side).profile, abs=0.002)


def test_a_set_seen_for_the_first_time(benchmark):
    """The same with the lattices of both sides built anew."""
    one = blank("uniform")

    def cold():
        tooth_lattice.cache_clear()
        return evaluate(one, MOVES, EASE, EASE)

    benchmark.pedantic(cold, rounds=20, warmup_rounds=1)
    assert benchmark.stats.stats.min < 0.080


def test_two_hundred_draws(benchmark):
    """Moves and ease-off drawn, both sides and backlash, coarse lattice."""
    rng = np.random.default_rng(1)
    moves = Moves(rng.normal(0, 0.08, 200), rng.normal(0, 0.08, 200))
    arguments = (blank("tapered"), moves, draw_ease_offs(200, rng), draw_ease_offs(200, rng))
    benchmark.pedantic(evaluate_batch, arguments, rounds=12, warmup_rounds=1)
    assert benchmark.stats.stats.min < 0.3


def test_the_full_response_with_its_spread(benchmark):
    """Nothing cached: blanks drawn, lattices built, all rates with their spread."""
    axle = Axle(41, 11, 8.5)

    def cold():
        for cache in (_response, _draw_blanks, tooth_lattice):
            cache.cache_clear()
        return response(axle, "tapered")

    benchmark.pedantic(cold, rounds=8, warmup_rounds=1)
    assert benchmark.stats.stats.min < 0.5


def test_a_response_asked_for_again(benchmark):
    """The page asks often; the answer is kept by what is known of the axle."""
    axle = Axle(41, 11, 8.5)
    response(axle, "tapered")
    benchmark.pedantic(response, (axle, "tapered"), rounds=50)
    assert benchmark.stats.stats.min < 0.005
