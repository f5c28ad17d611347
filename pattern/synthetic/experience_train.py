"""Train the network of `pattern.advice.experience`: seeded draws, a schedule by the clock. See `pattern/advice/EXPERIENCE.md`.

    python -m pattern.synthetic.experience_train --out DIR --seconds 545 --to 0.333 --seed 1 --compile
    python -m pattern.synthetic.experience_train --out DIR2 --seconds 545 --from 0.333 --to 0.667 --seed 2
        --start DIR --compile
    python -m pattern.synthetic.experience_train --out DIR3 --seconds 545 --from 0.667 --seed 3 --start DIR2 --compile

Three such calls, one after the other on one H100, made the weights in the package: about 14 100 steps each, 39 ms a
step, 4 GiB of its memory. Each draws its own sets (contact analysis and free ones, tapered and uniform: four kinds),
lets thousands of jobs of each kind run side by side and teaches the network at every roll of theirs what many moves
would really lead to: the drawn sets know. So there is no set of examples to run out of. The jobs are moved mostly as
the network's running average would, otherwise at random, so that it also knows how jobs look that went badly. The
schedule goes by the clock: `--from` and `--to` are the shares of the whole training that a call begins and ends at.
With CUDA a step is captured once and replayed; without it the steps run plainly, which is good for a trial only (use
small `--jobs`, `--pool`, `--width`, a multiple of 6). Needs torch (extra `synthetic`).

Writes to DIR `experience.npz` (the average, for `pattern/advice`), and `average.pt`, `last.pt` and `optimiser.pt` to
go on from. Prints, of jobs as the closed loop has them, the share right after the 1st, 2nd, 3rd and 4th move.
"""

from __future__ import annotations

import argparse
import copy
import math
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import torch
from torch import Tensor, nn
from torch.nn import functional

from pattern.synthetic.experience_jobs import draw_jobs
from pattern.synthetic.experience_net import (
    BLOCKS,
    LEAST_LATER,
    MOST_LATER,
    PRICE,
    SPAN_THOU,
    WIDTH,
    ExperienceNet,
    Odds,
    best_moves,
    export_npz,
    log_odds,
    proposals,
)

_RING_ONLY_THOU = 18.0
_BETAS, _DECAY, _LARGEST_STEP = (0.9, 0.98), 1e-3, 1.0
_WARM_STEPS, _WARM_STEPS_AGAIN, _LEAST_RATE = 300, 50, 0.02
_AVERAGING = 0.001
_SCHEDULED_EVERY, _SAVED_EVERY = 10, 4000
_COUNTED_ROLLS = 6
_PLACE_UNIT_THOU, _SPREAD_UNIT_THOU, _CLEAR_THOU = 8.0, 4.0, 4.0
# of the loss: chances, chances where the set stands, its place, too deep or shallow, rolls that follow
_WEIGHTS = {"chances": 20.0, "here": 0.2, "place": 0.05, "clear": 0.1, "later": 0.15}
_binary = functional.binary_cross_entropy_with_logits


@dataclass(frozen=True)
class Plan:
    """Sizes: `jobs` of each kind at a time, at least `pool` sets of each, `moves` asked about in each job."""

    jobs: int = 2560
    pool: int = 300_000
    moves: int = 96
    rate: float = 1e-3
    width: int = WIDTH
    blocks: int = BLOCKS
    price: float = PRICE
    seed: int = 1
    compiled: bool = False


@dataclass(frozen=True, eq=False)
class _Taught:
    """What a step teaches of N jobs.

    `right`, `good` (N, m) of the moves `asked` (N, m, 2), the first of which is none; `place_thou` (N, 2); the move
    that was `made` (N, 2), whether it `failed` (N,) and the job went on, and the `rolls` (N,) expected then.
    """

    asked: Tensor
    right: Tensor
    good: Tensor
    place_thou: Tensor
    made: Tensor
    failed: Tensor
    rolls: Tensor


class Training:
    """All that a step reads and changes, at addresses that stay, for a captured step is replayed on them."""

    def __init__(self, plan: Plan, device: torch.device, start: Path | None = None) -> None:
        torch.manual_seed(plan.seed)
        self.plan, self.device, self.cuda = plan, device, device.type == "cuda"
        self.again = start is not None
        with torch.no_grad():
            self.jobs = draw_jobs(plan.jobs, plan.pool, plan.seed, device)
        self.net = ExperienceNet(plan.width, plan.blocks).to(device)
        self.average = copy.deepcopy(self.net)
        self.odds: Odds = torch.compile(log_odds, dynamic=False) if plan.compiled else log_odds
        self.rate = torch.tensor(1e-5, device=device)
        self.optimiser = torch.optim.AdamW(
            self.net.parameters(), lr=self.rate if self.cuda else 1e-3, weight_decay=_DECAY,
            betas=_BETAS, capturable=self.cuda, foreach=True,
        )  # fmt: skip
        if start is not None:
            self._load(start)
        self.averaging = torch.tensor(0.05, device=device)
        self.counts = torch.zeros(len(self.jobs), _COUNTED_ROLLS, 4, device=device)
        self.losses = torch.zeros(6, device=device)
        count = len(self.jobs) * plan.jobs
        self._price = torch.full((count, 1), plan.price, device=device)
        ring = torch.arange(-_RING_ONLY_THOU, _RING_ONLY_THOU + 1, device=device)
        self._ring_only = torch.stack([torch.zeros_like(ring), ring], -1)
        with torch.no_grad():
            self._inputs = self._now()
            bumps, self._best, self._said, _ = self._choice(self._inputs)
            self._bumps = bumps.clone()

    def _load(self, start: Path) -> None:
        def held(name: str) -> Any:
            return torch.load(start / f"{name}.pt", map_location=self.device)

        self.net.load_state_dict(held("last"))
        self.average.load_state_dict(held("average"))
        self.optimiser.load_state_dict(held("optimiser"))
        for group in self.optimiser.param_groups:
            group["lr"] = self.rate if self.cuda else 1e-3

    def save(self, out: Path) -> None:
        """Write what a later call goes on from."""
        torch.save(self.average.state_dict(), out / "average.pt")
        torch.save(self.net.state_dict(), out / "last.pt")
        torch.save(self.optimiser.state_dict(), out / "optimiser.pt")

    def schedule(self, done: float, step: int) -> None:
        """Set rate and averaging for the share of the whole training that is done and this call's steps."""
        warm = min(1.0, (step + 1) / (_WARM_STEPS_AGAIN if self.again else _WARM_STEPS))
        fall = 0.5 * (1.0 + math.cos(math.pi * done)) * (1.0 - _LEAST_RATE) + _LEAST_RATE
        self.rate.fill_(self.plan.rate * warm * fall)
        self.averaging.fill_(_AVERAGING if self.again else max(_AVERAGING, 1 / (step + 20)))
        if not self.cuda:
            for group in self.optimiser.param_groups:
                group["lr"] = self.plan.rate * warm * fall

    def captured(self) -> Callable[[], None]:
        """A step as a CUDA graph, after three plain ones, as torch asks for."""
        aside = torch.cuda.Stream()
        aside.wait_stream(torch.cuda.current_stream())
        with torch.cuda.stream(aside):
            for _ in range(3):
                self.step()
        torch.cuda.current_stream().wait_stream(aside)
        graph = torch.cuda.CUDAGraph()
        with torch.cuda.graph(graph):
            self.step()
        return graph.replay

    def step(self) -> None:
        """Ask about many moves, make one, roll again; learn what came of them; choose the next."""
        with torch.no_grad():
            asked, right, good = self._asked()
            place = torch.cat([jobs.place_thou for jobs in self.jobs.values()])
            made, of_its_own = self._made()
            failed = self._go_on(made, of_its_own, right[:, 0])
            inputs = self._now()
            bumps, best, said, rolls = self._choice(inputs)
        loss, parts = self._loss(_Taught(asked, right, good, place, made, failed, rolls))
        loss.backward()
        params = list(self.net.parameters())
        nn.utils.clip_grad_norm_(params, _LARGEST_STEP, foreach=True)
        self.optimiser.step()
        with torch.no_grad():
            self.optimiser.zero_grad(set_to_none=False)
            for mean, value in zip(self.average.parameters(), params, strict=True):
                mean.add_((value - mean) * self.averaging)
            held = (*self._inputs, self._bumps, self._best, self._said, self.losses)
            for old, new in zip(held, (*inputs, bumps, best, said, parts), strict=True):
                old.copy_(new)

    def _now(self) -> tuple[Tensor, ...]:
        """What the network reads of all jobs: rolls, job, empty."""
        parts = zip(*(jobs.inputs() for jobs in self.jobs.values()), strict=True)
        return tuple(torch.cat(part) for part in parts)

    def _read(self, net: ExperienceNet, inputs: tuple[Tensor, ...]) -> tuple[Tensor, ...]:
        with torch.autocast("cuda", torch.bfloat16, enabled=self.cuda, cache_enabled=False):
            return net(*inputs)

    def _choice(self, inputs: tuple[Tensor, ...]) -> tuple[Tensor, Tensor, Tensor, Tensor]:
        """The average's bumps, the move it would make, that move's chance and expected rolls."""
        bumps, _, later = self._read(self.average, inputs)
        return bumps, *best_moves(
            self.average, bumps, later, self._ring_only, self._price, self.odds
        )

    def _asked(self) -> tuple[Tensor, Tensor, Tensor]:
        """Moves (N, m, 2): none, about what is held right and good enough, anywhere; and what they lead to."""
        bumps, many = self._bumps, self.plan.moves
        count = len(bumps)
        likely = [(0, many // 2), (2, many // 8)]
        none = torch.zeros(count, 1, 2, device=self.device)
        near = [proposals(bumps[:, chance], m) for chance, m in likely]
        anywhere = 2 * torch.rand(count, 3 * many // 10, 2, device=self.device) - 1
        asked = torch.cat([none, *near, anywhere * SPAN_THOU], 1)
        parts = torch.split(asked, self.plan.jobs)
        found = [jobs.ends(part) for jobs, part in zip(self.jobs.values(), parts, strict=True)]
        right, good = (torch.cat(part).float() for part in zip(*found, strict=True))
        return asked, right, good

    def _made(self) -> tuple[Tensor, Tensor]:
        """The move each job is given (N, 2), and where it is the network's own choice (N,).

        Of a hundred: 15 moves about the choice, 10 likely ones, 5 of the ring gear alone, 4 of a beginner, 2 without
        a move. A few are not whole thousandths.
        """
        count = len(self._best)
        lot = torch.rand(count, device=self.device)

        def normal() -> Tensor:
            return torch.randn(count, 2, device=self.device)

        def between(low: float, high: float) -> Tensor:
            return ((lot >= low) & (lot < high))[:, None]

        made = torch.where((lot < 0.15)[:, None], self._best + 1.5 * normal(), self._best)
        likely = proposals(self._bumps[:, 0], 1)[:, 0]
        ring_only = torch.stack([torch.zeros_like(likely[:, 0]), likely[:, 1]], -1)
        made = torch.where(between(0.15, 0.25), likely, made)
        made = torch.where(between(0.25, 0.30), ring_only, made)
        made = torch.where(between(0.30, 0.34), 4 * normal(), made)
        made = torch.where(torch.rand(count, 1, device=self.device) < 0.85, made.round(), made)
        made = torch.where(between(0.34, 0.36), torch.zeros_like(made), made)
        return made.clamp(-25, 25), lot >= 0.36

    def _go_on(self, made: Tensor, of_its_own: Tensor, right_before: Tensor) -> Tensor:
        """Make the moves, end some jobs, roll all; whether a move failed and its job went on (N,)."""
        size, failed = self.plan.jobs, []
        for number, jobs in enumerate(self.jobs.values()):
            part = slice(number * size, (number + 1) * size)
            was, move = right_before[part] > 0, made[part]
            jobs.move(move)
            right, _ = jobs.now()
            usual = (of_its_own[part] & ~was & (jobs.usual > 0) & (jobs.told > 0)).float()
            seen = [usual, right * usual, self._said[part] * usual, (move[:, 0] != 0) * usual]
            row = _COUNTED_ROLLS * number + (jobs.rolled - 1).clamp(max=_COUNTED_ROLLS - 1)
            self.counts.view(-1, 4).index_add_(0, row, torch.stack(seen, -1))
            end = jobs.ended(was)
            failed.append(~was & ~right & ~end)
            jobs.begin(end)
            jobs.roll(torch.where(end[:, None], torch.zeros_like(move), move))
        return torch.cat(failed).float()

    def _loss(self, taught: _Taught) -> tuple[Tensor, Tensor]:
        """The loss, and what is printed of it (6,): whole, chances, rolls that follow, expected, clear, here."""
        bumps, stands, numbers = self._read(self.net, self._inputs)
        asked, right, good = taught.asked, taught.right, taught.good
        not_yet = 1 - right[:, 0]
        each = _binary(self.odds(bumps[:, 0], asked), right, reduction="none").mean(1)
        chance = (each * not_yet).sum() / not_yet.sum()
        also = _binary(self.odds(bumps[:, 1], asked), right)
        enough = _binary(self.odds(bumps[:, 2], asked), good)
        none = asked[:, :1]
        here = _binary(self.odds(bumps[:, 1], none), right[:, :1])
        here = here + _binary(self.odds(bumps[:, 2], none), good[:, :1])
        off = -taught.place_thou - _PLACE_UNIT_THOU * stands[:, :2]
        log_sd = stands[:, 2:4].clamp(-4, 3)
        far = (off / _SPREAD_UNIT_THOU * torch.exp(-log_sd)).square().clamp(max=400)
        place = (far * 0.5 + log_sd).mean()
        pinion = taught.place_thou[:, 0]
        beyond = torch.stack([pinion > _CLEAR_THOU, pinion < -_CLEAR_THOU], -1).float()
        clear = _binary(stands[:, 4:6], beyond)
        follow = self.net.later(numbers, taught.made[:, None])[:, 0]
        rolls = taught.rolls.clamp(LEAST_LATER, MOST_LATER)
        missed = functional.smooth_l1_loss(follow, rolls, reduction="none", beta=1.0)
        later = (missed * taught.failed).sum() / taught.failed.sum().clamp(min=1)
        chances, w = chance + 0.5 * also + 0.5 * enough, _WEIGHTS
        loss = w["chances"] * chances + w["here"] * here + w["place"] * place
        loss = loss + w["clear"] * clear + w["later"] * later
        shown = torch.stack([loss, chance, later, taught.rolls.mean(), clear, here])
        return loss, shown.detach()


def train(training: Training, out: Path, seconds: float, begin: float, end: float) -> None:
    """Step for so many seconds, printing, then write the network and what to go on from."""
    step_once = training.captured() if training.cuda else training.step
    shown_every = 500 if training.cuda else 20
    step, began = 0, time.monotonic()
    while True:
        if step % _SCHEDULED_EVERY == 0:
            done = begin + (end - begin) * (time.monotonic() - began) / seconds
            if done >= end:
                break
            training.schedule(done, step)
        step_once()
        step += 1
        if step % shown_every == 0:
            print(f"{step} {time.monotonic() - began:.0f} s {measures(training)}", flush=True)
        if step % _SAVED_EVERY == 0:
            torch.save(training.average.state_dict(), out / "average.pt")
    training.save(out)
    export_npz(training.average, out / "experience.npz")
    print(f"{step} steps of {1000 * (time.monotonic() - began) / max(step, 1):.1f} ms")


def measures(training: Training) -> str:
    """Losses, then of each kind what was counted since last time; counts anew."""
    names = ("loss", "chances", "later", "rolls", "clear", "here")
    said = [f"{n} {v:.4f}" for n, v in zip(names, training.losses.tolist(), strict=True)]
    counts = training.counts.cpu().clone()
    training.counts.zero_()
    for name, count in zip(training.jobs, counts, strict=True):
        of = count[:, 0].clamp(min=1)
        right, chance, pinion = ((count[:, k] / of).tolist() for k in (1, 2, 3))
        said.append(
            f"| {name} right {'/'.join(f'{share:.3f}' for share in right[:4])} (1st said {chance[0]:.3f}), "
            f"pinion moved {pinion[0]:.2f}/{pinion[1]:.2f}"
        )
    return " ".join(said)


def main(arguments: Sequence[str] | None = None) -> None:
    """Parse the command line and train."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--seconds", type=float, required=True)
    parser.add_argument("--from", type=float, default=0.0, dest="begin")
    parser.add_argument("--to", type=float, default=1.0, dest="end")
    parser.add_argument("--start", type=Path, help="DIR of an earlier call to go on from")
    parser.add_argument("--compile", action="store_true", dest="compiled")
    for name, default in vars(Plan()).items():
        if name != "compiled":
            parser.add_argument(f"--{name}", type=type(default), default=default)
    options = parser.parse_args(arguments)
    options.out.mkdir(parents=True, exist_ok=True)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    if device.type == "cuda":
        torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    plan = Plan(**{name: getattr(options, name) for name in vars(Plan())})
    training = Training(plan, device, options.start)
    train(training, options.out, options.seconds, options.begin, options.end)


if __name__ == "__main__":
    main()
