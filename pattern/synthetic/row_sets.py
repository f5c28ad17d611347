"""Sets from the trade's own table: four response rows, marks as plain intervals, no tooth form at all.

The outside make for judging the advice in a closed loop. It shares no code with the estimate, with
contact analysis, with `drawn_sets.LinearSet` or with `experience_sets`, and no network was trained on
it. Settings of the advice were compared on its sets of seed 31: report other seeds.

Rows of four are drive lengthwise, drive profile, coast lengthwise, coast profile, in shares of the
tooth; positions in thousandths from the nominal place, pinion + deeper, ring gear + away. Signs and
sizes are common practice, no source (lengthwise signs of a pinion move on tapered sets:
TM 9-2320-266-34 para 19-5c; on uniform sets TM 5-3805-260-24 p. 3-244); the spreads are chosen wide,
so that no set is the table. Normal unless a range is given:

- each row answers 0.5 to 1.7 times as much as the table, each of its two entries 0.15 (log) otherwise;
- 0.15 of a side's other row shows in a row, either way: lengthwise and profile are never quite apart;
- a cross-quadratic term bends the rows: at 15 thousandths of both members 0.018 for each of its parts;
- no centre goes further than 0.42 to 0.55 from its place: the answer saturates as tanh does;
- makers place marks a little to the toe, 0.022 about it, and no further than 0.06 from mid-tooth;
- a housing puts them 0.015 lengthwise and 0.012 in profile from there;
- a mark is an interval 0.30 to 0.62 long and 0.40 to 0.75 wide that grows or shrinks with the shift of
  its centre, by half of it and by a quarter of its square, either way, and is cut at the tooth's edges;
- backlash starts at 8 thousandths, 0.8 about it, 0.7 a thousandth of ring gear within 10 %, 0.3 a
  thousandth of pinion within 15 %.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pattern.synthetic.drawn_sets import MIDDLE, Array, System, TrueMark

# per thousandth: pinion with the backlash held, ring gear
_TABLE: dict[System, Array] = {
    "tapered": np.array([[-0.016, 0.011], [-0.019, 0.005], [0.013, -0.002], [-0.018, 0.007]]),
    "uniform": np.array([[0.014, 0.012], [-0.012, 0.006], [-0.019, -0.004], [-0.012, 0.006]]),
}
_HELD_RATIO = 0.45  # thousandths of ring gear that hold the backlash for one of pinion

_GAIN = (0.5, 1.7)
_ENTRY_SD = 0.15
_OTHER_ROW = ((0, 1), (1, 0), (2, 3), (3, 2))
_OTHER_ROW_SD = 0.15
# one number in two factors: multiplied out, measured sets would change in their last bit
_QUADRATIC_SD, _QUADRATIC_SHARE = 0.0004, 0.2
_FURTHEST = (0.42, 0.55)
_TO_THE_TOE = np.array([0.015, 0.0])
_DESIGN_SD, _DESIGN_WITHIN = 0.022, 0.06
_HOUSING_SD = np.array([0.015, 0.012, 0.015, 0.012])
_LEAST_SIZE, _MOST_SIZE = np.array([0.30, 0.40, 0.30, 0.40]), np.array([0.62, 0.75, 0.62, 0.75])
_GROWTH_SD, _GROWS_UP_TO = 0.25, 0.4
_LEAST_LEFT = 0.03  # of a mark that has all but left the tooth
_SEEN_SHARE = 0.85  # 5 to 95 % of a mark from end to end
_RING_PLAY, _PINION_PLAY = (0.7, 0.10), (0.3, 0.15)
_RIGHT_PLAY_THOU, _RIGHT_PLAY_SD_THOU = 8.0, 0.8


class RowSet:
    """A set that answers by the trade's table, each number of it drawn; see the module's head."""

    def __init__(self, system: System, rng: np.random.Generator) -> None:
        self.system = system
        self._rows = _rows(system, rng)
        self._quadratic = _QUADRATIC_SD * rng.standard_normal((4, 3))
        self._furthest = rng.uniform(*_FURTHEST, 4)
        self.design = _design(rng)
        self._place = self.design.ravel() + _HOUSING_SD * rng.standard_normal(4)
        self._size = rng.uniform(_LEAST_SIZE, _MOST_SIZE)
        self._growth = _GROWTH_SD * rng.standard_normal((4, 2))
        self._ring_play, self._pinion_play = (
            rate * rng.uniform(1 - off, 1 + off) for rate, off in (_RING_PLAY, _PINION_PLAY)
        )
        self._right_play = _RIGHT_PLAY_THOU + _RIGHT_PLAY_SD_THOU * rng.standard_normal()

    def survey(self, pinion_thou: Array, ring_thou: Array) -> tuple[Array, Array]:
        """Centres (n, 4) of the marks as cut and backlash (n,) in thousandths; bound at or below 0."""
        low, high = _cut(*self._uncut(self._place, self._shift(pinion_thou, ring_thou)))
        ring, pinion = self._ring_play * ring_thou, self._pinion_play * pinion_thou
        return (low + high) / 2, self._right_play + ring - pinion

    def marks(self, pinion_thou: float, ring_thou: float) -> tuple[TrueMark, TrueMark]:
        """Both marks at a position, drive first, as cut by the tooth's edges."""
        low, high = _cut(*self._uncut(self._place, self._shift_at(pinion_thou, ring_thou)))
        centre, extent = (low + high) / 2, (high - low) * _SEEN_SHARE
        drive, coast = (
            TrueMark(*(float(x) for x in (*centre[side], *extent[side])))
            for side in (slice(0, 2), slice(2, 4))
        )
        return drive, coast

    def runs_off(self, pinion_thou: float, ring_thou: float) -> NDArray[np.bool_]:
        """Edges that the uncut marks reach or pass, (8,): toe, heel, tip, root of drive, then coast."""
        return _reached(*self._uncut(self._place, self._shift_at(pinion_thou, ring_thou)))

    def meant_to_run_off(self) -> NDArray[np.bool_]:
        """The same at the design place; the sizes drawn leave room there at every edge."""
        return _reached(*self._uncut(self.design.ravel(), np.zeros(4)))

    def _shift(self, pinion_thou: Array, ring_thou: Array) -> Array:
        """How far every centre (n, 4) goes from its place."""
        p, g = pinion_thou[:, None], ring_thou[:, None]
        shift = self._rows[:, 0] * p + self._rows[:, 1] * g
        for k, product in enumerate((p * p, p * g, g * g)):
            shift = shift + self._quadratic[:, k] * product * _QUADRATIC_SHARE
        return np.asarray(self._furthest * np.tanh(shift / self._furthest))

    def _shift_at(self, pinion_thou: float, ring_thou: float) -> Array:
        return np.asarray(self._shift(np.array([pinion_thou]), np.array([ring_thou]))[0])

    def _uncut(self, place: Array, shift: Array) -> tuple[Array, Array]:
        """Both ends of the marks, as if the tooth had no edges; toe and root end first."""
        grown = np.clip(shift, -_GROWS_UP_TO, _GROWS_UP_TO)
        growth = 1 + 2 * self._growth[:, 0] * grown + self._growth[:, 1] * grown**2
        centre, half = place + shift, self._size / 2 * growth
        return centre - half, centre + half


def _rows(system: System, rng: np.random.Generator) -> Array:
    """What one thousandth of pinion and of ring gear, each moved alone, does, (4, 2)."""
    gain = rng.uniform(*_GAIN, 4)
    held = _TABLE[system] * gain[:, None] * np.exp(_ENTRY_SD * rng.standard_normal((4, 2)))
    mixed = np.eye(4)
    for row, other in _OTHER_ROW:
        mixed[row, other] = _OTHER_ROW_SD * rng.standard_normal()
    held = mixed @ held
    return np.column_stack([held[:, 0] - _HELD_RATIO * held[:, 1], held[:, 1]])


def _design(rng: np.random.Generator) -> Array:
    while True:
        design = MIDDLE - _TO_THE_TOE + _DESIGN_SD * rng.standard_normal((2, 2))
        if np.all(np.abs(design - 0.5) <= _DESIGN_WITHIN):
            return np.asarray(design)


def _cut(low: Array, high: Array) -> tuple[Array, Array]:
    """The ends on the tooth; of a mark beyond an edge a sliver is left at that edge."""
    low, high = np.clip(low, 0.0, 1.0), np.clip(high, 0.0, 1.0)
    gone = high - low < _LEAST_LEFT
    low = np.where(gone, np.minimum(low, 1 - _LEAST_LEFT), low)
    return low, np.where(gone, low + _LEAST_LEFT, high)


def _reached(low: Array, high: Array) -> NDArray[np.bool_]:
    before, past = low <= 0.0, high >= 1.0
    return np.array([
        edge
        for lengthwise, profile in ((0, 1), (2, 3))
        for edge in (before[lengthwise], past[lengthwise], past[profile], before[profile])
    ])  # fmt: skip
