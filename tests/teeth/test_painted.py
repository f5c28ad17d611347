"""Which teeth of the row were brushed with compound."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pattern.teeth.painted import SeenSide, painted_run

STEEL, YELLOW, BLACK = (60.0, 0.0, 2.0), (62.0, 8.0, 50.0), (18.0, 0.0, 0.0)


def row(*teeth: tuple[tuple[float, float, float], float]) -> list[SeenSide]:
    """Sides in order, from their L*a*b* look and what both networks say for paint."""
    return [
        SeenSide(n, np.array(look), 0.9, 0.9 * share, in_view=1.0, brushed=share)
        for n, (look, share) in enumerate(teeth)
    ]


def numbers(sides: list[SeenSide]) -> list[int]:
    return [s.number for s in painted_run(sides)]


def test_the_colourful_run_is_the_painted_one() -> None:
    sides = row((STEEL, 0.7), (STEEL, 0.7), (YELLOW, 0.8), (YELLOW, 0.8))
    assert numbers(sides) == [2, 3]


def test_a_run_between_bare_teeth_is_painted_though_it_is_the_duller_one() -> None:
    # black compound on warm, bright steel; neighbours are brushed together (common practice, no source)
    warm = (70.0, 4.0, 18.0)
    sides = row((warm, 0.8), (BLACK, 0.8), (BLACK, 0.8), (warm, 0.8), (warm, 0.8))
    assert numbers(sides) == [1, 2]


def test_at_an_end_of_the_row_the_network_settles_which_part_is_painted() -> None:
    warm = (70.0, 4.0, 18.0)
    sides = row((BLACK, 0.97), (BLACK, 0.97), (warm, 0.2), (warm, 0.2))
    assert numbers(sides) == [0, 1]


def test_a_bare_tooth_among_painted_ones_is_not_taken_for_the_painted_run() -> None:
    sides = row((YELLOW, 0.97), (YELLOW, 0.97), (STEEL, 0.1), (YELLOW, 0.97), (YELLOW, 0.97))
    chosen = numbers(sides)
    assert chosen
    assert 2 not in chosen


@pytest.mark.parametrize(("share", "count"), [(0.97, 4), (0.1, 0)])
def test_without_a_step_in_look_all_or_none_are_painted(share: float, count: int) -> None:
    assert len(numbers(row(*[(STEEL, share)] * 4))) == count


def test_where_colour_shows_nothing_the_network_alone_can_show_the_run() -> None:
    # white compound on bright steel
    sides = row((STEEL, 0.0), (STEEL, 1.0), (STEEL, 1.0), (STEEL, 0.0), (STEEL, 0.0))
    assert numbers(sides) == [1, 2]


def test_where_only_the_pictures_network_was_asked_it_decides_alone() -> None:
    asked = row((STEEL, 0.05), (STEEL, 0.9), (STEEL, 0.9), (STEEL, 0.05))
    assert numbers([replace(side, brushed=None) for side in asked]) == [1, 2]
