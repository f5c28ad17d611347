"""Sets by the hundred thousand on one device, for the training of `pattern.advice.experience`. Needs torch.

Two kinds, so that what is learnt holds for more than one idea of how a set answers:

- `ContactSets` answer as contact analysis does, by the networks of `gears.quick_marks`. Blank, crowning, film and
  housing are drawn as the estimate draws them, film 0.2 (log), housing 0.00085 in of offset and 0.55 minutes of
  shaft angle: a little wider than the closed loop's sets. Half of them answer a little otherwise than computed, for
  no set is its drawing: gain 0.15 (log), place 0.010 of the tooth, backlash factor 0.07 (log).
- `FreeSets` know nothing of contact analysis: the trade's signs and sizes (`advice.response.documented_response`),
  spread so widely that what the estimate believes of sets is only one part of them. They share no code with
  `drawn_sets.LinearSet`, on which the closed loop judges the advice too, but much of its idea: a bent straight line,
  marks that are longer on livelier sets, the trade's sizes, as many sides that answer the other way. So a gain on
  linear sets says little of other makes; `row_sets`, of another form, which no network learnt from, says more.

Everywhere n sets, k positions: positions (n, k, 2) in thousandths of an inch from the nominal place, pinion + deeper,
ring gear + away; centres and 5 to 95 % extents (n, k, 4), shares of the tooth: drive lengthwise, drive profile, coast
lengthwise, coast profile; backlash (n, k) in thousandths. Spreads are standard deviations, of the logarithm for
factors.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass, fields, replace
from importlib.resources import files
from typing import Any, Self

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor

from pattern.advice.response import DIRECTION, HELD_RATIO, TURNED_SHARE, documented_response
from pattern.gears.blank import System
from pattern.gears.easeoff import BIAS_SPREAD_MM, LENGTHWISE_SPREAD, PROFILE_SPREAD
from pattern.gears.quick_marks import BIAS_UNIT_MM
from pattern.records import SIDES
from pattern.synthetic.contact_sets import FILM_SD, LONGEST, SHORTEST
from pattern.synthetic.drawn_sets import GOOD_ENOUGH, MIDDLE, RIGHT, ROOM
from pattern.synthetic.experience_axles import PLAIN, Axles

Answer = tuple[Tensor, Tensor, Tensor]
"""Centres and extents (n, k, 4) and backlash (n, k)."""

LEAST_EXTENT = 0.02
_RIGHT_PLAY_SHARE = 0.19  # of the width between the limits, about their middle

_EASE_SPREADS = (LENGTHWISE_SPREAD, PROFILE_SPREAD, BIAS_SPREAD_MM / BIAS_UNIT_MM)
_OFFSET_SD_THOU, _SHAFT_SD_MINUTES = 0.85, 0.55
_OTHERWISE_SHARE = 0.5
_OTHERWISE_GAIN, _OTHERWISE_PLACE, _OTHERWISE_PLAY = 0.15, 0.010, 0.07

_GAIN_IN_COMMON = (0.32, 0.26)  # lengthwise, profile: both sides alike
_GAIN_SD = 0.30  # each row's own
_PINION_SD, _RING_SD = 0.12, 0.35  # of the documented sizes
_EITHER_SD = 0.0012  # added to both, so that small sizes may turn their sign
_COAST_RING_SD = 0.004  # the coast side's lengthwise answer to the ring gear goes either way
_CROSS_SD = 0.10  # of the answer across the tooth that shows lengthwise, and the other way round
_MOST_BEND, _MOST_BENT = 0.4, 0.4
_SATURATES, _SATURATION, _NEVER = 0.5, (0.40, 0.65), 9.0
_HOUSING_SD = (0.017, 0.013, 0.017, 0.013)
_HALF = (0.26, 0.33, 0.26, 0.33)
# half**2 = 2 film / curvature and a shift goes with 1 / curvature: a mark of a livelier set is longer
_TIED_SHARE, _HALF_PER_GAIN, _HALF_SD, _UNTIED_SD = 0.7, 0.5, (0.05, 0.08), 0.2  # sd: film, form
_GROWS_SHARE, _GROWTH_SD = 0.5, 0.3
_TILT_SD, _TILTED_BY = 0.3, 0.3
_RING_PLAY, _RING_PLAY_SD, _PINION_PLAY_SD = 0.7, 0.08, 0.15
_SEEN_SHARE, _LEAST_REACH = 0.85, 0.024  # 5 to 95 % of a mark from end to end


class _Draws:
    """Seeded normal and uniform numbers on a device."""

    def __init__(self, generator: torch.Generator) -> None:
        self.generator, self.device = generator, generator.device

    def normal(self, *size: int) -> Tensor:
        return torch.randn(*size, generator=self.generator, device=self.device)

    def uniform(self, *size: int) -> Tensor:
        return torch.rand(*size, generator=self.generator, device=self.device)

    def below(self, top: int, count: int) -> Tensor:
        return torch.randint(top, (count,), generator=self.generator, device=self.device)

    def row(self, *values: float) -> Tensor:
        return torch.tensor(values, dtype=torch.float32, device=self.device)

    def right_play(self, limits_thou: Tensor) -> Tensor:
        """Backlash (n,) at the nominal place."""
        middle, width = limits_thou.mean(-1), limits_thou[:, 1] - limits_thou[:, 0]
        return middle + _RIGHT_PLAY_SHARE * width * self.normal(len(limits_thou))


@dataclass(frozen=True, eq=False)
class Sets(ABC):
    """n sets: `axle` (n,) numbers their axles, `design` (n, 4) is where their marks are meant to lie."""

    axle: Tensor
    scale: Tensor
    limits_thou: Tensor
    design: Tensor

    def __len__(self) -> int:
        return len(self.scale)

    @abstractmethod
    def answer(self, place_thou: Tensor) -> Answer:
        """Marks and backlash of every set at its own positions (n, k, 2)."""

    def at(self, which: Tensor, place_thou: Tensor) -> Answer:
        """The same for the sets numbered `which` (m,), at positions (m, k, 2)."""
        return self.taken(which).answer(place_thou)

    def taken(self, which: Tensor) -> Self:
        """Some of the sets, by number or mask."""
        return replace(self, **{name: value[which] for name, value in self._tensors()})

    def joined(self, more: Self) -> Self:
        """These sets and more of their kind."""
        return replace(
            self, **{name: torch.cat([value, getattr(more, name)]) for name, value in self._tensors()}
        )  # fmt: skip

    def _tensors(self) -> list[tuple[str, Any]]:
        held = ((field.name, getattr(self, field.name)) for field in fields(self))
        return [(name, value) for name, value in held if isinstance(value, Tensor)]


# --- by contact analysis ------------------------------------------------------------------------


class ContactMarks:
    """`gears.quick_marks` of one tooth system in torch, from the same weights."""

    def __init__(self, system: System, device: torch.device) -> None:
        with (files("pattern.gears") / "quick_marks.npz").open("rb") as file:
            held = np.load(file)
            self._nets = {
                part: [
                    torch.as_tensor(held[f"{system} {part} {layer} {kind}"], device=device)
                    for layer in range(3)
                    for kind in ("weight", "bias")
                ]
                for part in ("drive", "coast", "play")
            }

    def __call__(self, sets: ContactSets, place: Tensor) -> Answer:
        """Marks and play up to a constant at places (n, k, 4): pinion, ring, offset (thou), shaft (minutes)."""
        scale = sets.scale
        place = place * torch.stack([scale, scale, scale, torch.ones_like(scale)], -1)[:, None]
        grown = torch.log(scale)
        drive, coast = (
            self._side(side, sets, ease, grown, place)
            for side, ease in (("drive", sets.drive), ("coast", sets.coast))
        )
        play = self._play(sets.blank, place) / scale[:, None]
        centre = torch.cat([drive[..., :2], coast[..., :2]], -1)
        return centre, torch.cat([drive[..., 2:], coast[..., 2:]], -1), play

    def _side(
        self, side: str, sets: ContactSets, ease: Tensor, grown: Tensor, place: Tensor
    ) -> Tensor:
        crown, height, bias = ease[:, 0] + grown, ease[:, 1] + grown, ease[:, 2] * sets.scale
        shape = torch.cat([torch.stack([crown, height, bias], -1), ease[:, 3:]], -1)
        own = torch.cat([sets.blank, (sets.film + grown)[:, None], shape], -1)
        weight, bias0, weight1, bias1, weight2, bias2 = self._nets[side]
        still = own @ weight[: own.shape[-1]] + bias0
        hidden = torch.tanh(place @ weight[own.shape[-1] :] + still[:, None])
        return torch.tanh(hidden @ weight1 + bias1) @ weight2 + bias2

    def _play(self, blank: Tensor, place: Tensor) -> Tensor:
        weight, bias, weight1, bias1, weight2, bias2 = self._nets["play"]
        rates = torch.tanh(torch.tanh(blank @ weight + bias) @ weight1 + bias1) @ weight2 + bias2
        pinion, ring, offset, shaft = place.unbind(-1)
        second = (pinion * pinion / 25, pinion * ring / 25, ring * ring / 25)
        return (torch.stack([pinion, ring, offset, shaft, *second], -1) * rates[:, None]).sum(-1)


@dataclass(frozen=True, eq=False)
class ContactSets(Sets):
    """Sets by contact analysis; `blank`, `film`, `drive`, `coast` as `QuickSets` takes them.

    `housing` (n, 2): offset in thousandths, shaft angle in minutes. `gain`, `place` (n, 4), `play_gain` (n,): how
    each answers otherwise than computed. `right` (n, 4), `rest_thou` (n,): computed centres and play at the nominal
    place; `play_thou` (n,): the backlash there.
    """

    marks: ContactMarks
    blank: Tensor
    film: Tensor
    drive: Tensor
    coast: Tensor
    housing: Tensor
    gain: Tensor
    place: Tensor
    play_gain: Tensor
    play_thou: Tensor
    right: Tensor
    rest_thou: Tensor

    @classmethod
    def draw(
        cls, marks: ContactMarks, axles: Axles, count: int, generator: torch.Generator
    ) -> ContactSets:
        """Draw sets; those with a mark shorter than a quarter or longer than three quarters are left out."""
        draws = _Draws(generator)
        of = draws.below(len(axles.scale), count)
        held = {
            "axle": of, "scale": axles.scale[of], "limits_thou": axles.limits_thou[of],
            "blank": axles.middle[of] + axles.spread[of] * draws.normal(count, 8),
            "film": FILM_SD * draws.normal(count),
        }  # fmt: skip
        for side in ("drive", "coast"):
            place = draws.row(*MIDDLE) + axles.design_sd[of][:, None] * draws.normal(count, 2)
            held[side] = torch.cat([draws.row(*_EASE_SPREADS) * draws.normal(count, 3), place], -1)
        held["housing"] = torch.stack(
            [_OFFSET_SD_THOU * draws.normal(count), _SHAFT_SD_MINUTES * draws.normal(count)], -1
        )
        otherwise = (draws.uniform(count) < _OTHERWISE_SHARE).float()[:, None]
        held["gain"] = otherwise * _OTHERWISE_GAIN * draws.normal(count, 4)
        held["place"] = otherwise * _OTHERWISE_PLACE * draws.normal(count, 4)
        held["play_gain"] = otherwise[:, 0] * _OTHERWISE_PLAY * draws.normal(count)
        held["play_thou"] = draws.right_play(held["limits_thou"])
        nothing = torch.zeros(count, 4, device=draws.device)
        drawn = cls(marks=marks, **held, design=nothing, right=nothing, rest_thou=nothing[:, 0])
        at_rest = torch.zeros(count, 2, 4, device=draws.device)
        at_rest[:, 1, 2:] = held["housing"]  # the design place knows no housing error
        centre, extent, play = marks(drawn, at_rest)
        length = extent[:, 0, ::2]
        whole = ((length > SHORTEST) & (length < LONGEST)).all(-1)
        known = replace(drawn, design=centre[:, 0], right=centre[:, 1], rest_thou=play[:, 0])
        return known.taken(whole)

    def answer(self, place_thou: Tensor) -> Answer:
        """What the networks say at (n, k, 2), moved and stretched about the nominal place."""
        housing = self.housing[:, None].expand(-1, place_thou.shape[1], -1)
        centre, extent, play = self.marks(self, torch.cat([place_thou, housing], -1))
        right = self.right[:, None]
        shift = torch.exp(self.gain)[:, None] * (centre - right)
        centre = (right + self.place[:, None] + shift).clip(0, 1)
        taken_up = torch.exp(self.play_gain)[:, None] * (play - self.rest_thou[:, None])
        return centre, extent.clamp(LEAST_EXTENT, 1), self.play_thou[:, None] + taken_up


# --- of no make ---------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class FreeSets(Sets):
    """Sets of the trade's signs and sizes; rows of four as everywhere.

    `direction` (n, 4, 2): shift per thousandth of pinion and ring gear. `bend` (n, 4): growth of an answer per share
    of the tooth moved. `saturation` (n, 4): the shift that no move exceeds. `housing` (n, 4): the centre's error at the
    nominal place. `half` (n, 4): half the uncut mark. `growth` (n, 4, 2): how it grows with the shift, first and
    second order. `tilt` (n, 2): a slanting mark shifts across the tooth where an edge cuts it. `play` (n, 3): backlash
    at the nominal place (thou), per thousandth of ring gear away and of pinion deeper, which takes some.
    """

    direction: Tensor
    bend: Tensor
    saturation: Tensor
    housing: Tensor
    half: Tensor
    growth: Tensor
    tilt: Tensor
    play: Tensor

    @classmethod
    def draw(cls, system: System, axles: Axles, count: int, generator: torch.Generator) -> FreeSets:
        """Draw sets of one tooth system.

        Gain (log) 0.32 lengthwise and 0.26 in profile for both sides alike, 0.30 for each row; answers 0.12 (pinion)
        and 0.35 (ring gear) of the documented size (log) and 0.0012 of the tooth a thousandth; 3 % of drive and 8 %
        of coast sides the other way; bend up to 0.4; half of the sets saturate at 0.40 to 0.65 of the tooth;
        housing 0.017 and 0.013 of the tooth. Chosen wide, by the trade's sense; fitted to nothing.
        """
        draws = _Draws(generator)
        of = draws.below(len(axles.scale), count)
        limits = axles.limits_thou[of]
        direction, gain = _directions(system, axles.scale[of], draws)
        bend = 2 * _MOST_BEND * draws.uniform(count, 4) - _MOST_BEND
        saturates = draws.uniform(count, 1) < _SATURATES
        low, high = _SATURATION
        saturation = torch.where(
            saturates, low + (high - low) * draws.uniform(count, 4), torch.full_like(bend, _NEVER)
        )
        usual = draws.row(*MIDDLE, *MIDDLE)
        design = usual + axles.design_sd[of][:, None] * draws.normal(count, 4)
        housing = draws.row(*_HOUSING_SD) * draws.normal(count, 4)
        tied = (draws.uniform(count) < _TIED_SHARE).float()[:, None]
        log_half = _HALF_PER_GAIN * tied * gain
        for sd in _HALF_SD:
            log_half = log_half + sd * draws.normal(count, 4)
        log_half = log_half + (1 - tied) * _UNTIED_SD * draws.normal(count, 4)
        grows = (draws.uniform(count) < _GROWS_SHARE).float()[:, None, None]
        growth = grows * _GROWTH_SD * draws.normal(count, 4, 2)
        tilt = _TILT_SD * draws.normal(count, 2)
        ring = _RING_PLAY * torch.exp(_RING_PLAY_SD * draws.normal(count))
        right = draws.right_play(limits)
        pinion = HELD_RATIO * ring * torch.exp(_PINION_PLAY_SD * draws.normal(count))
        return cls(
            of, axles.scale[of], limits, design, direction, bend, saturation, housing,
            draws.row(*_HALF) * torch.exp(log_half), growth, tilt, torch.stack([right, ring, pinion], -1),
        )  # fmt: skip

    def answer(self, place_thou: Tensor) -> Answer:
        """Shift, bend and saturate the uncut marks, then let the tooth's edges cut them."""
        shift = (self.direction[:, None] * place_thou[:, :, None, :]).sum(-1)
        shift = shift * (1 + (self.bend[:, None] * shift).clamp(-_MOST_BENT, _MOST_BENT))
        most = self.saturation[:, None]
        shift = most * torch.tanh(shift / most)
        uncut = self.design[:, None] + self.housing[:, None] + shift
        first, second = self.growth[:, None].unbind(-1)
        moved = shift.clamp(-0.4, 0.4)
        grown = (1 + first * 2 * moved + second * moved * moved).clamp(0.4, 2.0)
        half = self.half[:, None] * grown
        # a mark whose centre has left the tooth still touches its edge: the gap is smallest there
        beyond = torch.maximum(-uncut, uncut - 1).clamp(min=0)
        reach = torch.sqrt(half**2 + beyond**2)
        low, high = (uncut - reach).clamp(0, 1), (uncut + reach).clamp(0, 1)
        centre = 0.5 * (low + high)
        extent = _SEEN_SHARE * (high - low).clamp(min=_LEAST_REACH)
        centre = (centre + self._slant(centre - uncut)).clamp(0.01, 0.99)
        right, ring, pinion = self.play[:, None].unbind(-1)
        backlash = right + ring * place_thou[..., 1] - pinion * place_thou[..., 0]
        return centre, extent.clamp(LEAST_EXTENT, 1), backlash

    def _slant(self, cut: Tensor) -> Tensor:
        """Shift of each row by what an edge cut off the row across it."""
        across = cut.clamp(-_TILTED_BY, _TILTED_BY).unflatten(-1, (2, 2)).flip(-1)
        return (self.tilt[:, None, :, None] * across).flatten(-2)


def _directions(system: System, scale: Tensor, draws: _Draws) -> tuple[Tensor, Tensor]:
    """Shift of each row per thousandth (n, 4, 2), and log of its gain (n, 4), which is in the shift already."""
    count = len(scale)
    lengthwise, profile = (sd * draws.normal(count) for sd in _GAIN_IN_COMMON)
    gain = torch.stack([lengthwise, profile] * 2, -1)
    gain = gain + (_GAIN_SD * draws.normal(count, 2, 2)).reshape(count, 4)
    pinion, ring = draws.row(*_documented(system).ravel()).reshape(4, 2).unbind(-1)
    held = torch.stack(
        [
            pinion * torch.exp(_PINION_SD * draws.normal(count, 4)),
            ring * torch.exp(_RING_SD * draws.normal(count, 4)),
        ],
        -1,
    )
    held = held + _EITHER_SD * draws.normal(count, 4, 2)
    held[:, 2, 1] += _COAST_RING_SD * draws.normal(count)
    turned = [draws.uniform(count) < TURNED_SHARE[side] for side in SIDES]
    for row, other_way in zip((0, 2), turned, strict=True):
        held[:, row, 0] = torch.where(other_way, -held[:, row, 0], held[:, row, 0])
    held = held * torch.exp(gain)[..., None]
    across = held[:, [1, 0, 3, 2]]
    held = held + _CROSS_SD * draws.normal(count, 4)[..., None] * across
    # drawn with the backlash held, as the trade's table is read; a pinion move alone leaves the ring gear's part out
    direction = held.clone()
    direction[..., 0] -= HELD_RATIO * held[..., 1]
    return direction * scale[:, None, None], gain


def _documented(system: System) -> NDArray[np.float64]:
    """The trade's sizes (4, 2) at the reference diameter: pinion with the backlash held, ring gear."""
    held = documented_response(PLAIN, system).mean[DIRECTION].reshape(4, 2).copy()
    held[:, 0] += HELD_RATIO * held[:, 1]
    return held


# --- which of them a shop can bring right -------------------------------------------------------


def rightness(
    centre: Tensor, backlash_thou: Tensor, design: Tensor, limits_thou: Tensor
) -> tuple[Tensor, Tensor]:
    """Right, and good enough (n, k): `drawn_sets.right_at` with its tolerances, and the wider ones."""
    off = (centre - design[:, None]).abs()
    low, high = limits_thou[:, None].unbind(-1)
    inside = (backlash_thou >= low) & (backlash_thou <= high)

    def near(within: tuple[float, float]) -> Tensor:
        along, across = (off[..., 0::2] <= within[0]), (off[..., 1::2] <= within[1])
        return (along & across).all(-1) & inside

    return near(RIGHT), near(GOOD_ENOUGH)


def mendable(sets: Sets, part: int = 20_000) -> Tensor:
    """Mask (n,) of the sets that `drawn_sets.can_be_right` would keep, `part` of them at a time."""
    device = sets.scale.device
    steps = torch.arange(-6.0, 7.0, device=device)
    net = torch.stack(torch.meshgrid(steps, steps, indexing="ij"), -1).reshape(-1, 2)
    masks = []
    for some in torch.arange(len(sets), device=device).split(part):
        these = sets.taken(some)
        centre, _, backlash = these.answer(net[None].expand(len(these), -1, -1))
        right, _ = rightness(centre, backlash, these.design, these.limits_thou)
        masks.append(right.sum(-1) >= ROOM)
    return torch.cat(masks)
