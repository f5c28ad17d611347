"""Train the network that looks at laid-out teeth: one seeded command, a GPU is not needed. See TRAINING.md.

    python -m pattern.synthetic.flat_train --out DIR --minutes N [--seed 1] [--drawers 1]
        [--preparers 1]

`--drawers` processes draw photos into DIR/photos, which later runs go on from; meanwhile `--preparers`
vary what is there and this one learns from it. Writes `marks.onnx`, `marks.pt` and `log.txt`, whose last lines are the
scores on photos kept out of the training.
"""

from __future__ import annotations

import argparse
import copy
import math
import time
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor
from torch.nn import functional

from pattern.synthetic.flat_net import FlatNet, export_onnx
from pattern.teeth.flat_network import COLUMNS, ROWS, flat_inputs

PHOTOS = 16
"""Photos of a file."""
KEPT_OUT = 20
"""Every so-manieth file is kept for the scores."""
FIRST_FILES = 24
REFRESH_S = 30.0
"""Between two looks for new files."""
SCORED = 600
"""Photos of those that are scored at most."""
STEP_PHOTOS = 14
STREAKED = 0.35
UNROLLED = 0.2
"""Share of the photos in a step that are drawn from those painted and not rolled."""
AVERAGING = 0.998
SLIP_SCALE = 254.0
_MIRRORED = np.array([-1.0, 1.0], np.float32)[:, None, None]

Photo = dict[str, NDArray[Any]]


def main() -> None:
    """Parse the command line and train."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--minutes", type=float, required=True)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--drawers", type=int, default=1)
    parser.add_argument("--preparers", type=int, default=1)
    parser.add_argument("--rate", type=float, default=2e-3)
    parser.add_argument("--weights", type=Path, help="marks.pt of an earlier run to begin from")
    options = parser.parse_args()
    folder = options.out / "photos"
    folder.mkdir(parents=True, exist_ok=True)
    spawn = torch.multiprocessing.get_context("spawn")
    steps = spawn.Queue(maxsize=3 * options.preparers)
    tasks: list[tuple[Any, tuple[Any, ...]]] = [
        (_draw, (folder, options.seed, k, options.drawers)) for k in range(options.drawers)
    ]
    tasks += [(_prepare, (folder, (options.seed, k), steps)) for k in range(options.preparers)]
    helpers = [spawn.Process(target=task, args=args, daemon=True) for task, args in tasks]
    for helper in helpers:
        helper.start()
    try:
        _train(options, folder, steps)
    finally:
        for helper in helpers:
            helper.terminate()


# --- photos ----------------------------------------------------------------------------------------------


def _draw(folder: Path, seed: int, first: int, step: int) -> None:
    """Draw files of photos until ended; what exists is left."""
    from pattern.synthetic.flat_views import flat_examples

    torch.set_num_threads(1)
    number = first
    while True:
        file = folder / f"{number:05d}.npz"
        if not file.exists():
            drawn = flat_examples(seed * 100_003 + number, PHOTOS)
            whole = {
                name: (255.0 * getattr(drawn, name)).round().byte().numpy()
                for name in ("rgb", "contact", "painted", "own")
            }
            slip = (SLIP_SCALE * drawn.slip.clamp(-0.5, 0.5)).round().to(torch.int8).numpy()
            aside = file.with_suffix(".part")
            with aside.open("wb") as stream:
                np.savez(stream, **whole, slip=slip)
            aside.rename(file)
        number += step


class Pool:
    """The photos drawn so far, in memory; `held` are those for the scores."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.known: set[str] = set()
        self.photos: list[Photo] = []
        self.held: list[Photo] = []
        self.unrolled: list[Photo] = []

    def pick(self, rng: np.random.Generator) -> Photo:
        """A photo to learn from."""
        some = self.unrolled if self.unrolled and rng.random() < UNROLLED else self.photos
        return some[int(rng.integers(len(some)))]

    def refresh(self) -> None:
        """Take in new files."""
        for file in sorted(self.folder.glob("*.npz")):
            if file.name in self.known:
                continue
            self.known.add(file.name)
            with np.load(file) as kept:
                arrays = {name: kept[name] for name in kept.files}
            into = self.held if int(file.stem) % KEPT_OUT == 0 else self.photos
            new = [{k: v[n] for k, v in arrays.items()} for n in range(len(arrays["rgb"]))]
            into += new
            if into is self.photos:
                self.unrolled += [
                    p for p in new if p["painted"].mean() > 40 and p["contact"].max() < 8
                ]


def _prepare(folder: Path, seed: tuple[int, int], steps: Any) -> None:
    """Put varied photos of a step each into the queue until ended."""
    torch.set_num_threads(1)
    cv2.setNumThreads(1)
    rng = np.random.default_rng(seed)
    pool = Pool(folder)
    looked = -REFRESH_S
    while True:
        if time.monotonic() - looked > REFRESH_S or len(pool.known) < FIRST_FILES:
            pool.refresh()
            looked = time.monotonic()
        if len(pool.known) < FIRST_FILES:
            time.sleep(1.0)
            continue
        steps.put(_stacked([_varied(pool.pick(rng), rng) for _ in range(STEP_PHOTOS)]))


def _varied(photo: Photo, rng: np.random.Generator) -> Photo:
    """Some of its teeth, mirrored, in other colours, with noise."""
    count = len(photo["rgb"])
    painted = photo["painted"].mean(axis=(1, 2)) > 0.4 * np.maximum(
        photo["own"].mean(axis=(1, 2)), 1.0
    )
    teeth = np.arange(count)
    if painted.any() and rng.random() < 0.5:
        teeth = teeth[painted]
    teeth = rng.permutation(teeth)[: int(rng.integers(1, len(teeth) + 1)) if rng.random() < 0.4 else None]  # fmt: skip
    rgb = photo["rgb"][teeth].astype(np.float32) / 255.0
    if rng.random() < 0.3:
        rgb = rgb[:, rng.permutation(3)]
    rgb = rgb ** float(np.exp(rng.normal(0, 0.2)))
    rgb = rgb * np.exp(rng.normal(0, 0.12, (1, 3, 1, 1))) * np.exp(rng.normal(0, 0.15))
    if rng.random() < STREAKED:
        rgb = rgb * _streaks(rng, len(rgb))
    rgb += rng.normal(0, 1, rgb.shape) * rng.uniform(0, 0.02)
    rgb = np.clip(rgb, 0.0, 1.0).astype(np.float32)
    made = {k: photo[k][teeth].astype(np.float32) / 255.0 for k in ("contact", "painted", "own")}
    slip = photo["slip"][teeth].astype(np.float32) / SLIP_SCALE
    if rng.random() < 0.5:
        rgb, slip = rgb[..., ::-1], slip[..., ::-1] * _MIRRORED
        made = {k: v[..., ::-1] for k, v in made.items()}
    return {"inputs": flat_inputs(np.ascontiguousarray(rgb)), "slip": slip, **made}


def _streaks(rng: np.random.Generator, count: int) -> NDArray[Any]:
    """Bristle marks along the teeth as factors (count, 1, rows, columns): streaks are no mark."""
    wide, high = rng.uniform(6.0, 50.0), rng.uniform(0.7, 3.0)
    drawn = [
        cv2.GaussianBlur(rng.normal(size=(ROWS, COLUMNS)), (0, 0), sigmaX=wide, sigmaY=high)
        for _ in range(count)
    ]
    strength = rng.uniform(0.05, 0.35)
    return np.exp(strength * np.stack([d / max(float(d.std()), 1e-9) for d in drawn]))[:, None]


def _stacked(photos: list[Photo]) -> dict[str, Tensor]:
    return {
        name: torch.from_numpy(np.ascontiguousarray(np.concatenate([p[name] for p in photos])))
        for name in photos[0]
    }


# --- learn -----------------------------------------------------------------------------------------------


def loss_of(maps: Tensor, scalars: Tensor, truth: dict[str, Tensor]) -> dict[str, Tensor]:
    """Parts of the loss: the mark's cells and overlap, the side's cells, the slip, the two answers."""
    own, contact = truth["own"], truth["contact"]
    weight = 0.15 + own
    cells = functional.binary_cross_entropy_with_logits(maps[:, 0], contact, reduction="none")
    said = torch.sigmoid(maps[:, 0])
    both, either = (said * contact).sum((1, 2)), (said + contact).sum((1, 2))
    has_mark = (contact.sum((1, 2)) > 6.0).float()
    overlap = (has_mark * (1.0 - (2.0 * both + 1.0) / (either + 1.0))).mean()
    off = (maps[:, 2:] - truth["slip"]).abs().sum(1)
    painted, marked, is_known = _answers(truth)
    asked = functional.binary_cross_entropy_with_logits(scalars[:, 0], painted)
    rolled = functional.binary_cross_entropy_with_logits(scalars[:, 1], marked, reduction="none")
    return {
        "cells": 2.0 * (cells * weight).sum() / weight.sum(),
        "overlap": 0.5 * overlap,
        "own": 0.5 * functional.binary_cross_entropy_with_logits(maps[:, 1], own),
        "slip": 3.0 * (off * own).sum() / (own.sum() + 1.0),
        "painted": 0.3 * asked,
        "marked": 0.3 * (rolled * is_known).sum() / (is_known.sum() + 1.0),
    }


def _answers(truth: dict[str, Tensor]) -> tuple[Tensor, Tensor, Tensor]:
    size = truth["own"].sum((1, 2)).clamp_min(1.0)
    painted = (truth["painted"].sum((1, 2)) / size > 0.5).float()
    share = truth["contact"].sum((1, 2)) / size
    return painted, (share > 0.012).float(), ((share > 0.012) | (share < 0.001)).float()


def _train(options: argparse.Namespace, folder: Path, steps: Any) -> None:
    torch.manual_seed(options.seed)
    torch.set_num_threads(1)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    net = FlatNet().to(device, memory_format=torch.channels_last)  # type: ignore[call-overload]
    if options.weights:
        net.load_state_dict(torch.load(options.weights, map_location=device, weights_only=True))
    average = copy.deepcopy(net).eval()
    optimiser = torch.optim.AdamW(net.parameters(), lr=options.rate, weight_decay=0.02)
    start, step, said = time.monotonic(), 0, time.monotonic()
    sums: dict[str, float] = {}
    seen = 0
    while (spent := (time.monotonic() - start) / (60.0 * options.minutes)) < 1.0:
        rate = options.rate * min(1.0, (step + 1) / 100) * (0.5 + 0.5 * math.cos(math.pi * spent))
        for group in optimiser.param_groups:
            group["lr"] = max(rate, 1e-6)
        truth = {name: part.to(device) for name, part in steps.get().items()}
        if not step:
            start = time.monotonic()
        net.train()
        with torch.autocast(device.type, dtype=torch.bfloat16):
            maps, scalars = net(truth["inputs"].to(memory_format=torch.channels_last))
        parts = loss_of(maps.float(), scalars.float(), truth)
        optimiser.zero_grad(set_to_none=True)
        sum(parts.values()).backward()  # type: ignore[union-attr]
        torch.nn.utils.clip_grad_norm_(net.parameters(), 2.0)
        optimiser.step()
        step, seen = step + 1, seen + 1
        _follow(average, net, min(AVERAGING, step / (step + 20.0)))
        for name, part in parts.items():
            sums[name] = sums.get(name, 0.0) + part.item()
        if time.monotonic() - said > 30.0:
            figures = "  ".join(f"{name} {total / seen:.3f}" for name, total in sums.items())
            files = len(list(folder.glob("*.npz")))
            _say(options.out, f"step {step}  photos of {files} files  {figures}")
            said, sums, seen = time.monotonic(), {}, 0
            torch.save(average.state_dict(), options.out / "marks.pt")
    torch.save(average.state_dict(), options.out / "marks.pt")
    average = average.cpu()
    export_onnx(copy.deepcopy(average), options.out / "marks.onnx")
    pool = Pool(folder)
    pool.refresh()
    _say(options.out, scores(average, pool.held[:SCORED]))


def _follow(slow: torch.nn.Module, fast: torch.nn.Module, keep: float) -> None:
    with torch.no_grad():
        pairs = zip(slow.state_dict().values(), fast.state_dict().values(), strict=True)
        for old, new in pairs:
            if old.is_floating_point():
                old.lerp_(new, 1.0 - keep)


def _say(out: Path, line: str) -> None:
    print(line, flush=True)
    with (out / "log.txt").open("a") as log:
        log.write(line + "\n")


# --- scores ----------------------------------------------------------------------------------------------


def scores(net: FlatNet, photos: list[Photo]) -> str:
    """How well photos kept out of the training are seen."""
    overlaps: list[float] = []
    centres: list[tuple[float, float]] = []
    answers: list[tuple[float, float, float, float, float]] = []
    slips: list[tuple[float, float, float, float]] = []
    for photo in photos:
        truth = _stacked([_plain(photo)])
        with torch.no_grad():
            maps, scalars = net(truth["inputs"])
        said = torch.sigmoid(maps[:, 0]) * torch.sigmoid(maps[:, 1])
        painted, marked, is_known = _answers(truth)
        chances = torch.sigmoid(scalars)
        for tooth in range(len(maps)):
            answers.append(
                (float(painted[tooth]), float(chances[tooth, 0]), float(marked[tooth]),
                 float(chances[tooth, 1]), float(is_known[tooth]))
            )  # fmt: skip
            own, contact = truth["own"][tooth] > 0.5, truth["contact"][tooth]
            if own.float().mean() < 0.4:
                continue
            off = truth["slip"][tooth][:, own].mean(1)
            left = off - maps[tooth, 2:][:, own].mean(1)
            slips.append((float(off[0]), float(left[0]), float(off[1]), float(left[1])))
            if float(contact[own].mean()) < 0.02:
                continue
            a, b = said[tooth] > 0.5, contact > 0.5
            overlaps.append(float((a & b).sum() / max(int((a | b).sum()), 1)))
            centres.append(_apart(said[tooth], contact))
    half, far = np.quantile(np.abs(np.array(centres)), (0.5, 0.95), axis=0)
    slip = np.median(np.abs(np.array(slips)), axis=0)
    table = np.array(answers)
    known = table[:, 4] > 0.5
    return (
        f"{len(photos)} photos: contact IoU {np.mean(overlaps):.2f}, centre lengthwise "
        f"{half[0]:.3f} / {far[0]:.3f}, profile {half[1]:.3f} / {far[1]:.3f} (median / 95th) of "
        f"{len(centres)}; slip lengthwise {slip[0]:.3f} to {slip[1]:.3f}, profile {slip[2]:.3f} to "
        f"{slip[3]:.3f}; area under ROC painted {_area(table[:, 0], table[:, 1]):.3f}, marked "
        f"{_area(table[known, 2], table[known, 3]):.3f}"
    )


def _plain(photo: Photo) -> Photo:
    made = {k: photo[k].astype(np.float32) / 255.0 for k in ("contact", "painted", "own")}
    inputs = flat_inputs(photo["rgb"].astype(np.float32) / 255.0)
    return {"inputs": inputs, "slip": photo["slip"].astype(np.float32) / SLIP_SCALE, **made}


def _apart(said: Tensor, true: Tensor) -> tuple[float, float]:
    """Lengthwise and profile distance of two masks' centres, as shares of the tooth."""
    rows, columns = said.shape
    along, down = torch.arange(columns) / columns, torch.arange(rows)[:, None] / rows
    places = [
        (float((m * along).sum() / m.sum().clamp_min(1e-6)),
         float((m * down).sum() / m.sum().clamp_min(1e-6)))
        for m in (said, true)
    ]  # fmt: skip
    return places[0][0] - places[1][0], places[0][1] - places[1][1]


def _area(truth: NDArray[Any], said: NDArray[Any]) -> float:
    """Area under the ROC curve, by ranks."""
    yes, no = said[truth > 0.5], said[truth < 0.5]
    if not len(yes) or not len(no):
        return float("nan")
    return float((yes[:, None] > no[None]).mean() + 0.5 * (yes[:, None] == no[None]).mean())


if __name__ == "__main__":
    main()
