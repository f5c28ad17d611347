"""How right can a first move be? One learnt from thousands of drawn sets, told one hidden thing at a time.

    python -m pattern.synthetic.first_move [--make contact|linear] [--system tapered|uniform] [--sets 18000]

A small network sees what the first roll shows (both centres and extents, backlash, with the noise of the
closed loop) and is trained on the very population of sets to move them where they are most likely right.
Its share of right first moves can be had, so one roll tells at least that much; told a hidden quantity
besides, it says what that quantity is worth. Ten minutes for 18,000 contact sets, half a
minute a row. Needs torch (extra `synthetic`).

Measured on 19,629 tapered contact sets by a script that drew them blank by blank and for the rest did as
here (standard error 0.006); beside the first row the advice, on 250 first rolls of the same sets (0.03):

| told | right |
|---|---|
| nothing; the advice on the same population | 0.58; 0.54 (0.47 before it fitted the set's own physics) |
| design place | 0.60 |
| housing | 0.61 |
| exact moves | 0.61 |
| backlash at the right place | 0.61 |
| gain of each row | 0.68 |
| noise-free reading | 0.69 |
| answer to both moves | 0.74 |
| answer and design place | 0.75 |
| design place, housing, backlash and the whole answer | 0.79 |
| answer, design place and noise-free reading | 0.92 |

No other unknown costs as much as how far a set answers. Told nothing, uniform contact sets: 0.58; linear sets: 0.55
tapered, 0.54 uniform. The network is no upper bound: on 200 first rolls of sets that it had not seen it has 0.62, and so
has the whole posterior by importance sampling from two million sets. If 0.02 of the sets are right at once, a share f of
first moves and q of later ones are right, a job takes 1 + 0.98 (1 + (1 - f) / q) rolls: 2.44 for f = 0.62 and the q =
0.75 to 0.85 of one who knows the set at its best. A mean of 2.4 is about the end on these sets.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import torch
from numpy.typing import NDArray

from pattern.synthetic.closed_loop import LARGEST_ERROR_THOU, Maker
from pattern.synthetic.drawn_sets import LIMITS_THOU, RIGHT, DrawnSet, LinearSet, Noise, System

Array = NDArray[np.float64]

TOLD = ("nothing", "design place", "housing", "backlash at the right place", "gain of each row",
        "answer to both moves", "exact moves", "noise-free reading", "answer and design place")  # fmt: skip
_STEP_THOU, _WITHIN_THOU = 4.0, 8.0  # of the net that a set is surveyed on; how far it is trusted
_ROOM_OF = 9 / 169  # of a net of 0.001 in within 0.006 in, as `drawn_sets.can_be_right` asks
_STARTS, _BATCH, _EPOCHS, _WIDTH = 3, 512, 24, 192
_HELD_BACK = 0.12  # share of the sets that the moves are judged on


@dataclass(frozen=True, eq=False)
class Drawn:
    """n sets and m first rolls. `design` (n, 4); `shape` (n, 9, 5): centres and backlash about the
    right place, in powers of the moves (`_powers`); `set_of` (m,), `at_thou` (m, 2), `shown` (m, 9):
    centres, extents, backlash without noise."""

    design: Array
    shape: Array
    set_of: NDArray[np.intp]
    at_thou: Array
    shown: Array


def draw(maker: Maker, system: System, count: int, seed: int) -> Drawn:
    """Draw about `count` sets that can be brought right, three first positions each."""
    rng = np.random.default_rng(seed)
    net = np.array([(p, g) for p in (-1.0, 0.0, 1.0) for g in (-1.0, 0.0, 1.0)]) * _STEP_THOU
    inverse = np.linalg.inv(_powers(torch.as_tensor(net)).numpy())
    fine = np.stack(np.meshgrid(*[np.arange(-6.0, 6.1)] * 2), axis=-1).reshape(-1, 2)
    designs, shapes, starts, shown = [], [], [], []
    for _ in range(count):
        drawn = maker(system, rng)
        centres, backlash = drawn.survey(net[:, 0], net[:, 1])
        shape = np.asarray(inverse @ np.column_stack([centres, backlash]), dtype=float)
        if not is_right_by(shape, drawn.design.ravel(), fine).mean() >= _ROOM_OF:
            continue
        at = rng.uniform(-LARGEST_ERROR_THOU, LARGEST_ERROR_THOU, (_STARTS, 2))
        designs.append(drawn.design.ravel())
        shapes.append(shape)
        starts.append(at)
        shown.append([_first_roll(drawn, *position) for position in at])
    rolls = np.array(shown).reshape(-1, 9)
    rolled = np.isfinite(rolls).all(axis=1) & (rolls[:, 8] > 0.5)  # not bound, marks on both sides
    set_of = np.repeat(np.arange(len(designs)), _STARTS)
    return Drawn(
        np.array(designs), np.array(shapes), set_of[rolled], np.concatenate(starts)[rolled], rolls[rolled]
    )  # fmt: skip


def _first_roll(drawn: DrawnSet, pinion_thou: float, ring_thou: float) -> Array:
    drive, coast = drawn.marks(pinion_thou, ring_thou)
    _, backlash = drawn.survey(np.array([pinion_thou]), np.array([ring_thou]))
    return np.array(
        [
            *(drive.lengthwise, drive.profile, coast.lengthwise, coast.profile),
            *(drive.length, drive.width, coast.length, coast.width, backlash[0]),
        ]
    )


def is_right_by(shape: Array, design: Array, at_thou: Array) -> NDArray[np.bool_]:
    """Right at positions (..., 2) by the survey's fit (..., 9, 5); never where that is not trusted."""
    room = _room(*(torch.as_tensor(part) for part in (shape, design, at_thou)))
    return np.asarray((room > 0).numpy())


def _room(shape: torch.Tensor, design: torch.Tensor, at_thou: torch.Tensor) -> torch.Tensor:
    """How much of the narrowest tolerance is left, 1 at the middle, below 0 outside."""
    fit = (_powers(at_thou).unsqueeze(-1) * shape).sum(-2)
    within = torch.tensor([*RIGHT, *RIGHT], dtype=fit.dtype)
    marks = (1 - (fit[..., :4] - design).abs() / within).amin(-1)
    backlash = torch.minimum(fit[..., 4] - LIMITS_THOU[0], LIMITS_THOU[1] - fit[..., 4])
    near = (_WITHIN_THOU - at_thou.abs().amax(-1)) / _STEP_THOU
    return torch.minimum(torch.minimum(marks, backlash), near)


def _powers(at_thou: torch.Tensor) -> torch.Tensor:
    p, g = (at_thou / _STEP_THOU).unbind(-1)
    one = torch.ones_like(p)
    return torch.stack([one, p, g, p * p, p * g, g * g, p * p * g, p * g * g, p * p * g * g], -1)


def told(drawn: Drawn, what: str) -> Array:
    """What the network is told besides the roll, (n, k)."""
    slopes = drawn.shape[:, 1:3, :4]
    facts = {
        "design place": [drawn.design],
        "housing": [drawn.shape[:, 0, :4] - drawn.design],
        "backlash at the right place": [drawn.shape[:, 0, 4:]],
        "gain of each row": [np.log(np.linalg.norm(slopes, axis=1) + 1e-4)],
        "answer to both moves": [slopes[:, 0], slopes[:, 1]],
        "answer and design place": [slopes[:, 0], slopes[:, 1], drawn.design],
    }
    return np.column_stack(facts.get(what, [np.empty((len(drawn.design), 0))]))


def share_right(drawn: Drawn, what: str = "nothing", *, epochs: int = _EPOCHS) -> float:
    """Share of right first moves of a network so trained, on sets that it has not seen."""
    torch.manual_seed(0)
    rng = np.random.default_rng(0)
    noise = Noise()
    spread = np.array(
        [*[noise.lengthwise, noise.profile] * 2, *[noise.extent] * 4, noise.backlash_thou]
    ) * (0.1 if what == "noise-free reading" else 1.0)
    move_sd = 1e-3 if what == "exact moves" else noise.move_thou
    facts = told(drawn, what)[drawn.set_of]
    shape, design = drawn.shape[drawn.set_of], drawn.design[drawn.set_of]
    wrong = ~is_right_by(shape, design, drawn.at_thou)  # a shop stops at a set that is right
    new = (rng.random(len(drawn.design)) < _HELD_BACK)[drawn.set_of]
    train, judge = np.flatnonzero(wrong & ~new), np.flatnonzero(wrong & new)

    def seen(which: NDArray[np.intp]) -> torch.Tensor:
        roll = drawn.shown[which] + spread * rng.standard_normal((len(which), 9))
        roll[:, :8] = np.clip(roll[:, :8], 0.0, 1.0)
        return torch.tensor(np.column_stack([roll, facts[which]]), dtype=torch.float32)

    net = _network(seen(train))
    _train(net, seen, (shape, design, drawn.at_thou), train, move_sd, epochs, rng)
    with torch.no_grad():
        moves = np.round(net(seen(judge)).double().numpy())
    error = move_sd * rng.standard_normal((40, len(judge), 2)) * (moves != 0)
    landed = drawn.at_thou[judge] + moves + error
    return float(is_right_by(shape[judge], design[judge], landed).mean())


def _network(like: torch.Tensor) -> torch.nn.Module:
    class Scaled(torch.nn.Module):
        def __init__(self) -> None:
            super().__init__()
            self.mean, self.sd = like.mean(0), like.std(0) + 1e-6
            layers = [like.shape[1], _WIDTH, _WIDTH, _WIDTH]
            parts = [m for a, b in pairwise(layers)
                     for m in (torch.nn.Linear(a, b), torch.nn.SiLU())]  # fmt: skip
            self.body = torch.nn.Sequential(*parts, torch.nn.Linear(_WIDTH, 2))

        def forward(self, x: torch.Tensor) -> torch.Tensor:
            out: torch.Tensor = 8.0 * self.body((x - self.mean) / self.sd)
            return out

    return Scaled()


def _train(net, seen, truth, train, move_sd, epochs, rng) -> None:  # type: ignore[no-untyped-def]
    """Ascend the softened chance of being right; at first also the pull toward the right place."""
    shape, design, at = (torch.tensor(part, dtype=torch.float32) for part in truth)
    optimiser = torch.optim.AdamW(net.parameters(), weight_decay=1e-3)
    batches = max(len(train) // _BATCH, 1)
    rate = torch.optim.lr_scheduler.OneCycleLR(optimiser, 3e-3, total_steps=epochs * batches + 1)
    for epoch in range(epochs):
        soft, pull = max(0.6 * (1 - 1.15 * epoch / epochs), 0.08), 0.002 * max(0.0, 1 - epoch / 6)
        for part in np.array_split(rng.permutation(train), batches):
            left = at[part] + net(seen(part))
            landed = left + move_sd * torch.randn(6, len(part), 2)
            room = _room(shape[part], design[part], landed)
            loss = -torch.sigmoid(room / soft).mean()
            loss = loss + pull * (left**2).sum(-1).clamp(max=400).mean()
            optimiser.zero_grad()
            loss.backward()
            optimiser.step()
            rate.step()


def main(arguments: Sequence[str] | None = None) -> None:
    """Print the ladder."""
    parser = argparse.ArgumentParser(description="What each unknown costs the first move.")
    parser.add_argument("--make", choices=("linear", "contact"), default="contact")
    parser.add_argument("--system", choices=("tapered", "uniform"), default="tapered")
    parser.add_argument("--sets", type=int, default=18000)
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args(arguments)
    maker: Maker = LinearSet
    if chosen.make == "contact":
        from pattern.synthetic.contact_sets import ContactSet

        maker = ContactSet
    drawn = draw(maker, chosen.system, chosen.sets, chosen.seed)
    print(
        f"{chosen.make}, {chosen.system}: {len(drawn.design)} sets\n\n| told | right |\n|---|---|"
    )
    for what in TOLD:
        print(f"| {what} | {share_right(drawn, what):.2f} |", flush=True)


if __name__ == "__main__":
    main()
