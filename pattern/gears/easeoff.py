"""Ease-off: how much the pinion is relieved against the conjugate one, all over the tooth.

The pinion of a real set is not conjugate to its ring gear: its tooth sides are crowned so that the
mark stays away from the edges. Relief at a ring gear position (lengthwise, profile), mm, normal:

    e = lengthwise·(2(l − centre_l))² + profile·(2(p − centre_p))² + bias·4(l − centre_l)(p − centre_p)

so `lengthwise_mm` is the relief at toe and heel, `profile_mm` at root and tip end and `bias_mm` at
the corners (+ at heel-tip and toe-root), when the centre is mid-tooth. No shop knows these; the
defaults give a mark of about half the tooth's length. Common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

LENGTHWISE_MM, PROFILE_MM, BIAS_MM = 0.030, 0.020, 0.0
"""Middle of the prior: what leaves a mark of half the length and six tenths of the depth."""
LENGTHWISE_SPREAD, PROFILE_SPREAD, BIAS_SPREAD_MM = 0.6, 0.6, 0.012
"""Spreads: of the logarithm for the two crownings, in mm for the bias."""


@dataclass(frozen=True, eq=False)
class EaseOff:
    """Crowning and bias of one tooth side; each a number or an array (draws,)."""

    lengthwise_mm: ArrayLike = LENGTHWISE_MM
    profile_mm: ArrayLike = PROFILE_MM
    bias_mm: ArrayLike = BIAS_MM
    centre_lengthwise: ArrayLike = 0.5
    centre_profile: ArrayLike = 0.5

    @property
    def draws(self) -> int:
        """How many ease-offs these are."""
        return max(np.size(value) for value in self.values)

    def columns(self, draws: int) -> EaseOff:
        """The same with every value a (draws, 1) column."""
        return EaseOff(
            *(
                np.broadcast_to(np.asarray(v, dtype=np.float64), (draws,))[:, None]
                for v in self.values
            )
        )

    def part(self, draws: int, which: slice) -> EaseOff:
        """Some of the ease-offs, counted as `draws` in all."""
        return EaseOff(*(np.asarray(value)[which, 0] for value in self.columns(draws).values))

    def relief_mm(self, lengthwise: Array, profile: Array) -> tuple[Array, Array, Array]:
        """Relief and its slopes along lengthwise and profile."""
        crown, height, bias, middle_l, middle_p = (
            np.asarray(value, dtype=np.float64) for value in self.values
        )
        along, across = 2 * (lengthwise - middle_l), 2 * (profile - middle_p)
        return (
            crown * along**2 + height * across**2 + bias * along * across,
            2 * (2 * crown * along + bias * across),
            2 * (2 * height * across + bias * along),
        )

    @property
    def values(self) -> tuple[ArrayLike, ...]:
        """The five in the order of the fields."""
        return (
            self.lengthwise_mm, self.profile_mm, self.bias_mm, self.centre_lengthwise,
            self.centre_profile,
        )  # fmt: skip


CONJUGATE = EaseOff(0.0, 0.0, 0.0)
"""No relief at all: the pair touches along whole lines."""
