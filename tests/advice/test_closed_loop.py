"""Roll, advise, move, until the truth is right: a short closed loop on sets of another make.

The full table is printed by `python -m pattern.synthetic.closed_loop`; here a few sets show that the
advice converges and beats the printed table with fixed steps.
"""

from __future__ import annotations

import numpy as np
import pytest

from pattern.synthetic.closed_loop import SCENARIOS, Run, Scenario, drawn_job, run_job
from pattern.synthetic.controllers import Controller, fixed_steps, follow_advice
from pattern.synthetic.drawn_sets import LinearSet

SETS = 6


def runs(scenario: Scenario, controller: Controller) -> list[Run]:
    jobs = (drawn_job(LinearSet, scenario, index) for index in range(SETS))
    return [run_job(job, scenario, controller) for job in jobs]


@pytest.mark.parametrize("name", ["tapered", "uniform", "half and half, not told"])
def test_the_advice_brings_every_set_right_in_fewer_rolls_than_fixed_steps(name: str) -> None:
    scenario = next(s for s in SCENARIOS if s.name == name)
    ours, table = runs(scenario, follow_advice), runs(scenario, fixed_steps)
    assert all(run.done for run in ours)
    assert np.mean([run.rolls for run in ours]) < np.mean([run.rolls for run in table])


def test_an_accepted_set_is_truly_good_enough() -> None:
    tapered = next(s for s in SCENARIOS if s.name == "tapered")
    ended = runs(tapered, follow_advice)
    assert all(run.accepted_after is not None for run in ended)
    assert sum(run.accepted_good is False for run in ended) == 0


def test_a_side_that_could_not_be_had_is_asked_for_once() -> None:
    # asking again at each new position used to cost this job every other roll
    unread = next(s for s in SCENARIOS if s.name == "coast not read")
    run = run_job(drawn_job(LinearSet, unread, 57, seed=7), unread, follow_advice)
    assert run.done
    assert run.verdicts.count("undecided") == 1


def test_without_the_tooth_system_a_first_pinion_move_is_made_only_where_nearly_sure() -> None:
    # this tapered set shows marks that a uniform one explains fifty times as well: its pinion used to
    # be taken 0.007 in the wrong way
    untold = next(s for s in SCENARIOS if "not told" in s.name)
    job = drawn_job(LinearSet, untold, 90)
    assert job[0].system == "tapered" and job[1][0] > 4.0
    run = run_job(job, untold, follow_advice)
    assert run.done and not run.wrong_first


def test_a_job_looks_again_at_one_position_at_most_once() -> None:
    # this one used to ask at two of its ten rolls, and each look without a move costs the shop a roll
    noisy = next(s for s in SCENARIOS if s.name == "noise doubled")
    run = run_job(drawn_job(LinearSet, noisy, 61), noisy, follow_advice)
    assert run.done
    assert run.verdicts.count("undecided") <= 1
