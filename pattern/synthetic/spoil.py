"""Spoil good rendered photos: blurred, dark, blown out or drowned in glare, so to be declined.

    python -m pattern.synthetic.spoil --zips DIR/trial_*.zip --out DIR --each 5

takes readable photos at even steps through the zips, works back to linear light, and develops them
anew with one fault. Writes ``spoiled_NN.zip`` like `render`.
"""

from __future__ import annotations

import argparse
import io
import json
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from pattern.synthetic.develop import Development, developed, jpeg_bytes, undeveloped, with_glare
from pattern.synthetic.noise import Field
from pattern.synthetic.render import ZipShards
from pattern.synthetic.sample_folder import photos
from pattern.synthetic.scene import Fault

FAULTS: tuple[Fault, ...] = ("blurred", "dark", "blown_out", "glare")


def spoiled(
    picture: NDArray[np.uint8], truth: dict[str, Any], fault: Fault, rng: np.random.Generator
) -> NDArray[np.uint8]:
    """The same photo with one of `FAULTS`; blur grows with the size of the teeth in the picture."""
    sides = _tooth_sides(picture.shape, truth)
    light = undeveloped(picture)
    plain = Development(vignette=0.0, bloom=0.03, sharpen=0.3, saturation=1.0)
    if fault == "blurred":
        depth = float(np.sqrt(sides.sum() / max(len(truth["teeth"]), 1))) * 0.5
        reach = float(np.clip(rng.uniform(0.45, 0.7) * depth, 9.0, 45.0))
        if rng.random() < 0.5:
            look = replace(plain, defocus_px=reach)
        else:
            turn = float(rng.uniform(0, 180))
            look = replace(plain, motion_px=2.2 * reach, motion_deg=turn)
    elif fault == "dark":
        look = replace(plain, ev=float(rng.uniform(-6.4, -5.4)), grain=0.03)
    elif fault == "blown_out":
        look = replace(plain, ev=float(rng.uniform(4.0, 4.8)))
    else:
        light = with_glare(light, sides, rng)
        look = replace(plain, ev=float(rng.uniform(2.2, 3.0)))
    return developed(light, 0.25 + 2.75 * sides, look, rng)


def _tooth_sides(shape: tuple[int, ...], truth: dict[str, Any]) -> Field:
    mask = np.zeros(shape[:2], np.float32)
    for tooth in truth["teeth"] + truth["partly"]:
        outline = np.round(tooth["tip_edge"] + tooth["root_edge"][::-1]).astype(np.int32)
        cv2.fillPoly(mask, [outline], 1.0)
    return mask


def spoil(zips: Sequence[Path], folder: Path, each: int) -> list[str]:
    """Write `each` photos of every fault; returns their names."""
    good = [(n, j, t) for n, j, t in photos(zips) if t["readable"]]
    shards, names = ZipShards(folder, "spoiled"), []
    for number, at in enumerate(np.linspace(0, len(good) - 1, each * len(FAULTS)).astype(int)):
        name, jpeg, truth = good[at]
        fault = FAULTS[number % len(FAULTS)]
        picture = np.asarray(Image.open(io.BytesIO(jpeg)).convert("RGB"))
        bad = spoiled(picture, truth, fault, np.random.default_rng(number))
        names.append(f"u{number:03d}_bad_{fault}")
        keep = ("side", "hand", "tooth_system", "toe", "tip", "compound", "size")
        record = {
            "photo": names[-1], "readable": False, "fault": fault, "from": name,
            **{key: truth[key] for key in keep}, "teeth": [], "partly": [], "other_side": [],
            "pair": "bad", "scene": truth["scene"],
        }  # fmt: skip
        shards.add(names[-1], jpeg_bytes(bad, 82), json.dumps(record))
    return names


def main(arguments: Sequence[str] | None = None) -> int:
    """The command; see the module's head."""
    parser = argparse.ArgumentParser(description="Spoil good photos so that they must be declined.")
    parser.add_argument("--zips", type=Path, nargs="+", required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--each", type=int, default=5, help="photos of every fault")
    options = parser.parse_args(arguments)
    print(" ".join(spoil(options.zips, options.out, options.each)))
    return 0


if __name__ == "__main__":
    sys.exit(main())
