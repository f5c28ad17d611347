"""Photos with one flipped bit: `python -m tests.hard.flips [--flips 300] [--kinds jpeg png ...]`.

A bit that flips on the way (a card, a cable, a stick) is the smallest damage there is. It is refused, or
leaves the picture as it was, or changes it unnoticed: then the question is how far the reading moves.
Samples are pressed anew in every format; their true outlines are given, so that all of them are read.
"""

from __future__ import annotations

import argparse
import io
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pillow_heif
from PIL import Image

from pattern.errors import InvalidOutline, UnreadablePhoto
from pattern.photo.decode import decode_photo
from pattern.records import Photo, Reading
from tests.hard.stress import Outcome, Sample, outcome, read, samples

KINDS = ("jpeg", "progressive jpeg", "png", "webp", "tiff", "heic")
BEYOND = 2.0


@dataclass(frozen=True)
class Flip:
    """What one flipped bit did: refused, no change of the pixels, declined, or read, and how it moved."""

    fate: str
    read: Outcome | None = None


def pressed(photo: Photo, kind: str) -> bytes:
    """The photo as a file of that kind."""
    image, out = Image.fromarray(photo.pixels), io.BytesIO()
    if kind == "heic":
        pillow_heif.from_pillow(image).save(out, quality=80)
    elif kind == "tiff":
        image.save(out, "TIFF", compression="tiff_lzw")
    else:
        image.save(out, kind.split()[-1].upper(), progressive=kind.startswith("progressive"))
    return out.getvalue()


def flipped(data: bytes, bit: int) -> bytes:
    """The data with one bit turned over."""
    byte = bit // 8
    return data[:byte] + bytes([data[byte] ^ 1 << bit % 8]) + data[byte + 1 :]


def flip_one(sample: Sample, data: bytes, before: tuple[Photo, Reading], bit: int) -> Flip:
    """Flip a bit of a sample's file and read it again."""
    whole, told = before
    try:
        photo = decode_photo(flipped(data, bit), whole.name)
    except UnreadablePhoto:
        return Flip("refused")
    if np.array_equal(photo.pixels, whole.pixels):
        return Flip("same picture")
    try:
        again = outcome(sample, told, read(sample, photo, sample.outlines))
    except InvalidOutline:  # the size changed, and the outlines lie outside
        return Flip("refused")
    return Flip(again.status, again)


def flips(chosen: Sequence[Sample], kind: str, count: int, seed: int = 1) -> list[Flip]:
    """What `count` flipped bits did, spread over the samples that are read as they are."""
    chance = np.random.default_rng(seed)
    found: list[Flip] = []
    each = -(-count // len(chosen))
    for sample in chosen:
        data = pressed(sample.photo, kind)
        photo = decode_photo(data, f"{sample.name}.{kind}")
        told = read(sample, photo, sample.outlines)
        if told.status == "declined":
            continue
        bits = chance.integers(0, 8 * len(data), each)
        found += [flip_one(sample, data, (photo, told), int(bit)) for bit in bits]
    return found


def report(kind: str, found: Sequence[Flip]) -> str:
    """The figures in words."""
    fates = Counter(flip.fate for flip in found)
    moves = [max(f.read.moves) for f in found if f.read is not None and f.read.moves is not None]
    turned = sum(f.read is not None and f.read.turned for f in found)
    line = f"{kind}: {len(found)} flips, {dict(fates.most_common())}"
    if moves:
        middle, most = np.quantile(moves, [0.5, 1.0])
        line += (
            f"; of those read {sum(m > BEYOND for m in moves)} by more than {BEYOND:g} spreads elsewhere, "
            f"{turned} the other way (median {middle:.2f}, most {most:.1f} spreads)"
        )
    return line


def main() -> None:
    """Measure and print."""
    options = argparse.ArgumentParser(prog="python -m tests.hard.flips")
    options.add_argument("--flips", type=int, default=300, help="of each kind")
    options.add_argument("--samples", type=int, default=None, help="only the first so many")
    options.add_argument("--kinds", nargs="+", choices=KINDS, default=KINDS)
    given = options.parse_args()
    chosen = list(samples())[: given.samples]
    for kind in given.kinds:
        print(report(kind, flips(chosen, kind, given.flips)), flush=True)


if __name__ == "__main__":
    main()
