"""Photos with one flipped bit; the figures in HARD_USE.md come from `python -m tests.hard.flips`."""

from __future__ import annotations

from itertools import islice

import numpy as np
import pytest

from pattern.errors import UnreadablePhoto
from pattern.photo.decode import decode_photo
from tests.hard.flips import BEYOND, flipped, flips, pressed
from tests.hard.stress import samples


def test_one_bit_and_only_that_is_turned() -> None:
    assert flipped(b"\x00\x00", 9) == b"\x00\x02"
    assert flipped(flipped(b"mark", 13), 13) == b"mark"


def test_a_flipped_bit_in_a_png_is_always_noticed() -> None:
    """Each chunk carries a CRC of its own (ISO/IEC 15948, 5.3), which finds every single flipped bit."""
    (sample,) = islice(samples(), 1)
    data = pressed(sample.photo, "png")
    for bit in np.random.default_rng(7).integers(0, 8 * len(data), 40):
        with pytest.raises(UnreadablePhoto):
            decode_photo(flipped(data, int(bit)), "flipped.png")


def test_a_flipped_bit_in_a_jpeg_that_goes_unnoticed_does_not_move_the_reading() -> None:
    found = flips(list(islice(samples(), 2)), "jpeg", 24, seed=3)
    moved = [flip.read.moves for flip in found if flip.read is not None and flip.read.moves]
    assert len(found) == 24
    assert moved, "every flip was noticed, so nothing was shown"
    assert max(map(max, moved)) < BEYOND
    assert not any(flip.read is not None and flip.read.turned for flip in found)
