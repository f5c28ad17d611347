"""Accounts of how a set answers: what the estimate fits, whatever an account's unknowns are.

An account has K numbers of its own with a Gaussian prior. For any values of them and any positions it says
what would be seen (`View`). `ParabolaAccount` is the parabola of `response` about the right place;
`contact_account.ContactAccount` asks contact analysis.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from pattern.advice.marks import backlash_thou, centres, seen
from pattern.advice.response import BACKLASH, DIRECTION, GAIN, HALF, HOUSING, Response

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class View:
    """What n draws of an account show at t positions each.

    `place`, `extent` (n, t, 4) and `backlash_thou` (n, t) are as a shop sees them. `design` (n, 4) is where
    the marks are meant to lie. About the right position: `slopes` (n, 4, 2) per thousandth of pinion and ring
    gear, `away` (n, 4) from the design place, `backlash` (n, 3): there, per ring gear, per pinion (less).
    `beside` (n, m) are residuals of what is known besides, in standard deviations.
    """

    place: Array
    extent: Array
    backlash_thou: Array
    design: Array
    slopes: Array
    away: Array
    backlash: Array
    beside: Array


@dataclass(frozen=True, eq=False)
class Answers:
    """Draws as the choice of a move takes them: (n, 27) numbers of `response` and the design place (n, 4).

    `edge_half` (n, 4) are half extents of the mark that the tooth's edges cut, next to nothing where
    `response` tells the centres as seen.
    """

    response: Array
    design: Array
    edge_half: Array


class Account(Protocol):
    """One account of how a set answers."""

    @property
    def step(self) -> float:
        """A step in whitened numbers that shows slopes beyond rounding."""
        ...

    def prior(self) -> tuple[Array, Array]:
        """Mean (K,) and covariance (K, K) of its numbers."""
        ...

    def view(self, own: Array, pinion_thou: Array, ring_thou: Array) -> View:
        """What draws (n, K) show at positions (n, t)."""
        ...

    def answers(self, own: Array) -> Answers:
        """The draws (n, K) about their right place."""
        ...


_DESIGN, _RESPONSE = slice(0, 4), slice(4, None)


@dataclass(frozen=True, eq=False)
class ParabolaAccount:
    """Design place (4) and the numbers of a `Response` (27)."""

    response: Response
    design: Array
    design_sd: Array
    step: float = 1e-4

    def prior(self) -> tuple[Array, Array]:
        """Design place and response are independent."""
        mean = np.concatenate([self.design, self.response.mean])
        cov = np.zeros((len(mean), len(mean)))
        cov[_DESIGN, _DESIGN] = np.diag(self.design_sd**2)
        cov[_RESPONSE, _RESPONSE] = self.response.cov
        return mean, cov

    def view(self, own: Array, pinion_thou: Array, ring_thou: Array) -> View:
        """By the parabolic mark model of `marks`."""
        design, response = own[:, _DESIGN], own[:, _RESPONSE]
        wide = response[:, None, :]
        place, extent = seen(wide, centres(wide, design[:, None, :], pinion_thou, ring_thou))
        slopes = np.exp(response[:, GAIN])[:, :, None] * response[:, DIRECTION].reshape(-1, 4, 2)
        held = response[:, BACKLASH]
        return View(
            place, extent, backlash_thou(wide, pinion_thou, ring_thou), design, slopes,
            response[:, HOUSING], np.column_stack([held[:, 0], np.exp(held[:, 1:])]),
            np.empty((len(own), 0)),
        )  # fmt: skip

    def answers(self, own: Array) -> Answers:
        """The numbers themselves."""
        response = own[:, _RESPONSE]
        return Answers(response, own[:, _DESIGN], np.exp(response[:, HALF]))
