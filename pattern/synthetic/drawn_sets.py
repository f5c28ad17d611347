"""Invented ring and pinion sets with hidden properties, for judging the advice in a closed loop.

Positions are in thousandths of an inch from the right place: pinion + deeper, ring gear + away.
Three makes of set answer to moves: `LinearSet` here knows nothing of contact analysis (random gains,
signs and curvature from wide priors, marks cut out of a quadratic gap on a grid), the sets of
`contact_sets` come from this project's contact analysis, those of `row_sets` from the trade's table. None shares code
with the estimate.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from pattern.records import Roll, SideReading

Array = NDArray[np.float64]
System = Literal["tapered", "uniform"]

RIGHT = (0.05, 0.06)
GOOD_ENOUGH = (0.10, 0.12)
LIMITS_THOU = (6.0, 10.0)
ROOM = 9
_EDGE_SHARE = 0.10
MIDDLE = np.array([0.47, 0.50])
DESIGN_SD = np.array([0.02, 0.02])
"""Where makers place the marks, a little to the toe of the middle; common practice, no source."""


@dataclass(frozen=True)
class TrueMark:
    """One side as it truly is: centre and 5 to 95 % extents, shares of the tooth."""

    lengthwise: float
    profile: float
    length: float
    width: float


class DrawnSet(Protocol):
    """What the closed loop needs of a set; `design` is (2, 2): drive and coast, (lengthwise, profile)."""

    system: System
    design: Array

    def marks(self, pinion_thou: float, ring_thou: float) -> tuple[TrueMark, TrueMark]:
        """Both marks at a position."""
        ...

    def survey(self, pinion_thou: Array, ring_thou: Array) -> tuple[Array, Array]:
        """Centres (n, 4) and backlash (n,) at many positions; at or below zero the set is bound."""
        ...

    def runs_off(self, pinion_thou: float, ring_thou: float) -> NDArray[np.bool_]:
        """Edges that the marks run off, (8,): toe, heel, tip and root of drive, then of coast."""
        ...

    def meant_to_run_off(self) -> NDArray[np.bool_]:
        """The same at the design place, in a housing without error: a wide mark may do so there too."""
        ...


def right_at(
    drawn: DrawnSet, pinion_thou: Array, ring_thou: Array, within: tuple[float, float] = RIGHT
) -> NDArray[np.bool_]:
    """Both true centres near enough to the set's design place, backlash inside its limits, (n,)."""
    centres, backlash = drawn.survey(pinion_thou, ring_thou)
    near = np.abs(centres - drawn.design.ravel()) < np.array([*within, *within])
    inside = (backlash >= LIMITS_THOU[0]) & (backlash <= LIMITS_THOU[1])
    return np.asarray(near.all(axis=1) & inside)


def is_right(
    drawn: DrawnSet, at_thou: tuple[float, float], within: tuple[float, float] = RIGHT
) -> bool:
    """Whether the set is right at one position."""
    return bool(right_at(drawn, np.array(at_thou[:1]), np.array(at_thou[1:]), within)[0])


def off_edges(drawn: DrawnSet, at_thou: tuple[float, float]) -> bool:
    """The marks run off no edge that they do not run off at the set's design place too."""
    return not np.any(drawn.runs_off(*at_thou) & ~drawn.meant_to_run_off())


def can_be_right(drawn: DrawnSet) -> bool:
    """A shop can bring it right: enough room that moves made to 0.0005 in can hit it.

    Housing errors may leave little or none; at least `ROOM` positions on a net of 0.001 in about the
    nominal one must be right.
    """
    steps = np.arange(-6.0, 6.1, 1.0)
    pinion, ring = np.meshgrid(steps, steps)
    return int(right_at(drawn, pinion.ravel(), ring.ravel()).sum()) >= ROOM


@dataclass(frozen=True)
class Noise:
    """What a shop's reading adds: standard deviations, lengthwise, profile, extent; thousandths."""

    lengthwise: float = 0.03
    profile: float = 0.05
    extent: float = 0.04
    backlash_thou: float = 0.5
    move_thou: float = 0.5

    def doubled(self) -> Noise:
        """Readings twice as noisy; backlash and moves as they are."""
        return Noise(2 * self.lengthwise, 2 * self.profile, 2 * self.extent)


def rolled(
    drawn: DrawnSet,
    at_thou: tuple[float, float],
    moved_thou: tuple[float, float] | None,
    noise: Noise,
    rng: np.random.Generator,
    sides: tuple[bool, bool] = (True, True),
) -> Roll:
    """One roll as the shop records it: noisy readings of the true marks, noisy backlash."""
    readings = [
        _noisy(mark, noise, rng) if seen else None
        for mark, seen in zip(drawn.marks(*at_thou), sides, strict=True)
    ]
    true_backlash = float(drawn.survey(*(np.array([at]) for at in at_thou))[1][0])
    backlash = max(true_backlash + noise.backlash_thou * rng.standard_normal(), 0.0)
    pinion_in, ring_in = (None, None) if moved_thou is None else np.array(moved_thou) / 1000.0
    return Roll(readings[0], readings[1], backlash / 1000.0, pinion_in, ring_in)


def _noisy(mark: TrueMark, noise: Noise, rng: np.random.Generator) -> SideReading:
    error = rng.standard_normal(4)
    return SideReading(
        float(np.clip(mark.lengthwise + noise.lengthwise * error[0], 0.0, 1.0)),
        float(np.clip(mark.profile + noise.profile * error[1], 0.0, 1.0)),
        noise.lengthwise,
        noise.profile,
        length=float(np.clip(mark.length + noise.extent * error[2], 0.02, 1.0)),
        width=float(np.clip(mark.width + noise.extent * error[3], 0.02, 1.0)),
    )


# --- the other make -----------------------------------------------------------------------------

_ALONG, _UP = np.meshgrid((np.arange(48) + 0.5) / 48, (np.arange(32) + 0.5) / 32, indexing="ij")


class LinearSet:
    """A set that answers linearly with a bend, gains and some signs drawn from wide priors.

    Signs follow the trade's table except for 3 % of drive and 8 % of coast sides lengthwise, which
    answer the other way. The mark is where a quadratic gap over the tooth stays under the film.
    """

    def __init__(self, system: System, rng: np.random.Generator) -> None:
        def about(spread: float) -> float:
            return float(np.exp(spread * rng.standard_normal()))

        self.system = system
        sign = -1.0 if system == "tapered" else 1.0
        along = 0.019 * about(0.4)
        up = 0.018 * about(0.3) if system == "tapered" else 0.008 * about(0.35)
        turned = [-1.0 if rng.random() < share else 1.0 for share in (0.03, 0.08)]
        length_gain, height_gain = (
            [about(0.35), about(0.35)],
            [about(0.30), about(0.30)],
        )
        held = np.empty((2, 2, 2))  # side, direction, member; pinion with the backlash held
        for s, side_sign in enumerate((1.0, -1.0)):
            ring_along = 0.008 * about(0.4) if s == 0 else -0.001 + 0.005 * rng.standard_normal()
            held[s, 0] = (
                length_gain[s] * side_sign * sign * turned[s] * along * about(0.15),
                length_gain[s] * ring_along,
            )
            held[s, 1] = height_gain[s] * np.array([-up * about(0.15), 0.007 * about(0.3)])
        self._answer = held
        self._answer[..., 0] -= 0.45 * held[..., 1]
        self._bend = rng.uniform(-0.3, 0.3, (2, 2))
        self.design = MIDDLE + DESIGN_SD * rng.standard_normal((2, 2))
        self._housing = np.array([0.015, 0.012]) * rng.standard_normal((2, 2))
        self._half = np.array(
            [
                (0.26 * np.sqrt(a) * about(0.08), 0.32 * np.sqrt(b) * about(0.1))
                for a, b in zip(length_gain, height_gain, strict=True)
            ]
        )
        self._tilt = rng.uniform(-0.4, 0.4, 2)
        self._backlash = (8.0 + 0.7 * rng.standard_normal(), 0.7 * about(0.06), 0.3 * about(0.12))

    def survey(self, pinion_thou: Array, ring_thou: Array) -> tuple[Array, Array]:
        """Centres (n, 4) and backlash (n,) at many positions."""
        right, ring, pinion = self._backlash
        marks = [self.marks(p, g) for p, g in zip(pinion_thou, ring_thou, strict=True)]
        centres = np.array([[d.lengthwise, d.profile, c.lengthwise, c.profile] for d, c in marks])
        return centres, right + ring * ring_thou - pinion * pinion_thou

    def marks(self, pinion_thou: float, ring_thou: float) -> tuple[TrueMark, TrueMark]:
        """Where the quadratic gap on the tooth is under the film, on a 48 by 32 grid."""
        centre = self._centre(pinion_thou, ring_thou)
        drive, coast = (true_mark(self._contact(s, centre[s]), _ALONG, _UP) for s in range(2))
        return drive, coast

    def _centre(self, pinion_thou: float, ring_thou: float) -> Array:
        shift = self._answer @ np.array([pinion_thou, ring_thou])
        bent = shift * (1 + np.clip(self._bend * shift, -0.4, 0.4))
        return np.asarray(self.design + self._housing + bent)

    def runs_off(self, pinion_thou: float, ring_thou: float) -> NDArray[np.bool_]:
        """Edges of which a tenth or more is marked, as in contact analysis."""
        return self._run_off(self._centre(pinion_thou, ring_thou))

    def meant_to_run_off(self) -> NDArray[np.bool_]:
        """The same with the uncut marks at the design place."""
        return self._run_off(self.design)

    def _run_off(self, centre: Array) -> NDArray[np.bool_]:
        marked = [self._contact(s, centre[s]) for s in range(2)]
        edges = [edge for m in marked for edge in (m[0], m[-1], m[:, -1], m[:, 0])]
        return np.array([edge.mean() >= _EDGE_SHARE for edge in edges])

    def _contact(self, s: int, centre: Array) -> NDArray[np.bool_]:
        along = (_ALONG - centre[0]) / self._half[s, 0]
        up = (_UP - centre[1]) / self._half[s, 1]
        gap = along**2 + up**2 + 2 * self._tilt[s] * along * up
        return np.asarray(gap - gap.min() < 1.0)


def true_mark(contact: NDArray[np.bool_], along: Array, up: Array) -> TrueMark:
    """Centre and 5 to 95 % extents of the contact cells."""
    u, v = along[contact], up[contact]
    length, width = (float(np.subtract(*np.quantile(x, [0.95, 0.05]))) for x in (u, v))
    return TrueMark(float(u.mean()), float(v.mean()), max(length, 0.02), max(width, 0.02))
