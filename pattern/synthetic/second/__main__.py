"""Draw test photos with their truth: one command, here or on a GPU machine.

    python -m pattern.synthetic.second --out DIR --count 150 --bad 50 --seed 11 --spp 64
        [--first N --step M] [--variant cuda_ad_rgb] [--limit-s 560]
        [--only 3,7,20] [--scale 0.35] [--debug]

writes look_0000.jpg and so on, each with its truth in look_0000.json beside it, as
`contact-pattern check DIR` reads it. A photo depends on the seed, on both counts and on its number, so
several runs may share the work with --first and --step, and a run that stopped goes on with --first.
Needs numpy, opencv and mitsuba; with LLVM on a processor set DRJIT_LIBLLVM_PATH to its library.
"""

from __future__ import annotations

import argparse
import gc
import json
import sys
import time
from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np

from pattern.synthetic.second.draw import ATTEMPTS, Photo, drawn_photo, with_truth_drawn
from pattern.synthetic.second.plan import FAULTS, Order
from pattern.synthetic.second.tracer import Tracer, usual_variant
from pattern.synthetic.second.truth import photo_name


def orders(count: int, bad: int, seed: int, scale: float, samples: int) -> list[Order]:
    """`count` readable photos and `bad` ones of every fault in turn, mixed."""
    total = count + bad
    faults: list[str | None] = [None] * total
    places = np.random.default_rng([seed, 99]).permutation(total)[:bad]
    for number, place in enumerate(places):
        faults[place] = FAULTS[number % len(FAULTS)]
    return [Order(i, faults[i], seed, scale, samples) for i in range(total)]


def main(arguments: Sequence[str] | None = None) -> int:
    """The command; see the module's head."""
    parser = _parser()
    options = parser.parse_args(arguments)
    total = options.count + options.bad
    if not all(0 <= number < total for number in [options.first, *options.only]):
        parser.error(
            f"--first and --only are numbers from 0 to {total - 1}: --count and --bad together"
        )
    if options.step < 1 or options.bad < 0:
        parser.error("--step is 1 or more, --bad is 0 or more")
    todo = orders(options.count, options.bad, options.seed, options.scale, options.spp)
    if options.only:
        todo = [todo[number] for number in options.only]
    else:
        todo = todo[options.first :: options.step]
    options.out.mkdir(parents=True, exist_ok=True)
    cv2.setNumThreads(2)  # the tracer and the painting of teeth share the cores already
    tracer = Tracer(options.variant or usual_variant())
    begun = time.monotonic()
    for done, order in enumerate(todo):
        if time.monotonic() - begun > options.limit_s:
            print(f"out of time before {order.index}: {len(todo) - done} of {len(todo)} left")
            return 0
        _one(order, tracer, options.out, options.debug)
    return 0


def _one(order: Order, tracer: Tracer, folder: Path, debug: bool) -> None:
    begun = time.monotonic()
    for attempt in range(ATTEMPTS):
        photo = drawn_photo(order, tracer, attempt)
        gc.collect()  # scenes hold GPU memory until they are collected
        if photo is not None:
            _file(photo, folder / photo_name(order), debug)
            truth, spent = photo.truth, time.monotonic() - begun
            print(
                f"{order.index} {truth['side']} {truth['hand']} {truth['lengthwise']} "
                f"{truth['profile']} {truth['fault'] or 'readable'} {truth['scene']['style']} "
                f"{truth['scene']['light']} attempts {attempt + 1}, {spent:.1f} s",
                flush=True,
            )
            return
    print(f"{order.index} {order.fault or 'readable'}: given up after {ATTEMPTS}", flush=True)


def _file(photo: Photo, path: Path, debug: bool) -> None:
    """The truth last: a photo that a killed run left half counts for nothing without it."""
    _written(path, photo.jpeg)
    if debug:
        drawn = cv2.imencode(".png", with_truth_drawn(photo))[1]
        _written(path.with_name(f"truth_{path.stem}.png"), bytes(drawn))
    _written(path.with_suffix(".json"), json.dumps(photo.truth).encode())


def _written(path: Path, content: bytes) -> None:
    part = path.with_name(path.name + ".part")
    part.write_bytes(content)
    part.replace(path)


def _numbers(text: str) -> list[int]:
    return [int(number) for number in text.split(",")]


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m pattern.synthetic.second",
        description="Draw test photos of painted teeth with their truth.",
    )
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--count", type=int, default=150, help="readable photos")
    parser.add_argument("--bad", type=int, default=50, help="photos to be declined")
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--spp", type=int, default=64, help="samples a pixel")
    parser.add_argument("--first", type=int, default=0, help="begin with this number")
    parser.add_argument(
        "--step", type=int, default=1, help="from there on every second for 2, and so on"
    )
    parser.add_argument("--variant", help="Mitsuba's; default: on a GPU where there is one")
    parser.add_argument("--limit-s", type=float, default=1e9, help="begin no photo after that")
    parser.add_argument("--only", type=_numbers, default=[], help="single numbers, as 3,7,20")
    parser.add_argument("--scale", type=float, default=1.0, help="factor on the picture's size")
    parser.add_argument("--debug", action="store_true", help="also pictures with the truth drawn")
    return parser


if __name__ == "__main__":
    sys.exit(main())
