"""The training of the advice's network: its sets, its jobs, and that advice reads what training writes."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import torch
from torch import Tensor

from pattern.advice import experience
from pattern.advice.experience import (
    CHANCES,
    JOB_NUMBERS,
    ROLL_NUMBERS,
    ROLLS,
    Experience,
    Features,
)
from pattern.gears.blank import System
from pattern.gears.quick_marks import QuickSets, quick_marks
from pattern.synthetic import experience_jobs
from pattern.synthetic.drawn_sets import GOOD_ENOUGH, LIMITS_THOU, LinearSet, right_at
from pattern.synthetic.experience_axles import SYSTEMS, Axles, DrawnAxles, axles_on, draw_axles
from pattern.synthetic.experience_jobs import Jobs, draw_sets
from pattern.synthetic.experience_net import ExperienceNet, costs, export_npz, log_odds
from pattern.synthetic.experience_sets import (
    ContactMarks,
    ContactSets,
    FreeSets,
    mendable,
    rightness,
)
from pattern.synthetic.experience_train import Plan, Training, main, measures

CPU = torch.device("cpu")
SMALL = Plan(jobs=32, pool=300, moves=40, rate=3e-3, width=36, blocks=1)


@pytest.fixture(scope="module", autouse=True)
def _one_thread() -> Iterator[None]:
    threads = torch.get_num_threads()
    torch.set_num_threads(1)
    yield
    torch.set_num_threads(threads)


@pytest.fixture(scope="module")
def drawn() -> DrawnAxles:
    return draw_axles(60)


@pytest.fixture
def few_axles(drawn: DrawnAxles, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(experience_jobs, "draw_axles", lambda: drawn)


@pytest.fixture(scope="module")
def tapered(drawn: DrawnAxles) -> Axles:
    return axles_on(drawn, "tapered", CPU)


def _seeded(seed: int = 1) -> torch.Generator:
    return torch.Generator().manual_seed(seed)


def _net(tmp_path: Path) -> tuple[ExperienceNet, dict[str, np.ndarray]]:
    """A network of random weights as its file holds them, and that file's arrays."""
    torch.manual_seed(3)
    net = ExperienceNet(36, 2)
    with torch.no_grad():
        for value in net.parameters():
            value.copy_((value + 0.1 * torch.randn_like(value)).half().float())
    export_npz(net, tmp_path / "experience.npz")
    with np.load(tmp_path / "experience.npz") as held:
        return net, {name: held[name].astype(np.float64) for name in held}


# --- the network --------------------------------------------------------------------------------


def test_advice_reads_from_the_file_what_the_trained_network_says(tmp_path: Path) -> None:
    net, weights = _net(tmp_path)
    rng = np.random.default_rng(2)
    given = Features(
        rng.normal(0.0, 1.0, (5, ROLLS, ROLL_NUMBERS)),
        rng.normal(0.0, 1.0, (5, JOB_NUMBERS)),
        np.arange(ROLLS)[None] >= np.array([[1], [2], [4], [7], [10]]),
    )
    here = experience.forward(weights, given)
    with torch.no_grad():
        there = net.raw(
            torch.tensor(given.rolls).float(),
            torch.tensor(given.job).float(),
            torch.tensor(given.empty),
        )
    assert here.shape == there.shape and np.std(here) > 0.1
    assert np.allclose(here, there.numpy(), atol=2e-4)


def test_the_file_holds_half_the_digits_of_the_weights_and_the_blank_whole(tmp_path: Path) -> None:
    net, _ = _net(tmp_path)
    with np.load(tmp_path / "experience.npz") as held:
        assert set(held) == {*net.state_dict(), "blank_middle", "blank_spread"}
        assert all(held[name].dtype == np.float16 for name in net.state_dict())
        assert held["blank_middle"].shape == held["blank_spread"].shape == (8,)
        assert np.all(held["blank_spread"] > 0)


def test_chances_over_moves_are_those_that_advice_reckons() -> None:
    torch.manual_seed(4)
    bumps, moves = torch.randn(1, len(CHANCES), 16, 6), 8 * torch.randn(1, 200, 2)
    said = Experience(bumps[0].numpy().astype(float), (0.0, 0.0))
    chances = [torch.sigmoid(log_odds(bumps[:, k], moves))[0].numpy() for k in range(3)]
    at = moves[0].numpy().astype(float)
    reckoned = said.right(at), said.right(at, now_too=True), said.good(at)
    for here, there in zip(reckoned, chances, strict=True):
        assert np.std(there) > 0.02
        assert np.allclose(here, there, atol=1e-4)


def test_a_pinion_move_costs_besides_and_no_move_is_no_way_out(tmp_path: Path) -> None:
    net, _ = _net(tmp_path)
    bumps, numbers = torch.randn(1, len(CHANCES), 16, 6), torch.randn(1, 48)
    moves = torch.tensor([[[0.0, 3.0], [2.0, 3.0], [-1.0, 0.0], [0.0, 0.0]]])
    with torch.no_grad():
        free, right = costs(net, bumps, numbers, moves, price=0.0)
        dear, _ = costs(net, bumps, numbers, moves, price=0.2)
    assert np.allclose((dear - free)[0].numpy(), [0.0, 0.2, 0.2, 0.0], atol=1e-6)
    least = 1 + 0.8 * (1 - right)
    assert bool((free >= least - 1e-6).all())
    assert float(free[0, 3]) >= float(least[0, 3]) + 4.99


# --- the sets -----------------------------------------------------------------------------------


@pytest.mark.parametrize("system", SYSTEMS)
def test_contact_marks_are_the_quick_marks(system: System, drawn: DrawnAxles) -> None:
    marks = ContactMarks(system, CPU)
    sets = ContactSets.draw(marks, axles_on(drawn, system, CPU), 12, _seeded())
    place = torch.randn(len(sets), 6, 4, generator=_seeded(2)) * torch.tensor([6.0, 6.0, 1.0, 1.0])
    centre, extent, play = (x.numpy() for x in marks(sets, place))
    for n in range(len(sets)):
        one = QuickSets(
            *(x[n : n + 1].numpy() for x in (sets.blank, sets.film, sets.drive, sets.coast)),
            float(sets.scale[n]),
        )
        known = quick_marks(system, one, place[n : n + 1].numpy())
        assert np.allclose(centre[n], known.centre[0], atol=2e-5)
        assert np.allclose(extent[n], known.extent[0], atol=2e-5)
        assert np.allclose(play[n], known.play_thou[0], atol=2e-4)


@pytest.mark.parametrize("system", SYSTEMS)
def test_free_sets_answer_in_their_middle_as_the_trade_says(
    system: System, drawn: DrawnAxles
) -> None:
    # common practice, no source: ring gear away takes the drive mark to heel and tip; pinion deeper, with the
    # backlash held, takes both to the root, and the drive mark of a tapered tooth to the toe, of a uniform one to
    # the heel, the coast mark to the other end
    sets = FreeSets.draw(system, axles_on(drawn, system, CPU), 4000, _seeded())
    places = torch.tensor([[0.0, 0.0], [1.0, 0.45], [0.0, 1.0]])
    centre, _, _ = sets.answer(places[None].expand(len(sets), -1, -1))
    pinion, ring = ((centre[:, k] - centre[:, 0]).median(0).values for k in (1, 2))
    heel = 1.0 if system == "uniform" else -1.0
    assert torch.equal(pinion.sign(), torch.tensor([heel, -1.0, -heel, -1.0]))
    assert torch.equal(ring[[0, 1, 3]].sign(), torch.ones(3))
    turned = ((centre[:, 1, 0] - centre[:, 0, 0]) * heel < 0).float().mean()
    assert 0.01 < float(turned) < 0.15


def test_marks_of_free_sets_stay_on_the_tooth_however_far_they_are_moved(tapered: Axles) -> None:
    sets = FreeSets.draw("tapered", tapered, 2000, _seeded())
    centre, extent, _ = sets.answer(60 * torch.rand(len(sets), 8, 2, generator=_seeded(2)) - 30)
    assert float(centre.min()) >= 0.0 and float(centre.max()) <= 1.0
    assert float(extent.min()) >= 0.02 and float(extent.max()) <= 1.0
    assert float(extent.min()) < 0.1 < 0.6 < float(extent.max())


@pytest.mark.parametrize("kind", experience_jobs.KINDS)
def test_ring_gear_away_gives_backlash_and_pinion_deeper_takes_some(
    kind: str, tapered: Axles
) -> None:
    # common practice, no source
    sets, _ = draw_sets(kind, "tapered", tapered, 200, _seeded())
    places = torch.tensor([[0.0, 0.0], [0.0, 3.0], [3.0, 0.0]])
    _, _, backlash = sets.answer(places[None].expand(len(sets), -1, -1))
    assert bool((backlash[:, 1] > backlash[:, 0]).all())
    assert bool((backlash[:, 2] < backlash[:, 0]).all())
    assert len(sets) >= 200 and bool(mendable(sets).all())


def test_rightness_is_the_closed_loops() -> None:
    one = LinearSet("tapered", np.random.default_rng(3))
    at = np.random.default_rng(5).uniform(-4.0, 4.0, (300, 2))
    centres, backlash = one.survey(at[:, 0], at[:, 1])
    found = rightness(
        torch.tensor(centres)[None],
        torch.tensor(backlash)[None],
        torch.tensor(one.design.reshape(1, 4)),
        torch.tensor([LIMITS_THOU]),
    )
    for mine, within in zip(found, ((0.05, 0.06), GOOD_ENOUGH), strict=True):
        theirs = right_at(one, at[:, 0], at[:, 1], within)
        assert 5 < theirs.sum() < 295
        assert np.array_equal(mine[0].numpy(), theirs)


# --- the jobs -----------------------------------------------------------------------------------


@pytest.fixture
def jobs(tapered: Axles) -> Jobs:
    torch.manual_seed(7)
    sets, _ = draw_sets("free", "tapered", tapered, 200, _seeded())
    return Jobs(sets, 1000, tapered, 0)


def _zero(jobs: Jobs) -> Tensor:
    return torch.zeros(jobs.count, 2)


def test_a_job_that_is_right_mostly_ends_and_others_go_on_to_the_eighth_roll(jobs: Jobs) -> None:
    jobs.place_thou.zero_()
    right, good = jobs.now()
    assert 300 < int(right.sum()) < 1000 and bool((good | ~right).all())
    end = jobs.ended(right).float()
    assert 0.8 < float(end[right].mean()) < 0.95
    assert float(end[~right].mean()) < 0.05
    for _ in range(7):
        jobs.roll(_zero(jobs))
    assert bool(jobs.ended(torch.zeros_like(right)).all())


def test_a_job_that_begins_anew_forgets_what_was_seen_and_the_others_do_not(jobs: Jobs) -> None:
    jobs.roll(_zero(jobs))
    new = torch.arange(jobs.count) % 2 == 0
    before, which = jobs.centre.clone(), jobs.which.clone()
    jobs.begin(new)
    assert bool((jobs.centre[new] == 0).all()) and bool((jobs.rolled[new] == 0).all())
    assert torch.equal(jobs.centre[~new], before[~new]) and torch.equal(
        jobs.which[~new], which[~new]
    )
    assert bool((jobs.rolled[~new] == 2).all())


def test_histories_hold_the_moves_that_were_meant_and_sets_move_about_as_much(jobs: Jobs) -> None:
    meant = torch.tensor([3.0, -2.0]).expand(jobs.count, 2)
    ring_only = torch.tensor([0.0, 4.0]).expand(jobs.count, 2)
    stood = jobs.place_thou.clone()
    for move in (meant, ring_only):
        jobs.move(move)
        jobs.roll(move)
    assert torch.equal(jobs.nominal_thou[:, 1], meant)
    assert torch.equal(jobs.nominal_thou[:, 2], meant + ring_only)
    made = jobs.place_thou - stood - meant - ring_only
    assert 0.45 < float(made[:, 0].std()) < 0.55  # moved once
    assert 0.63 < float(made[:, 1].std()) < 0.79  # moved twice
    away, last = jobs.inputs()[0][..., 21:23] * 2, 2  # in 2 thousandths, at most 4
    assert torch.equal(away[:, last], _zero(jobs))
    assert torch.equal(away[:, 0], -(meant + ring_only).clamp(-4, 4))


def test_a_side_that_is_not_read_and_rolls_to_come_are_masked(jobs: Jobs) -> None:
    rolls, _, empty = jobs.inputs()
    for side in range(2):
        missing = jobs.sides[:, side] == 0
        assert 20 < int(missing.sum()) < 120
        columns = [4 * group + 2 * side + row for group in range(4) for row in range(2)]
        assert bool((rolls[missing][:, 0][:, columns] == 0).all())
        others = [c for c in range(16) if c not in columns]
        assert bool((rolls[missing][:, 0][:, others] != 0).any(-1).all())
    assert bool(empty[:, 1:].all()) and not bool(empty[:, 0].any())
    assert bool((rolls[:, 1:] == 0).all())


# --- the training -------------------------------------------------------------------------------


@pytest.mark.usefixtures("few_axles")
def test_some_steps_lower_the_loss() -> None:
    training = Training(SMALL, CPU)
    losses = []
    for step in range(60):
        training.schedule(0.0, 5 * step)  # the rate rises fivefold as fast as it would
        training.step()
        losses.append(float(training.losses[1]))
    assert np.mean(losses[-15:]) < 0.85 * np.mean(losses[:15])
    said = [float(share) for share in re.findall(r"1st said (\d\.\d+)", measures(training))]
    assert len(said) == 4 and all(0.02 < share < 0.9 for share in said)
    assert not training.counts.any()  # counted anew


@pytest.mark.usefixtures("few_axles")
def test_the_command_writes_what_advice_reads_and_goes_on_from_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sizes = ["--jobs", "8", "--pool", "100", "--width", "36", "--blocks", "1"]
    first, then = tmp_path / "first", tmp_path / "then"
    main(["--out", str(first), "--seconds", "0.5", "--to", "0.5", *sizes])
    main(["--out", str(then), "--seconds", "0.5", "--from", "0.5", "--start", str(first), *sizes])
    held = torch.load(then / "last.pt")
    with np.load(then / "experience.npz") as made, np.load(first / "experience.npz") as before:
        assert {*held, "blank_middle", "blank_spread"} == set(made)
        assert not np.array_equal(made["head.3.bias"], before["head.3.bias"])
        weights = {name: made[name].astype(np.float64) for name in made}
    blank = Features(
        np.zeros((1, ROLLS, ROLL_NUMBERS)), np.zeros((1, JOB_NUMBERS)), np.zeros((1, ROLLS), bool)
    )
    assert np.isfinite(experience.forward(weights, blank)).all()
    assert capsys.readouterr().out.count(" steps of ") == 2
