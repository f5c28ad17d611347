"""Two kits to begin with. Their sizes and counts are invented: a shop edits them to its drawer."""

from __future__ import annotations

from pattern.setup.stacks import ShimKit, ShimSize, Unit


def starter_kit(unit: Unit = "in") -> ShimKit:
    """Loose shims in inch or metric sizes with a thick spacer or two for the sides."""
    return _METRIC if unit == "mm" else _INCH


def _drawer(*lines: tuple[float, int]) -> tuple[ShimSize, ...]:
    return tuple(ShimSize(thickness, count) for thickness, count in lines)


_INCH = ShimKit(
    name="inch starter kit",
    unit="in",
    depth=_drawer((0.002, 4), (0.003, 6), (0.005, 6), (0.010, 4), (0.020, 2), (0.030, 1)),
    side=_drawer(
        (0.002, 4),
        (0.003, 6),
        (0.005, 6),
        (0.010, 6),
        (0.020, 4),
        (0.040, 2),
        (0.080, 2),
        (0.160, 2),
    ),
)
_METRIC = ShimKit(
    name="metric starter kit",
    unit="mm",
    depth=_drawer((0.05, 4), (0.08, 6), (0.10, 6), (0.15, 4), (0.25, 4), (0.50, 2), (0.80, 1)),
    side=_drawer(
        (0.05, 4), (0.08, 6), (0.10, 6), (0.25, 6), (0.50, 4), (1.00, 2), (2.00, 2), (4.00, 2)
    ),
)
