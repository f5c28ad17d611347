"""Which pieces of a contact map make the mark."""

from __future__ import annotations

import numpy as np

from pattern.contact.components import main_pieces

ROWS, COLUMNS = 60, 180


def _bands(lower_row: int) -> tuple[np.ndarray, np.ndarray]:
    """Two bands one above the other: a contact map, and the upper one alone."""
    upper, both = np.zeros((ROWS, COLUMNS)), np.zeros((ROWS, COLUMNS))
    upper[12:24, 50:120] = both[12:24, 50:120] = 0.9
    both[lower_row : lower_row + 12, 50:120] = 0.9
    return both, upper


def test_a_second_band_is_part_of_the_mark() -> None:
    both, upper = _bands(34)
    mask = main_pieces(both, upper, np.ones(both.shape, bool))
    assert mask[18, 80]
    assert mask[40, 80]


def test_a_band_along_the_border_is_a_neighbours_edge_unless_contact_is_expected_there() -> None:
    both, upper = _bands(ROWS - 12)
    inside = np.ones(both.shape, bool)
    assert not main_pieces(both, upper, inside)[ROWS - 6, 80]
    assert main_pieces(both, both, inside)[ROWS - 6, 80]
