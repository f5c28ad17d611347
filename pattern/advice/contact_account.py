"""The account by contact analysis of this very set: its unknowns are what a gear engineer would name.

Unknown: the blank's open dimensions, film, crowning and bias of each side and where it lies, the housing's
offset and shaft angle, the backlash at the right place. Another maker's set may answer more or less than
computed, and lie a little elsewhere: a gain of each row and a place of each row are free besides. Marks come
from `pattern.gears.quick_marks`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pattern.advice.accounts import Answers, View
from pattern.advice.evidence import Evidence
from pattern.advice.marks import EXTENT_SHARE
from pattern.advice.response import BACKLASH, BEND, DIRECTION, HALF, HOUSING, SIZE, System
from pattern.gears.easeoff import BIAS_SPREAD_MM, LENGTHWISE_SPREAD, PROFILE_SPREAD
from pattern.gears.quick_marks import (
    BIAS_UNIT_MM,
    REFERENCE_DIAMETER_IN,
    QuickMarks,
    QuickSets,
    middle_blank,
    quick_marks,
)  # fmt: skip
from pattern.records import Axle

Array = NDArray[np.float64]

_BLANK, _FILM, _DRIVE, _COAST = slice(0, 8), 8, slice(9, 14), slice(14, 19)
_HOUSING, _GAIN, _PLACE = slice(19, 21), slice(21, 25), slice(25, 29)
_PLAY, _PLAY_GAIN, _SIZE = 29, 30, 31

_FILM_SD = 0.2
# housings: offset in thousandths, shaft angle in minutes (common practice for axle housings, from memory)
_HOUSING_SD = (0.9, 0.6)
# what another maker's set may differ by from its own contact analysis
_GAIN_SD, _PLACE_SD, _PLAY_GAIN_SD = 0.10, 0.008, 0.05
_CENTRE_SD_TOLD = 0.05  # of the crowning's middle, where the design place itself is told
_BACKLASH_SHARE_SD = 0.2  # of the width between the limits, at the right position
# a new set's mark covers a quarter to three quarters of the length (TM 5-3805-260-24 p. 3-244: about
# 30 %; NAVEDTRA 14050A p. 8-90: a third to two thirds; TM 10-3930-653-14&P p. 4-181: about 75 %)
_SHORTEST, _LONGEST, _LENGTH_SD = 0.25, 0.75, 0.04
_ASIDE_THOU = 3.0
_NET = np.array([(p, g) for p in (-4.0, 0.0, 4.0) for g in (-4.0, 0.0, 4.0)])
_UNCUT = 1e-3


@dataclass(frozen=True, eq=False)
class ContactAccount:
    """Contact analysis of sets that an axle's data allow, 31 numbers.

    `design_told` (4,) says which design places were told; the others follow from the crowning's middle.
    """

    system: System
    scale: float
    mean: Array
    sd: Array
    design: Array
    design_sd: Array
    design_told: NDArray[np.bool_]
    step: float = 0.02

    def prior(self) -> tuple[Array, Array]:
        """All numbers are independent; what the axle tells has no spread to speak of."""
        return self.mean, np.diag(np.maximum(self.sd, 1e-6) ** 2)

    def view(self, own: Array, pinion_thou: Array, ring_thou: Array) -> View:
        """At the positions, at rest in a true housing, at the right place and a little aside of it."""
        count, rolls = pinion_thou.shape
        places = np.zeros((count, rolls + 4, 4))
        places[:, :rolls, 0], places[:, :rolls, 1] = pinion_thou, ring_thou
        places[:, rolls + 2, 0] = places[:, rolls + 3, 1] = _ASIDE_THOU
        places[:, :, 2:] = own[:, None, _HOUSING]
        places[:, rolls, 2:] = 0.0  # the drawing's place: the housing is true there
        found = self._marks(own, places)
        rest, right = found.centre[:, rolls], found.centre[:, rolls + 1]
        shown = self._placed(own, found, right)
        aside = shown[:, rolls + 2 :] - shown[:, rolls + 1, None]
        backlash = self._backlash(own, found.play_thou, found.play_thou[:, rolls])
        change = (backlash[:, rolls + 2 :] - backlash[:, rolls + 1, None]) / _ASIDE_THOU
        long = found.extent[:, rolls, ::2]
        length = np.maximum(np.maximum(_SHORTEST - long, long - _LONGEST), 0.0) / _LENGTH_SD
        told = np.where(self.design_told, (rest - self.design) / self.design_sd, 0.0)
        return View(
            place=shown[:, :rolls], extent=found.extent[:, :rolls], backlash_thou=backlash[:, :rolls],
            design=rest, slopes=np.moveaxis(aside, 1, 2) / _ASIDE_THOU, away=shown[:, rolls + 1] - rest,
            backlash=np.column_stack([backlash[:, rolls + 1], change[:, 1], -change[:, 0]]),
            beside=np.concatenate([length, told], axis=1),
        )  # fmt: skip

    def answers(self, own: Array) -> Answers:
        """The parabola that follows the marks as seen over a net about the right place."""
        places = np.zeros((len(own), len(_NET) + 1, 4))
        places[:, :-1, :2] = _NET
        places[:, :-1, 2:] = own[:, None, _HOUSING]
        found = self._marks(own, places)
        middle = len(_NET) // 2
        rest = found.centre[:, -1]
        shown = self._placed(own, found, found.centre[:, middle])[:, :-1]
        backlash = self._backlash(own, found.play_thou, found.play_thou[:, -1])[:, :-1]
        right = shown[:, middle]
        slopes = np.einsum("mk,nkr->nrm", np.linalg.pinv(_NET), shown - right[:, None])
        shift = np.einsum("nrm,km->nkr", slopes, _NET)
        bend = _quadratic(shift, shown - right[:, None] - shift)
        rates = np.einsum("mk,nk->nm", np.linalg.pinv(_NET), backlash - backlash[:, middle, None])
        response = np.zeros((len(own), SIZE))
        response[:, HOUSING], response[:, BEND] = right - rest, bend
        response[:, DIRECTION] = slopes.reshape(-1, 8)
        response[:, HALF] = np.log(np.maximum(found.extent[:, middle], 0.02) / EXTENT_SHARE / 2)
        held = np.column_stack([rates[:, 1], -rates[:, 0]])
        response[:, BACKLASH] = np.column_stack(
            [backlash[:, middle], np.log(np.maximum(held, 1e-3))]
        )
        return Answers(response, rest, np.full((len(own), 4), _UNCUT))

    def _marks(self, own: Array, places: Array) -> QuickMarks:
        sets = QuickSets(own[:, _BLANK], own[:, _FILM], own[:, _DRIVE], own[:, _COAST], self.scale)
        return quick_marks(self.system, sets, places)

    def _placed(self, own: Array, found: QuickMarks, right: Array) -> Array:
        """Centres with the gain and the place of another maker's set, (n, t, 4)."""
        shift = np.exp(own[:, None, _GAIN]) * (found.centre - right[:, None])
        return np.asarray(np.clip(right[:, None] + own[:, None, _PLACE] + shift, 0.0, 1.0))

    def _backlash(self, own: Array, play_thou: Array, rest_thou: Array) -> Array:
        change = np.exp(own[:, _PLAY_GAIN, None]) * (play_thou - rest_thou[:, None])
        return np.asarray(own[:, _PLAY, None] + change)


def contact_account(axle: Axle, system: System, evidence: Evidence) -> ContactAccount:
    """The account of an axle's set taken as `system`. Raises InvalidAxle."""
    mean, sd = np.zeros(_SIZE), np.zeros(_SIZE)
    mean[_BLANK], sd[_BLANK] = middle_blank(axle, system)
    sd[_FILM] = _FILM_SD
    for s, side in enumerate((_DRIVE, _COAST)):
        rows = slice(2 * s, 2 * s + 2)
        told = evidence.design_told[rows]
        mean[side] = 0.0, 0.0, 0.0, *evidence.design[rows]
        sd[side] = (
            LENGTHWISE_SPREAD, PROFILE_SPREAD, BIAS_SPREAD_MM / BIAS_UNIT_MM,
            *np.where(told, _CENTRE_SD_TOLD, evidence.design_sd[rows]),
        )  # fmt: skip
    sd[_HOUSING], sd[_GAIN], sd[_PLACE] = _HOUSING_SD, _GAIN_SD, _PLACE_SD
    low, high = evidence.limits_thou
    mean[_PLAY], sd[_PLAY] = (low + high) / 2, _BACKLASH_SHARE_SD * (high - low)
    sd[_PLAY_GAIN] = _PLAY_GAIN_SD
    return ContactAccount(
        system, REFERENCE_DIAMETER_IN / axle.ring_diameter_in, mean, sd, evidence.design,
        evidence.design_sd, evidence.design_told,
    )  # fmt: skip


def _quadratic(shift: Array, left: Array) -> Array:
    """Least-squares factor of shift**2 in what is left, (n, 4); shift and left are (n, k, 4)."""
    square = shift**2
    return np.asarray(np.sum(left * square, axis=1) / (np.sum(square**2, axis=1) + 1e-12))
