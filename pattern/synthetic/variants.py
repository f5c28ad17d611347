"""The same photos under other conditions, with their truth: what a reading should bear.

    python -m pattern.synthetic.variants FOLDER --out DIR [--every 5]

writes DIR/CONDITION/NAME.jpg and NAME.json for each of `CONDITIONS`, to be scored with
`contact-pattern check DIR/CONDITION`.
"""

from __future__ import annotations

import argparse
import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageOps

Pixels = NDArray[np.uint8]
_GAMMA = 2.2
_USUAL_QUALITY = 92
_ORIENTATION = 0x0112
_MIRRORED = 2


def _exposed(stops: float) -> Callable[[Pixels], Pixels]:
    def change(pixels: Pixels) -> Pixels:
        light = (pixels / 255.0) ** _GAMMA * 2.0**stops
        return np.asarray(np.round(255.0 * np.clip(light, 0, 1) ** (1 / _GAMMA)), np.uint8)

    return change


def _cast(gains: tuple[float, float, float]) -> Callable[[Pixels], Pixels]:
    return lambda pixels: np.asarray(np.clip(np.round(pixels * np.array(gains)), 0, 255), np.uint8)


def _blurred(sd_px: float) -> Callable[[Pixels], Pixels]:
    return lambda pixels: np.asarray(cv2.GaussianBlur(pixels, (0, 0), sd_px), np.uint8)


def _same(pixels: Pixels) -> Pixels:
    return pixels


LOOKS: dict[str, Callable[[Pixels], Pixels]] = {
    "as_is": _same,
    "ev_minus_1.5": _exposed(-1.5),
    "ev_plus_1.5": _exposed(1.5),
    "warm": _cast((1.15, 1.0, 0.75)),
    "cold": _cast((0.8, 1.0, 1.15)),
    "blur_3px": _blurred(3.0),
}
"""Changes of the picture's values alone."""
CONDITIONS = (*LOOKS, "jpeg_60", "half_size", "turned_90", "mirrored_exif", "covered_20")


def varied(pixels: Pixels, truth: dict[str, Any], condition: str) -> tuple[bytes, dict[str, Any]]:
    """JPEG and truth of a photo (h, w, 3) under one of `CONDITIONS`. Raises KeyError for another."""
    height, width = pixels.shape[:2]
    exif, quality, moved = Image.Exif(), _USUAL_QUALITY, np.eye(2, 3)
    if condition == "jpeg_60":
        quality = 60
    elif condition == "half_size":
        size = (width // 2, height // 2)
        pixels = np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), np.uint8)
        moved = np.array([[size[0] / width, 0.0, 0.0], [0.0, size[1] / height, 0.0]])
    elif condition == "turned_90":
        pixels = np.ascontiguousarray(np.rot90(pixels, -1))
        moved = np.array([[0.0, -1.0, height - 1.0], [1.0, 0.0, 0.0]])
    elif condition == "mirrored_exif":
        pixels = np.ascontiguousarray(pixels[:, ::-1])
        exif[_ORIENTATION] = _MIRRORED
    elif condition == "covered_20":
        pixels = _covered(pixels, truth)
    else:
        pixels = LOOKS[condition](pixels)
    file = io.BytesIO()
    Image.fromarray(pixels).save(file, "JPEG", quality=quality, exif=exif)
    return file.getvalue(), truth | {"teeth": [_moved(tooth, moved) for tooth in truth["teeth"]]}


def _moved(tooth: dict[str, Any], matrix: NDArray[np.float64]) -> dict[str, Any]:
    outline = np.array(tooth["outline"], float) @ matrix[:, :2].T + matrix[:, 2]
    kept = {k: v for k, v in tooth.items() if k not in ("tip_edge", "root_edge", "contact")}
    return kept | {"outline": outline.tolist()}


def _covered(pixels: Pixels, truth: dict[str, Any]) -> Pixels:
    """A grey rag over a fifth of what the teeth take up, from the side where the last tooth lies."""
    outlines = [np.array(tooth["outline"], float) for tooth in truth["teeth"]]
    if not outlines:
        return pixels
    points = np.concatenate(outlines)
    away = outlines[-1].mean(axis=0) - points.mean(axis=0)
    away = away if np.linalg.norm(away) > 1.0 else np.array([1.0, 0.0])
    away /= np.linalg.norm(away)
    inside = np.zeros(pixels.shape[:2], np.uint8)
    for outline in outlines:
        cv2.fillPoly(inside, [np.round(outline).astype(np.int32)], 1)
    rows, columns = np.indices(inside.shape)
    reach = columns * away[0] + rows * away[1]
    limit = float(np.quantile(reach[inside > 0], 0.8)) if inside.any() else np.inf
    folds = 120.0 + 25.0 * np.sin(0.05 * (columns * away[1] - rows * away[0]))
    rag = np.repeat(folds[..., None], 3, axis=2)
    return np.asarray(np.where((reach > limit)[..., None], rag, pixels), np.uint8)


def main() -> None:
    """The command; see the module's head."""
    parser = argparse.ArgumentParser(description="The same photos under other conditions.")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--every", type=int, default=1, help="take every so manieth readable photo")
    options = parser.parse_args()
    chosen = []
    for path in sorted(options.folder.iterdir()):
        beside = path.with_suffix(".json")
        if path.suffix.lower() not in (".jpg", ".jpeg") or not beside.is_file():
            continue
        truth = json.loads(beside.read_text(encoding="utf-8"))
        if truth["readable"]:
            chosen.append((path, truth))
    for path, truth in chosen[:: options.every]:
        pixels = np.asarray(ImageOps.exif_transpose(Image.open(path)).convert("RGB"))
        for condition in CONDITIONS:
            folder = options.out / condition
            folder.mkdir(parents=True, exist_ok=True)
            jpeg, known = varied(pixels, truth, condition)
            (folder / f"{path.stem}.jpg").write_bytes(jpeg)
            (folder / f"{path.stem}.json").write_text(json.dumps(known), encoding="utf-8")


if __name__ == "__main__":
    main()
