"""Outlines drawn beside the teeth are seen to be so."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pattern.teeth.fields import PixelFields
from pattern.teeth.slip import slip_of
from pattern.teeth.surface import ToothSurface


def seen(turned: bool = False) -> PixelFields:
    """A network's maps of one tooth from column 10 to 90 and row 10 to 30."""
    columns = np.arange(120.0)[None, :].repeat(40, axis=0)
    on = ((columns >= 10) & (columns <= 90)).astype(np.float32)
    nothing = np.zeros_like(on)
    along = np.asarray((columns - 10) / 80, np.float32)
    return PixelFields(
        side=on, other=nothing, painted=nothing, compound=nothing, contact=nothing,
        edge=nothing, lengthwise=1.0 - along if turned else along, profile=nothing,
        lengthwise_sd=nothing, profile_sd=nothing, quality={},
        to_photo=np.array([[1.0, 0, 0], [0, 1.0, 0]]),
    )  # fmt: skip


def drawn(stretch: float) -> ToothSurface:
    heel = 10 + 80 * stretch
    return ToothSurface(np.array([[10.0, 10], [heel, 10]]), np.array([[10.0, 30], [heel, 30]]))


@pytest.mark.parametrize(("stretch", "turned", "slip"), [(1.0, False, 0.0), (1.0, True, 0.0),
                                                         (1.4, False, 0.14)])  # fmt: skip
def test_an_outline_drawn_past_the_tooth_shows_as_a_slip_a_turned_toe_does_not(
    stretch: float, turned: bool, slip: float
) -> None:
    # cells drawn at c lie at 1.4 c: off by 0.4 c, and the middle of those on the tooth is 0.36
    assert slip_of(drawn(stretch), seen(turned)) == pytest.approx(slip, abs=0.01)


def test_where_too_little_of_the_side_is_seen_no_slip_is_told() -> None:
    fields = seen()
    assert slip_of(drawn(1.0), replace(fields, side=0.3 * fields.side)) is None
