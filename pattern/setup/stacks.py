"""The shop's shims: what lies in the drawer, and the stack that comes nearest to a thickness.

Signs: a pinion move is + toward the ring gear's axis, a ring gear move + away from the pinion.
Thicknesses are inches in every argument and result; a kit remembers the unit its sizes are sold in.
"""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import reduce
from math import gcd, isfinite
from pathlib import Path
from typing import Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from pattern.errors import InvalidAxle, WouldOverwrite
from pattern.records import MM_PER_IN
from pattern.setup.stack_search import OUT_OF_REACH, all_totals, nearest_counts, nearest_pair
from pattern.setup.validation import invalid_field

Unit = Literal["in", "mm"]
Place = Literal["depth", "side"]
DepthLocation = Literal["pinion_head", "cartridge", "unknown"]

PER_UNIT = {"in": 100_000, "mm": 10_000}
"""Sizes are kept to 0.00001 in or 0.0001 mm, finer than any micrometer on a bench reads."""


@dataclass(frozen=True)
class ShimSize:
    """One size in the drawer, in the kit's own unit. `count` None: as many as are needed."""

    thickness: float
    count: int | None = None


@dataclass(frozen=True)
class Stack:
    """Pieces laid together, thickest first, and the thickness that was asked for; inches."""

    pieces_in: tuple[float, ...]
    wanted_in: float

    @property
    def total_in(self) -> float:
        """Thickness of the stack."""
        return round(sum(self.pieces_in), 7)

    @property
    def error_in(self) -> float:
        """Stack minus wanted: + is too thick."""
        return self.total_in - self.wanted_in


@dataclass(frozen=True)
class ShimKit:
    """The shims at hand: for the pinion (`depth`) and beside the carrier bearings (`side`).

    An empty tuple means that the shop named no sizes for that place. Raises InvalidAxle naming the
    size that cannot be.
    """

    name: str
    unit: Unit
    depth: tuple[ShimSize, ...] = ()
    side: tuple[ShimSize, ...] = ()

    def __post_init__(self) -> None:
        if self.unit not in PER_UNIT:
            raise InvalidAxle(f"{self.unit!r} is not a unit", subject="unit", remedy="Use in or mm")
        for place in ("depth", "side"):
            for index, size in enumerate(getattr(self, place)):
                _check_size(f"{place}.{index}", size, self.unit)
            seen = Counter(round(size.thickness, 6) for size in getattr(self, place))
            for thickness, times in seen.items():
                if times > 1:
                    raise InvalidAxle(
                        f"{thickness:g} {self.unit} is listed {times} times",
                        subject=place,
                        remedy="Keep one line for a size, with its count",
                    )

    def sizes_in(self, place: Place) -> tuple[float, ...]:
        """Sizes for a place, inches."""
        return tuple(self._inches(size.thickness) for size in self._drawer(place))

    def depth_stack(self, wanted_in: float) -> Stack:
        """The pinion depth stack nearest to `wanted_in`, with the fewest pieces.

        Raises InvalidAxle when the kit has no depth shims or `wanted_in` is not a thickness.
        """
        sizes, counts, step = self._whole("depth")
        wanted = self._steps(wanted_in, step, "depth_shim_in")
        used = nearest_counts(sizes, _finite_counts(counts, sizes, wanted), wanted)
        return self._laid("depth", used, wanted_in)

    def side_stacks(self, left_in: float, right_in: float) -> tuple[Stack, Stack]:
        """Both side stacks from the one stock, together nearest to what is wanted.

        The pair loses least of the sum (case preload) and of the ring gear's place taken together;
        among equals the sum is kept first, then the fewest pieces are used. Raises InvalidAxle.
        """
        sizes, counts, step = self._whole("side")
        wanted = (
            self._steps(left_in, step, "left_shim_in"),
            self._steps(right_in, step, "right_shim_in"),
        )
        left, right = nearest_pair(sizes, _finite_counts(counts, sizes, sum(wanted)), wanted)
        return self._laid("side", left, left_in), self._laid("side", right, right_in)

    def thicknesses(self, place: Place, low_in: float, high_in: float) -> tuple[float, ...]:
        """Every thickness from `low_in` to `high_in` that the kit can make, ascending, inches."""
        sizes, counts, step = self._whole(place)
        top = self._steps(high_in, step, "high_in")
        totals = all_totals(sizes, _finite_counts(counts, sizes, top), int(top + 1e-6))
        reach = np.flatnonzero(totals.pieces < OUT_OF_REACH)
        bottom = self._steps(max(low_in, 0.0), step, "low_in") - 1e-6
        return tuple(self._inches(Fraction(int(n)) * step) for n in reach if n >= bottom)

    def with_pieces(self, place: Place, pieces_in: tuple[float, ...]) -> ShimKit:
        """The kit with pieces added, for shims that come out of the axle and may go in again."""
        drawer = {round(size.thickness, 6): size for size in self._drawer(place)}
        for piece_in in pieces_in:
            inches_or_mm = piece_in if self.unit == "in" else piece_in * MM_PER_IN
            thickness = round(inches_or_mm * PER_UNIT[self.unit]) / PER_UNIT[self.unit]
            have = drawer.get(thickness, ShimSize(thickness, 0))
            if have.count is not None:
                have = replace(have, count=have.count + 1)
            drawer[thickness] = have
        sizes = tuple(sorted(drawer.values(), key=lambda size: size.thickness))
        return replace(self, depth=sizes) if place == "depth" else replace(self, side=sizes)

    # --- JSON ---------------------------------------------------------------------------------

    def to_json(self) -> str:
        """Text that `from_json` reads back to an equal kit."""
        body = {
            "name": self.name,
            "unit": self.unit,
            "depth": [{"thickness": s.thickness, "count": s.count} for s in self.depth],
            "side": [{"thickness": s.thickness, "count": s.count} for s in self.side],
        }
        return json.dumps(body, indent=2)

    @classmethod
    def from_json(cls, text: str, origin: str = "shim kit") -> ShimKit:
        """A kit from its JSON text; raises InvalidAxle naming `origin` and the field."""
        try:
            read = _KitFile.model_validate_json(text)
        except ValidationError as fault:
            raise invalid_field(fault, origin) from fault
        drawers = {
            place: tuple(ShimSize(line.thickness, line.count) for line in lines)
            for place, lines in (("depth", read.depth), ("side", read.side))
        }
        try:
            return cls(read.name, read.unit, drawers["depth"], drawers["side"])
        except InvalidAxle as fault:
            subject = f"{origin}: {fault.subject}"
            raise InvalidAxle(fault.what, subject=subject, remedy=fault.remedy) from fault

    # --- whole steps ----------------------------------------------------------------------------

    def _drawer(self, place: Place) -> tuple[ShimSize, ...]:
        return self.depth if place == "depth" else self.side

    def _inches(self, thickness: float | Fraction) -> float:
        return round(float(thickness) / (1.0 if self.unit == "in" else MM_PER_IN), 7)

    def _whole(self, place: Place) -> tuple[list[int], list[int | None], Fraction]:
        """Sizes as whole numbers of the largest step that divides them all; the step in kit units."""
        drawer = [size for size in self._drawer(place) if size.count != 0]
        if not drawer:
            raise InvalidAxle(
                f"the kit {self.name!r} holds no {place} shims",
                subject=place,
                remedy="List the sizes at hand, or advise without a kit",
            )
        fine = [round(size.thickness * PER_UNIT[self.unit]) for size in drawer]
        common = reduce(gcd, fine)
        step = Fraction(common, PER_UNIT[self.unit])
        return [n // common for n in fine], [size.count for size in drawer], step

    def _steps(self, thickness_in: float, step: Fraction, field: str) -> float:
        if not isfinite(thickness_in) or not 0.0 <= thickness_in <= 2.0:
            raise InvalidAxle(
                f"{thickness_in!r} in is not a shim thickness",
                subject=field,
                remedy="Give inches from 0 to 2",
            )
        scale = 1.0 if self.unit == "in" else MM_PER_IN
        return thickness_in * scale / float(step)

    def _laid(self, place: Place, used: tuple[int, ...], wanted_in: float) -> Stack:
        drawer = [size for size in self._drawer(place) if size.count != 0]
        pieces = [
            self._inches(size.thickness)
            for size, number in zip(drawer, used, strict=True)
            for _ in range(number)
        ]
        return Stack(tuple(sorted(pieces, reverse=True)), wanted_in)


def load_kit(path: Path) -> ShimKit:
    """A kit from a JSON file; raises InvalidAxle naming the file and the field."""
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as fault:
        raise InvalidAxle(
            "cannot be read", subject=str(path), remedy="Give a JSON file of shim sizes"
        ) from fault
    return ShimKit.from_json(text, str(path))


def save_kit(kit: ShimKit, path: Path, *, overwrite: bool = False) -> None:
    """Write a kit as JSON; raises WouldOverwrite when the file exists and `overwrite` is not set."""
    if path.exists() and not overwrite:
        raise WouldOverwrite("exists already", subject=str(path), remedy="Choose another name")
    path.write_text(kit.to_json() + "\n", encoding="utf-8")


# --- which way a shim moves things ------------------------------------------------------------


@dataclass(frozen=True)
class DepthShim:
    """What a pinion move asks of the depth shim at one location.

    `change_in` is + for thicker. `thickness_in` is the new shim, None where the present one is not
    known.
    """

    location: Literal["pinion_head", "cartridge"]
    change_in: float
    thickness_in: float | None


def depth_shim_for(
    pinion_move_in: float, location: DepthLocation, present_in: float | None = None
) -> tuple[DepthShim, ...]:
    """The depth shim for a pinion move (+ deeper): one entry, or both when the location is unknown.

    Under the pinion head or its inner cup thicker is deeper; under a bolt-on cartridge thicker is
    shallower (common practice; the cartridge sense also TM 5-3810-300-24&P2 p. 4-255). Raises
    InvalidAxle when the present shim is thinner than what would have to come out.
    """
    places: tuple[Literal["pinion_head", "cartridge"], ...] = (
        ("pinion_head", "cartridge") if location == "unknown" else (location,)
    )
    found = []
    for place in places:
        change = pinion_move_in if place == "pinion_head" else -pinion_move_in
        new = None if present_in is None else round(present_in + change, 7)
        if new is not None and new < 0:
            raise InvalidAxle(
                f"{present_in:g} in is too thin to take {-change:.4f} in out",
                subject="depth_shim_in",
                remedy="Measure the shim again, or check where it sits",
            )
        found.append(DepthShim(place, change, new))
    return tuple(found)


# --- files --------------------------------------------------------------------------------------


class _SizeLine(BaseModel):
    model_config = ConfigDict(extra="forbid")
    thickness: float = Field(gt=0, allow_inf_nan=False)
    count: int | None = Field(None, ge=0)


class _KitFile(BaseModel):
    model_config = ConfigDict(extra="forbid")
    name: str
    unit: Unit
    depth: list[_SizeLine] = []
    side: list[_SizeLine] = []


def _check_size(field: str, size: ShimSize, unit: Unit) -> None:
    thickest = 1.0 if unit == "in" else MM_PER_IN
    thinnest = 0.0005 if unit == "in" else 0.01
    if not isfinite(size.thickness) or not thinnest <= size.thickness <= thickest:
        raise InvalidAxle(
            f"{size.thickness!r} {unit} is no shim thickness",
            subject=f"{field}.thickness",
            remedy=f"Give {thinnest:g} to {thickest:g} {unit}; check the unit",
        )
    if size.count is not None and size.count < 0:
        raise InvalidAxle(f"{size.count} pieces", subject=f"{field}.count", remedy="Give 0 or more")


def _finite_counts(counts: list[int | None], sizes: list[int], wanted: float) -> list[int]:
    """Counts with 'as many as needed' replaced by what a stack of that height could hold at most."""
    return [
        int(wanted // size) + max(sizes) // size + 2 if count is None else count
        for count, size in zip(counts, sizes, strict=True)
    ]
