"""Train the quick marks of `pattern.gears.quick_marks`: one seeded command.

    python -m pattern.synthetic.quick_train --out quick_marks.npz [--blanks 5000] [--each 96] [--epochs 24]

Draws examples from contact analysis for both tooth systems (a quarter of an hour on one core), trains on nine
blanks of ten and prints the errors on the tenth, which `pattern/gears/QUICK_MARKS.md` records. Needs torch
(extra `synthetic`).
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path

import numpy as np
import torch
from numpy.typing import NDArray

from pattern.gears.blank import System
from pattern.synthetic.quick_draw import Examples, draw_examples

Array = NDArray[np.float64]
Layers = list[tuple[Array, Array]]

_WIDTH, _PLAY_WIDTH = 96, 32
_BATCH, _RATE = 1024, 4e-3
_PLAY_EPOCHS, _PLAY_BATCH, _PLAY_LEFT_THOU = 200, 256, 1.0
_SHOWN = ("lengthwise", "profile", "length", "width")


def train(inputs: Array, outputs: Array, width: int, epochs: int, batch: int, seed: int) -> Layers:
    """Layers of a network with two hidden ones, scales folded in, that maps (m, j) to (m, k)."""
    torch.manual_seed(seed)
    rng = np.random.default_rng(seed)
    mean, scale = inputs.mean(axis=0), inputs.std(axis=0) + 1e-6
    middle, spread = outputs.mean(axis=0), outputs.std(axis=0) + 1e-9
    x = torch.tensor((inputs - mean) / scale, dtype=torch.float32)
    y = torch.tensor((outputs - middle) / spread, dtype=torch.float32)
    sizes = [x.shape[1], width, width, y.shape[1]]
    linear = [torch.nn.Linear(a, b) for a, b in pairwise(sizes)]
    net = torch.nn.Sequential(linear[0], torch.nn.Tanh(), linear[1], torch.nn.Tanh(), linear[2])
    optimiser = torch.optim.AdamW(net.parameters(), weight_decay=1e-5)
    batches = max(len(x) // batch, 1)
    rate = torch.optim.lr_scheduler.OneCycleLR(
        optimiser, _RATE, total_steps=epochs * batches + 1, pct_start=0.1
    )
    for _ in range(epochs):
        for part in np.array_split(rng.permutation(len(x)), batches):
            # marks at an edge jump: a few large misses must not rule the rest
            loss = torch.nn.functional.smooth_l1_loss(net(x[part]), y[part], beta=0.3)
            optimiser.zero_grad()
            loss.backward()
            optimiser.step()
            rate.step()
    return _folded(linear, (mean, scale), (middle, spread))


def _folded(
    linear: Sequence[torch.nn.Linear], scaled: tuple[Array, Array], spread: tuple[Array, Array]
) -> Layers:
    layers = [
        (part.weight.detach().numpy().T.astype(float), part.bias.detach().numpy().astype(float))
        for part in linear
    ]
    weight, bias = layers[0]
    layers[0] = weight / scaled[1][:, None], bias - (scaled[0] / scaled[1]) @ weight
    weight, bias = layers[-1]
    layers[-1] = weight * spread[1], bias * spread[1] + spread[0]
    return layers


def answers(layers: Layers, inputs: Array) -> Array:
    """What a network says, (m, k)."""
    hidden = inputs
    for weight, bias in layers[:-1]:
        hidden = np.tanh(hidden @ weight + bias)
    return np.asarray(hidden @ layers[-1][0] + layers[-1][1])


def play_rates(drawn: Examples) -> tuple[Array, Array, NDArray[np.intp]]:
    """Blanks (b, 8), rates of the play (b, 7) as `quick_marks` takes them, the blanks' numbers (b,).

    Least squares within each blank, whatever crowning and film do to the play besides taken out.
    """
    blanks, rates, numbers = [], [], []
    for number in np.unique(drawn.blank_of):
        mine = drawn.blank_of == number
        pinion, ring, offset, shaft = drawn.place[mine].T
        moved = [pinion, ring, offset, shaft, pinion**2 / 25, pinion * ring / 25, ring**2 / 25]
        besides = drawn.own[mine][:, :, 9:12].reshape(mine.sum(), -1)
        terms = np.column_stack([*moved, np.ones(mine.sum()), besides])
        found, *_ = np.linalg.lstsq(terms, drawn.play_thou[mine], rcond=None)
        if np.std(drawn.play_thou[mine] - terms @ found) < _PLAY_LEFT_THOU:
            blanks.append(drawn.own[mine][0, 0, :8])
            rates.append(found[:7])
            numbers.append(number)
    return np.array(blanks), np.array(rates), np.array(numbers)


def train_system(
    system: System, drawn: Examples, epochs: int, seed: int
) -> dict[str, NDArray[np.float32]]:
    """All three networks of a tooth system as the package holds them; prints their errors."""
    new = drawn.blank_of % 10 == 0
    held: dict[str, Layers] = {}
    for side, name in enumerate(("drive", "coast")):
        inputs = np.column_stack([drawn.own[:, side], drawn.place])
        shown = drawn.shown[:, side]
        held[name] = train(inputs[~new], shown[~new], _WIDTH, epochs, _BATCH, seed)
        missed = np.abs(answers(held[name], inputs[new]) - shown[new])
        _print_errors(f"{system}, {name}", missed, drawn.place[new])
    blanks, rates, numbers = play_rates(drawn)
    old = numbers % 10 != 0
    held["play"] = train(blanks[old], rates[old], _PLAY_WIDTH, _PLAY_EPOCHS, _PLAY_BATCH, seed)
    missed = np.abs(answers(held["play"], blanks[~old]) - rates[~old])[:, :2]
    middle, most = np.median(missed, axis=0), np.quantile(missed, 0.95, axis=0)
    print(f"{system}: play per thousandth of pinion {middle[0]:.3f} / {most[0]:.3f}, "
          f"of ring gear {middle[1]:.3f} / {most[1]:.3f}", flush=True)  # fmt: skip
    return {
        f"{system} {part} {number} {kind}": array.astype(np.float32)
        for part, layers in held.items()
        for number, layer in enumerate(layers)
        for kind, array in zip(("weight", "bias"), layer, strict=True)
    }


def _print_errors(name: str, missed: Array, place: Array) -> None:
    far = np.abs(place[:, :2]).max(axis=1)
    for low, high in pairwise((0.0, 5.0, 15.0, 26.0)):
        some = missed[(far >= low) & (far < high)]
        numbers = " | ".join(
            f"{np.median(some[:, k]):.3f} / {np.quantile(some[:, k], 0.95):.3f}"
            for k in range(len(_SHOWN))
        )
        print(f"| {name}, {low:.0f} to {high:.0f} | {numbers} |", flush=True)


def main(arguments: Sequence[str] | None = None) -> None:
    """Draw, train, print the errors, write the networks."""
    parser = argparse.ArgumentParser(description="Train the quick marks.")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--blanks", type=int, default=5000)
    parser.add_argument("--each", type=int, default=96)
    parser.add_argument("--epochs", type=int, default=24)
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args(arguments)
    print(f"| median / 95th percentile | {' | '.join(_SHOWN)} |\n|---|---|---|---|---|")
    held: dict[str, NDArray[np.float32]] = {}
    systems: tuple[System, ...] = ("tapered", "uniform")
    for system in systems:
        drawn = draw_examples(system, chosen.blanks, chosen.each, chosen.seed)
        held |= train_system(system, drawn, chosen.epochs, chosen.seed)
    np.savez(chosen.out, **held)  # type: ignore[arg-type]


if __name__ == "__main__":
    main()
