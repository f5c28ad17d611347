"""Train the reader's network: one seeded command. See TRAINING.md beside this file for the recipe.

    python -m pattern.synthetic.train --out DIR --minutes N [--of TOTAL] [--seed 1]
        [--resume CHECKPOINT | --weights WEIGHTS]

On several GPUs of one machine: `torchrun --nproc_per_node 2 -m pattern.synthetic.train ...`; every
process draws pictures of its own, and the steps are taken together.

Writes into DIR: `checkpoint.pt` (network, averaged weights, optimiser, clock), `weights.pt` (averaged
weights alone, at half precision), `reader.onnx` (the same) and `log.txt`. The learning rate follows the clock: it falls to nothing at TOTAL
minutes, of which an earlier run that is resumed has used some.
"""

from __future__ import annotations

import argparse
import contextlib
import copy
import math
import os
import queue
import random
import threading
import time
from collections.abc import Iterator
from dataclasses import fields
from pathlib import Path
from typing import Any

import torch
from torch import Tensor
from torch.nn import functional
from torch.nn.parallel import DistributedDataParallel

from pattern.synthetic.dataset import Feeder, to_device
from pattern.synthetic.net import ReaderNet, export_onnx
from pattern.synthetic.shade import Example, photograph
from pattern.synthetic.shade_paint import Batch, Dice
from pattern.synthetic.train_losses import Score, loss_of

VALIDATION_SEED = 900_001
SCORING_S = 25.0
"""Kept of the minutes for the export and the scores."""
WARM_UP_STEPS = 300
AVERAGING = 0.999
EASY = 0.1
SMALLER = (1.0, 1.0, 1.0, 0.75, 0.625, 0.5)
"""Sizes at which the network sees the pictures of a step, in turn by chance: a first look at a photo is coarse."""
AGREE_STEPS = 20
"""Steps between two looks at the first process's clock."""


def main() -> None:
    """Parse the command line and train."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--minutes", type=float, required=True)
    parser.add_argument("--of", type=float, help="planned minutes in all, for the learning rate")
    parser.add_argument("--resume", type=Path)
    parser.add_argument("--weights", type=Path, help="weights.pt of an earlier run to begin from")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--batch", type=int, default=64, help="pictures rasterised and shaded at once"
    )
    parser.add_argument("--chunk", type=int, default=32, help="pictures of one optimiser step")
    parser.add_argument("--workers", type=int, default=24)
    parser.add_argument(
        "--shots", type=int, default=1, help="pictures made of each rasterised view"
    )
    parser.add_argument("--rate", type=float, default=1.5e-3)
    parser.add_argument("--validation", type=int, default=10, help="validation batches")
    parser.add_argument("--ahead", type=int, default=6, help="batches held in shared memory")
    Trainer(parser.parse_args()).run()


class Trainer:
    """One run of the command."""

    def __init__(self, options: argparse.Namespace) -> None:
        self.options = options
        self.rank, self.device = _joined()
        self.seed = options.seed + 7919 * self.rank
        torch.manual_seed(options.seed)
        self.sizes = random.Random(self.seed)
        torch.backends.cudnn.benchmark = True
        torch.set_float32_matmul_precision("high")
        options.out.mkdir(parents=True, exist_ok=True)
        self.net = ReaderNet().to(self.device).to(memory_format=torch.channels_last)  # type: ignore[call-overload]
        self.average = copy.deepcopy(self.net).eval()
        self.model: torch.nn.Module = self.net
        decayed = [p for p in self.net.parameters() if p.ndim > 1]
        plain = [p for p in self.net.parameters() if p.ndim <= 1]
        self.optimiser = torch.optim.AdamW(
            [{"params": decayed, "weight_decay": 0.02}, {"params": plain, "weight_decay": 0.0}],
            lr=options.rate,
        )
        self.used_s, self.step, self.next_batch = 0.0, 0, 0
        if options.resume:
            self._load(options.resume)
        elif options.weights:
            weights = torch.load(options.weights, map_location=self.device, weights_only=True)
            self.net.go_on_from(weights)
            self.average.go_on_from(weights)
        if torch.distributed.is_initialized():
            self.model = DistributedDataParallel(self.net, broadcast_buffers=False)
        self.total_s = 60.0 * (options.of or options.minutes)
        self.started = time.monotonic()
        self.spent_s = self.used_s

    def run(self) -> None:
        """Train for the given minutes, then score, save and export."""
        options = self.options
        with Feeder(
            self.seed, options.batch, options.workers, self.next_batch, options.ahead
        ) as feeder:
            self._train(feeder, self.started + 60.0 * options.minutes - SCORING_S)
        if self.rank:
            return
        self._save()
        export_onnx(copy.deepcopy(self.average), options.out / "reader.onnx")
        scores = {share: Score() for share in sorted(set(SMALLER), reverse=True)}
        with Feeder(VALIDATION_SEED, options.batch, options.workers, ahead=options.ahead) as feeder:
            for n, b in _take(feeder, self.device, options.validation):
                example = self._example(n, b, VALIDATION_SEED)
                for share, score in scores.items():
                    with torch.no_grad():
                        maps, quality = self.average(seen_smaller(example.inputs, share))
                    score.add(enlarged(maps, example), quality, example)
        for share, score in scores.items():
            self.say(f"seen at {share:.3g} of the size\n{score.table()}")

    def _goes_on(self, deadline: float) -> bool:
        """Whether there is time for more, and the time spent, both by the first process's clock."""
        clock = torch.tensor([time.monotonic() - self.started, deadline - time.monotonic()])
        clock = clock.to(self.device)
        if torch.distributed.is_initialized():
            torch.distributed.broadcast(clock, 0)
        spent, left = clock.tolist()
        self.spent_s = self.used_s + spent
        return bool(left > 0)

    def _train(self, feeder: Feeder, deadline: float) -> None:
        said, waited, pictures, views = time.monotonic(), 0.0, 0, 0
        sums: dict[str, Tensor] = {}
        seen = 0
        source = Ahead(feeder, self.device)
        running = True
        while running:
            asked = time.monotonic()
            number, batch = source.take()
            waited += time.monotonic() - asked
            for shot in range(self.options.shots):
                if shot and source.is_ready():
                    break
                for part in self._example(number, batch, self.seed, shot).split(self.options.chunk):
                    if not running:
                        break
                    for name, value in self._learn(part).items():
                        sums[name] = sums.get(name, torch.zeros_like(value)) + value
                    seen += 1
                    if self.step % AGREE_STEPS == 0:
                        running = self._goes_on(deadline)
                pictures += self.options.batch
            views += self.options.batch
            self.next_batch = number + 1
            if time.monotonic() - said > 20.0:
                spent = time.monotonic() - said
                figures = "  ".join(f"{k} {float(v) / seen:.4f}" for k, v in sums.items())
                self.say(
                    f"step {self.step}  {pictures / spent:.0f} pictures/s of {views / spent:.0f} views/s  "
                    f"waiting {waited / spent:.0%}  rate {self._rate():.2e}  {figures}"
                )
                self._save()
                said, waited, pictures, views, seen, sums = time.monotonic(), 0.0, 0, 0, 0, {}
        source.stop()

    def _example(self, number: int, batch: Batch, seed: int, shot: int = 0) -> Example:
        with torch.no_grad():
            dice = Dice(seed * 1_000_003 + number * 16 + shot, self.device)
            return photograph(dice, batch, 0.0 if seed == VALIDATION_SEED else self._ease())

    def _learn(self, example: Example) -> dict[str, Tensor]:
        for group in self.optimiser.param_groups:
            group["lr"] = self._rate()
        self.net.train()
        inputs = seen_smaller(example.inputs, self.sizes.choice(SMALLER))
        inputs = inputs.to(memory_format=torch.channels_last)
        with torch.autocast(self.device.type, dtype=torch.bfloat16):
            maps, quality = self.model(inputs)
        loss, parts = loss_of(enlarged(maps, example), quality, example)
        self.optimiser.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(self.net.parameters(), 2.0)
        self.optimiser.step()
        self.step += 1
        self._average()
        return parts

    def _average(self) -> None:
        keep = min(AVERAGING, (self.step + 1) / (self.step + 20.0))
        with torch.no_grad():
            slow = list(self.average.parameters()) + [
                b for b in self.average.buffers() if b.is_floating_point()
            ]
            fast = list(self.net.parameters()) + [
                b for b in self.net.buffers() if b.is_floating_point()
            ]
            torch._foreach_lerp_(slow, fast, 1.0 - keep)

    def _ease(self) -> float:
        """Pictures start easy and are as hard as they get after EASY of the time."""
        return max(0.0, 1.0 - self.spent_s / (EASY * self.total_s))

    def _rate(self) -> float:
        falling = 0.5 + 0.5 * math.cos(math.pi * min(self.spent_s / self.total_s, 1.0))
        rising = min(1.0, (self.step + 1) / WARM_UP_STEPS)
        return float(self.options.rate * max(falling, 1e-3) * rising)

    def say(self, line: str) -> None:
        """Print and keep in the log; the first process alone."""
        if self.rank:
            return
        line = f"[{time.monotonic() - self.started:6.0f} s] {line}"
        print(line, flush=True)
        with (self.options.out / "log.txt").open("a") as log:
            log.write(line + "\n")

    def _save(self) -> None:
        if self.rank:
            return
        torch.save(
            {
                "net": self.net.state_dict(), "average": self.average.state_dict(),
                "optimiser": self.optimiser.state_dict(), "used_s": self.spent_s,
                "step": self.step, "next_batch": self.next_batch,
            },
            self.options.out / "checkpoint.pt",
        )  # fmt: skip
        halves = {
            k: v.half() if v.is_floating_point() else v
            for k, v in self.average.state_dict().items()
        }
        torch.save(halves, self.options.out / "weights.pt")

    def _load(self, file: Path) -> None:
        kept: dict[str, Any] = torch.load(file, map_location=self.device, weights_only=True)
        self.net.load_state_dict(kept["net"])
        self.average.load_state_dict(kept["average"])
        self.optimiser.load_state_dict(kept["optimiser"])
        self.used_s, self.step, self.next_batch = kept["used_s"], kept["step"], kept["next_batch"]


def seen_smaller(inputs: Tensor, share: float) -> Tensor:
    """Pictures (B, 4, H, W) at that share of their size, each side a multiple of 32."""
    rows, columns = (max(64, round(n * share / 32) * 32) for n in inputs.shape[2:])
    if (rows, columns) == tuple(inputs.shape[2:]):
        return inputs
    return functional.interpolate(inputs, (rows, columns), mode="area")


def enlarged(maps: Tensor, example: Example) -> Tensor:
    """Maps of a coarse look on the grid of the truth, which is the same for every look."""
    size = example.masks.shape[2:]
    if maps.shape[2:] == size:
        return maps
    return functional.interpolate(maps.float(), size, mode="bilinear", align_corners=False)


def _joined() -> tuple[int, torch.device]:
    """This process's number and device; alone unless started by torchrun."""
    on_gpu = torch.cuda.is_available()
    rank = int(os.environ.get("LOCAL_RANK", "0"))
    if on_gpu:
        torch.cuda.set_device(rank)
    if "WORLD_SIZE" in os.environ:
        torch.distributed.init_process_group("nccl" if on_gpu else "gloo")
    return rank, torch.device("cuda", rank) if on_gpu else torch.device("cpu")


def _take(feeder: Feeder, device: torch.device, count: int) -> Iterator[tuple[int, Batch]]:
    source = iter(feeder)
    for _ in range(count):
        number, slots = next(source)
        yield number, to_device(slots, device)


class Ahead:
    """Batches copied to the device by a thread, two ahead of the one in use."""

    def __init__(self, feeder: Feeder, device: torch.device) -> None:
        self.device = device
        self.ready: queue.Queue[tuple[int, Batch] | BaseException] = queue.Queue(maxsize=2)
        self.aside = torch.cuda.Stream() if device.type == "cuda" else None
        self.stopped = threading.Event()
        self.thread = threading.Thread(target=self._copy, args=(feeder,), daemon=True)
        self.thread.start()

    def is_ready(self) -> bool:
        """Whether `take` would return at once."""
        return not self.ready.empty()

    def take(self) -> tuple[int, Batch]:
        """The next batch and its number; raises what the thread ran into."""
        item = self.ready.get()
        if isinstance(item, BaseException):
            raise item
        if self.aside is not None:
            for part in fields(item[1]):
                getattr(item[1], part.name).record_stream(torch.cuda.current_stream())
        return item

    def stop(self) -> None:
        """Let the thread end, before the feeder's memory goes."""
        self.stopped.set()
        while self.thread.is_alive():
            with contextlib.suppress(queue.Empty):
                self.ready.get(timeout=0.2)

    def _copy(self, feeder: Feeder) -> None:
        try:
            for number, slots in feeder:
                if self.stopped.is_set():
                    return
                if self.aside is None:
                    self.ready.put((number, to_device(slots, self.device)))
                    continue
                with torch.cuda.stream(self.aside):
                    batch = to_device(slots, self.device)
                self.aside.synchronize()
                self.ready.put((number, batch))
        except BaseException as fault:  # handed to the training thread, which raises it
            self.ready.put(fault)


if __name__ == "__main__":
    main()
