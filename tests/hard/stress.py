"""Readings under stress: `python -m tests.hard.stress [--changes 30] [--samples N] [--outlined | --found]`.

Every readable sample goes through random harmless changes: cropped, turned, scaled, lit otherwise,
pressed again as a JPEG. What is read must move less than twice its stated spread, or the photo be
declined; it must never point the other way. Outlines, where given, move along with the picture.
"""

from __future__ import annotations

import argparse
import io
import json
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from pattern.photo.decode import decode_photo, load_photo
from pattern.records import Photo, Reading
from pattern.workflow import read_photo

SAMPLES = Path(__file__).parents[2] / "sample_images"
OFF_CENTRE = 0.12
"""As in `pattern.reading.score`: a mark this far off the middle has a direction."""
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Change:
    """What is done to a photo: turn in degrees, scale, shift of the crop as shares, light, JPEG."""

    turn_deg: float
    scale: float
    cut: tuple[float, float, float, float]
    gain: float
    gamma: float
    warmth: float
    noise: float
    quality: int


@dataclass(frozen=True)
class Sample:
    """A readable sample with its declared side and hand and the outlines of its clear teeth."""

    name: str
    photo: Photo
    side: str
    hand: str
    outlines: list[list[list[float]]]


def samples() -> Iterator[Sample]:
    """All readable samples."""
    for about in sorted(SAMPLES.glob("*.json")):
        known = json.loads(about.read_text())
        if known["readable"]:
            path = next(p for p in SAMPLES.glob(f"{about.stem}.*") if p.suffix != ".json")
            outlines = [t["outline"] for t in known["teeth"] if t["visible"] >= 0.6]
            yield Sample(about.stem, load_photo(path), known["side"], known["hand"], outlines)


def draw_change(chance: np.random.Generator) -> Change:
    """A harmless change: what another hand, another phone or a messenger does to a photo."""
    return Change(
        turn_deg=float(chance.uniform(-12, 12)),
        scale=float(chance.uniform(0.75, 1.25)),
        cut=tuple(chance.uniform(0.0, 0.06, 4)),
        gain=float(chance.uniform(0.8, 1.2)),
        gamma=float(chance.uniform(0.85, 1.18)),
        warmth=float(chance.uniform(-0.06, 0.06)),
        noise=float(chance.uniform(0.0, 3.0)),
        quality=int(chance.integers(70, 95)),
    )


def changed(sample: Sample, change: Change, seed: int) -> tuple[Photo, list[list[list[float]]]]:
    """The photo after the change, and its outlines where they now lie."""
    matrix, size = _frame(sample.photo, change)
    pixels = cv2.warpAffine(
        sample.photo.pixels, matrix, size, flags=cv2.INTER_AREA, borderMode=cv2.BORDER_REFLECT
    ).astype(np.float64)
    lit = 255.0 * (np.clip(pixels * change.gain / 255.0, 0.0, 1.0) ** change.gamma)
    lit *= np.array([1.0 + change.warmth, 1.0, 1.0 - change.warmth])
    lit += np.random.default_rng(seed).normal(0.0, change.noise, lit.shape[:2])[..., None]
    out = io.BytesIO()
    Image.fromarray(np.clip(lit, 0, 255).astype(np.uint8)).save(out, "JPEG", quality=change.quality)
    outlines = [_moved(np.array(outline), matrix).tolist() for outline in sample.outlines]
    return decode_photo(out.getvalue(), f"{sample.name}-{seed}.jpg"), outlines


def _frame(photo: Photo, change: Change) -> tuple[Floats, tuple[int, int]]:
    """The affine map (2, 3) from the photo to the changed picture, and that one's size."""
    left, top, right, bottom = change.cut
    width, height = photo.width_px, photo.height_px
    centre = (width / 2, height / 2)
    matrix = cv2.getRotationMatrix2D(centre, change.turn_deg, change.scale)
    size = (
        round(width * change.scale * (1 - left - right)),
        round(height * change.scale * (1 - top - bottom)),
    )
    matrix[:, 2] += np.array([size[0] / 2, size[1] / 2]) - np.array(centre)
    matrix[:, 2] += 0.5 * change.scale * np.array([(right - left) * width, (bottom - top) * height])
    return np.asarray(matrix), size


def _moved(points: Floats, matrix: Floats) -> Floats:
    return np.asarray(points @ matrix[:, :2].T + matrix[:, 2])


def read(sample: Sample, photo: Photo, outlines: list[list[list[float]]] | None) -> Reading:
    """The reading of the sample or of a changed one."""
    return read_photo(photo, sample.side, hand=sample.hand, outlines=outlines)  # type: ignore[arg-type]


@dataclass(frozen=True)
class Outcome:
    """What a change did: moves in units of the changed reading's spread, and whether it turned."""

    name: str
    status: str
    moves: tuple[float, float] | None = None
    turned: bool = False


def outcome(sample: Sample, before: Reading, after: Reading) -> Outcome:
    """Compare the reading of a changed photo with that of the photo itself."""
    if after.status == "declined":
        return Outcome(sample.name, "declined")
    moves, turned = [], False
    for axis in ("lengthwise", "profile"):
        was, now = getattr(before, axis), getattr(after, axis)
        moves.append(abs(now - was) / getattr(after, f"{axis}_sd"))
        turned |= abs(was - 0.5) > OFF_CENTRE and (now - 0.5) * (was - 0.5) < 0
    return Outcome(sample.name, "read", (moves[0], moves[1]), turned)


def stress(
    chosen: Sequence[Sample], changes: int, *, outlined: bool, seed: int = 1
) -> tuple[list[Outcome], int]:
    """The outcomes of all changes of all samples that are read as they are, and how many those are."""
    chance = np.random.default_rng(seed)
    found, base = [], 0
    for sample in chosen:
        before = read(sample, sample.photo, sample.outlines if outlined else None)
        if before.status == "declined":
            continue
        base += 1
        for number in range(changes):
            photo, outlines = changed(sample, draw_change(chance), seed * 1000 + number)
            found.append(
                outcome(sample, before, read(sample, photo, outlines if outlined else None))
            )
    return found, base


def report(outcomes: Sequence[Outcome], base: int, of: int, how: str) -> str:
    """The figures in words."""
    read_again = [o for o in outcomes if o.moves is not None]
    moves = np.array([o.moves for o in read_again if o.moves]).reshape(-1, 2)
    beyond = Counter(o.name for o in read_again if o.moves and max(o.moves) > 2.0)
    turned = Counter(o.name for o in read_again if o.turned)
    lines = [
        f"{how}: {base} of {of} samples are read as they are; {len(outcomes)} changed photos of these",
        f"  read again: {len(read_again)} ({_share(len(read_again), len(outcomes))})",
    ]
    if len(moves):
        spreads = np.quantile(moves, [0.5, 0.95], axis=0)
        lines += [
            f"  moved, in stated spreads, median and 95th percentile: lengthwise {spreads[0, 0]:.2f}, "
            f"{spreads[1, 0]:.2f}; profile {spreads[0, 1]:.2f}, {spreads[1, 1]:.2f}",
            f"  moved by more than two: {beyond.total()} ({_share(beyond.total(), len(read_again))}) "
            f"{dict(beyond)}",
            f"  pointing the other way: {turned.total()} {dict(turned)}",
        ]
    return "\n".join(lines)


def _share(part: int, whole: int) -> str:
    return f"{100 * part / whole:.1f} %" if whole else "-"


def main() -> None:
    """Measure and print."""
    options = argparse.ArgumentParser(prog="python -m tests.hard.stress")
    options.add_argument("--changes", type=int, default=30)
    options.add_argument("--samples", type=int, default=None, help="only the first so many")
    options.add_argument("--seed", type=int, default=1)
    which = options.add_mutually_exclusive_group()
    which.add_argument("--outlined", action="store_true", help="only with outlines given")
    which.add_argument("--found", action="store_true", help="only with teeth found by themselves")
    given = options.parse_args()
    chosen = list(samples())[: given.samples]
    for outlined, how in ((True, "outlines given"), (False, "teeth found by themselves")):
        if (given.found and outlined) or (given.outlined and not outlined):
            continue
        outcomes, base = stress(chosen, given.changes, outlined=outlined, seed=given.seed)
        print(report(outcomes, base, len(chosen), how), flush=True)


if __name__ == "__main__":
    main()
