"""Say places, moves and shims in the trade's words."""

from __future__ import annotations

from pattern.records import SideReading

_NEAR, _FAR = 0.05, 0.20


def place(reading: SideReading, at: tuple[float, float]) -> str:
    """Where a mark lies against the place `at` (lengthwise, profile), in the trade's words."""
    length = _along(reading.lengthwise - at[0], "toe", "heel")
    height = _along(reading.profile - at[1], "root", "tip")
    ends = (
        f"{length} and {height}" if length and height else length or height or "where it should be"
    )
    return f"{ends} ({reading.lengthwise:.2f} of the length from the toe, {reading.profile:.2f} of the depth from the root)"


def _along(off: float, below: str, above: str) -> str:
    if abs(off) <= _NEAR:
        return ""
    return f"{'far ' if abs(off) > _FAR else ''}toward the {below if off < 0 else above}"


def thousandths(inches: float) -> str:
    """An unsigned size, to a tenth of a thousandth where it is not whole: 0.004 in, 0.0035 in."""
    return (
        f"{abs(inches):.3f} in"
        if abs(inches * 1000 - round(inches * 1000)) < 0.02
        else f"{abs(inches):.4f} in"
    )


def chance(share: float) -> str:
    """A chance in per cent; never quite none nor quite certain, which no estimate is."""
    if share > 0.99:
        return "over 99%"
    return "under 1%" if share < 0.01 else f"{share:.0%}"


def slope(mean: float, sd: float) -> str:
    """A shift of the tooth per thousandth with its spread; no size where there is none to print."""
    size = f"{mean:+.3f}" if abs(mean) >= 0.0005 else "hardly"
    return f"{size} (± {max(sd, 0.001):.3f})"


def pinion_words(move_in: float) -> str:
    """A pinion move in words: + is deeper."""
    if move_in == 0:
        return "leave the pinion depth as it is"
    return f"pinion {'deeper' if move_in > 0 else 'shallower'} {thousandths(move_in)}"


def ring_words(move_in: float) -> str:
    """A ring gear move in words: + is away from the pinion."""
    if move_in == 0:
        return "leave the ring gear where it is"
    return f"ring gear {'away from' if move_in > 0 else 'toward'} the pinion {thousandths(move_in)}"


def stands(error_thou: float, sd_thou: float, low: str, high: str) -> str:
    """Where a member stands from its right place: `low` for negative, `high` for positive errors."""
    spread = f"(± {sd_thou / 1000:.3f} in)" if sd_thou >= 1.0 else "(± less than 0.001 in)"
    if abs(error_thou) < max(sd_thou, 0.5):
        return f"about right {spread}"
    return (
        f"{max(abs(error_thou), 1.0) / 1000:.3f} in too {high if error_thou > 0 else low} {spread}"
    )
