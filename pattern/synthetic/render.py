"""Render a list of synthetic photos with their truth: one command, here or on a GPU machine.

    python -m pattern.synthetic.render --out DIR --list samples|trial [--shard 0/2]
        [--variant cuda_ad_rgb] [--spp 64] [--limit-s 560] [--workers 8] [--only NAME ...]

writes ``LIST_SHARD_NN.zip`` files of at most 15 MB with NAME.jpg and NAME.json. A truth is one of:
``readable``; with a ``fault``, to be declined; ``left_out``, a photo in which the mark cannot be told
from its surroundings, which counts for neither. The lists are
deterministic: a photo depends on its entry alone, not on the shard, so a run that hits --limit-s
prints the names it left, and --first goes on from there. Variants: ``cuda_ad_rgb`` on an NVIDIA
GPU; ``llvm_ad_rgb`` on a processor with LLVM 17 or newer (set DRJIT_LIBLLVM_PATH to its library);
``scalar_rgb`` anywhere, slowly. Needs numpy, scipy, opencv, pillow and mitsuba; nothing else.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import sys
import time
import zipfile
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from functools import partial
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from pattern.synthetic.develop import developed, jpeg_bytes, with_glare
from pattern.synthetic.legibility import LEAST, legibility
from pattern.synthetic.noise import Field
from pattern.synthetic.scene import Scene
from pattern.synthetic.scene_build import Drawing, draw, hides, load
from pattern.synthetic.scene_samples import sample_scenes
from pattern.synthetic.scene_trial import trial_scenes
from pattern.synthetic.scene_truth import photo_truth

LISTS = {"samples": sample_scenes, "trial": trial_scenes}
ZIP_BYTES = 15_000_000
PASS_SAMPLES = 24_000_000


def scene_list(name: str) -> list[Scene]:
    """The scenes of a list, always the same."""
    return LISTS[name]()


def metering_weight(scene: Scene, truth: dict[str, Any]) -> Field:
    """Where the phone meters: on the painted teeth, a little on everything else."""
    width, height = scene.size_px
    weight = np.full((height, width), 0.25, np.float32)
    for tooth in truth["teeth"] + truth["partly"]:
        outline = tooth["tip_edge"] + tooth["root_edge"][::-1]
        cv2.fillPoly(weight, [np.round(np.array(outline)).astype(np.int32)], 3.0)
    return weight


def traced(mi: Any, loaded: Any, size_px: tuple[int, int], spp: int, seed: int) -> Field:
    """Linear light (height, width, 3), in passes that fit a GPU's memory, summed in a few groups."""
    each = int(np.clip(PASS_SAMPLES // (size_px[0] * size_px[1]), 1, 16))
    passes = max(1, round(spp / each))
    groups = min(passes, 6)
    sums = np.zeros((groups, size_px[1], size_px[0], 3), np.float32)
    counts = np.zeros(groups, np.float32)
    for k in range(passes):
        sums[k % groups] += np.array(mi.render(loaded, spp=each, seed=seed * 1000 + k))
        counts[k % groups] += 1.0
    return without_fireflies(sums / counts[:, None, None, None])


def without_fireflies(passes: Field) -> Field:
    """Mean of (passes, height, width, 3); a pass far above all others counts as the next highest."""
    if len(passes) < 3:
        return np.asarray(passes.mean(axis=0), np.float32)
    ordered = np.sort(passes, axis=0)
    ordered[-1] = np.minimum(ordered[-1], 2.0 * ordered[-2] + 0.02)
    return np.asarray(ordered.mean(axis=0), np.float32)


def finished(scene: Scene, light: Field, truth: dict[str, Any]) -> tuple[str, bytes, str]:
    """A photo's name, its JPEG and its truth as text; in a worker process."""
    rng = np.random.default_rng(scene.seed + 77)
    if scene.fault == "glare":
        sides = (metering_weight(scene, truth) > 1.0).astype(np.float32)
        light = with_glare(light, sides, rng)
    picture = developed(light, metering_weight(scene, truth), scene.look, rng)
    seen = legibility(picture, truth)
    truth["legibility"] = None if seen is None else round(seen, 2)
    if truth["readable"] and (seen is None or seen < LEAST):
        truth |= {"readable": False, "left_out": "the mark cannot be told from its surroundings"}
    shown = [t for t in truth["teeth"] if t["whole"] and "lengthwise" in t]
    if scene.fault in ("hidden", "cut_off") and shown:
        truth |= {"fault": None, "left_out": "a tooth is still in full view"}
    return scene.name, jpeg_bytes(picture, scene.look.quality), json.dumps(truth)


class ZipShards:
    """Zip files of at most ZIP_BYTES, numbered."""

    def __init__(self, folder: Path, stem: str) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self._folder, self._stem = folder, stem
        self._number, self._size = 0, 0

    def add(self, name: str, jpeg: bytes, truth: str) -> None:
        """Append one photo and its truth; the zip is closed again, so a killed run keeps it."""
        size = len(jpeg) + len(truth) // 3
        if self._size and self._size + size > ZIP_BYTES:
            self._number, self._size = self._number + 1, 0
        path = self._folder / f"{self._stem}_{self._number:02d}.zip"
        with zipfile.ZipFile(path, "a") as archive:
            archive.writestr(f"{name}.jpg", jpeg, zipfile.ZIP_STORED)
            archive.writestr(f"{name}.json", truth, zipfile.ZIP_DEFLATED)
        self._size += size


def drawings(scenes: Sequence[Scene], pool: ProcessPoolExecutor, ahead: int) -> Iterator[Drawing]:
    """Drawings in order, made `ahead` of time by the pool."""
    waiting: list[Future[Drawing]] = []
    queue = iter(scenes)
    for _ in range(ahead):
        waiting.extend(pool.submit(draw, scene) for scene in _take(queue))
    while waiting:
        yield waiting.pop(0).result()
        waiting.extend(pool.submit(draw, scene) for scene in _take(queue))


def _take(queue: Iterator[Scene]) -> list[Scene]:
    scene = next(queue, None)
    return [] if scene is None else [scene]


def render_scenes(
    scenes: Sequence[Scene], shards: ZipShards, options: argparse.Namespace
) -> list[str]:
    """Render scenes until done or out of time; returns the names that were left."""
    import mitsuba as mi

    mi.set_variant(options.variant)
    start = time.monotonic()
    left = [scene.name for scene in scenes]
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(options.workers, mp_context=context) as pool:
        pictures: list[Future[tuple[str, bytes, str]]] = []
        for drawing in drawings(scenes, pool, options.workers):
            if time.monotonic() - start > options.limit_s:
                break
            began = time.monotonic()
            scene = drawing.scene
            loaded = load(mi, drawing, options.spp)
            light = traced(mi, loaded, scene.size_px, options.spp, scene.seed)
            hidden = partial(hides, mi, loaded, drawing.camera)
            truth = photo_truth(scene, drawing.camera, drawing.atlas.contact, hidden)
            pictures.append(pool.submit(finished, scene, light, truth))
            left.remove(scene.name)
            spent = time.monotonic() - began
            print(f"{scene.name} {spent:.1f} s, teeth {len(truth['teeth'])}, "
                  f"readable {truth['readable']}", flush=True)  # fmt: skip
            while pictures and (pictures[0].done() or len(pictures) > 4):
                shards.add(*pictures.pop(0).result())
        for future in pictures:
            shards.add(*future.result())
        pool.shutdown(wait=False, cancel_futures=True)
    return left


def main(arguments: Sequence[str] | None = None) -> int:
    """The command; see the module's head."""
    parser = argparse.ArgumentParser(description="Render synthetic photos with their truth.")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--list", choices=sorted(LISTS), required=True)
    parser.add_argument("--shard", default="0/1", help="this part of how many, from 0: 0/2")
    parser.add_argument("--variant", default="cuda_ad_rgb")
    parser.add_argument("--spp", type=int, default=64, help="samples a pixel")
    parser.add_argument("--limit-s", type=float, default=1e9)
    parser.add_argument("--workers", type=int, default=8)
    parser.add_argument("--first", type=int, default=0, help="skip so many scenes of this shard")
    parser.add_argument("--only", nargs="*", help="names of single scenes")
    parser.add_argument("--shrink", type=float, default=1.0, help="divide the picture size")
    options = parser.parse_args(arguments)
    part, parts = (int(v) for v in options.shard.split("/"))
    scenes = scene_list(options.list)[part::parts][options.first :]
    if options.only:
        scenes = [s for s in scenes if s.name in options.only]
    scenes = [shrunk(scene, options.shrink) for scene in scenes]
    shards = ZipShards(options.out, f"{options.list}_{part}")
    left = render_scenes(scenes, shards, options)
    print(f"done {len(scenes) - len(left)}, left {len(left)}: {' '.join(left)}")
    return 0


def shrunk(scene: Scene, factor: float) -> Scene:
    """The same scene in a smaller picture."""
    from dataclasses import replace

    if factor == 1.0:
        return scene
    size = (round(scene.size_px[0] / factor), round(scene.size_px[1] / factor))
    wish = replace(scene.wish, tooth_px=scene.wish.tooth_px / factor)
    return replace(scene, size_px=size, wish=wish)


if __name__ == "__main__":
    sys.exit(main())
