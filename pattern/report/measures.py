"""Numbers as a shop reads them: inches or millimetres, moves in words, unknown as a dash."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from pattern.errors import InvalidInput
from pattern.setup.units import NM_PER_LBF_FT, mm_from_in, nm_from_lbf_in

Units = Literal["in", "mm"]
UNKNOWN = "–"
_GLUE = "\N{NO-BREAK SPACE}"


@dataclass(frozen=True)
class Measures:
    """Writes lengths and torques in the chosen units. Raises InvalidInput for other units."""

    units: Units = "in"

    def __post_init__(self) -> None:
        if self.units not in ("in", "mm"):
            raise InvalidInput(f"{self.units!r} is not known", subject="units", remedy="in or mm")

    def length(self, value_in: float | None) -> str:
        """A thickness or a backlash: 0.0345 in, or 0.876 mm."""
        if value_in is None:
            return UNKNOWN
        return f"{self.number(value_in)}{_GLUE}{self.units}"

    def number(self, value_in: float) -> str:
        """The same without its unit: at least a thousandth, a tenth of one where it is there."""
        if self.units == "mm":
            return f"{mm_from_in(value_in):.3f}"
        text = f"{value_in:.4f}"
        return text.removesuffix("0")

    def size(self, value_in: float | None) -> str:
        """A large dimension such as a ring gear's diameter: 8.5 in, or 215.9 mm."""
        if value_in is None:
            return UNKNOWN
        if self.units == "in":
            return f"{value_in:g}{_GLUE}in"
        return f"{mm_from_in(value_in):.1f}{_GLUE}mm"

    def torque_ft(self, value_lbf_ft: float | None) -> str:
        """A tightening torque: 77 lbf·ft, or 104 N·m."""
        if value_lbf_ft is None:
            return UNKNOWN
        if self.units == "in":
            return f"{value_lbf_ft:g}{_GLUE}lbf·ft"
        return f"{value_lbf_ft * NM_PER_LBF_FT:.0f}{_GLUE}N·m"

    def torque_in(self, value_lbf_in: float | None) -> str:
        """A rotating torque: 17 lbf·in, or 1.92 N·m."""
        if value_lbf_in is None:
            return UNKNOWN
        if self.units == "in":
            return f"{value_lbf_in:g}{_GLUE}lbf·in"
        return f"{nm_from_lbf_in(value_lbf_in):.2f}{_GLUE}N·m"

    def pinion_move(self, move_in: float | None, sd_in: float | None = None) -> str:
        """Deeper 0.004 in (± 0.001 in)."""
        return self._move(move_in, sd_in, "deeper", "shallower")

    def ring_move(self, move_in: float | None, sd_in: float | None = None) -> str:
        """Away from the pinion 0.002 in (± 0.001 in)."""
        return self._move(move_in, sd_in, "away from the pinion", "toward the pinion")

    def _move(self, move_in: float | None, sd_in: float | None, plus: str, minus: str) -> str:
        if move_in is None:
            return UNKNOWN
        if abs(move_in) < 5e-5:
            return "stays"
        spread = f" (± {self.length(sd_in)})" if sd_in is not None else ""
        return f"{plus if move_in > 0 else minus} {self.length(abs(move_in))}{spread}"


def place(lengthwise: float | None, profile: float | None) -> str:
    """Where a mark lies, in words and shares: 0.42 from the toe, 0.61 from the root."""
    if lengthwise is None or profile is None:
        return UNKNOWN
    return f"{lengthwise:.2f} from the toe, {profile:.2f} from the root"
