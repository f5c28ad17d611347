"""Many jobs at once on one device, one roll after another, for the training of `pattern.advice.experience`.

Each job is a drawn set that came to the bench at some place and is rolled, read and moved with the shop's noise, as
`closed_loop` does one at a time. Every shape is static and nothing is asked of the processor, because a whole step of
the training is captured as a CUDA graph. Random numbers are torch's own for the device, seeded by
`torch.manual_seed`: a graph draws new ones at every replay only from that generator.
"""

from __future__ import annotations

import math

import torch
from torch import Tensor

from pattern.advice.experience import ROLLS, Features, features
from pattern.gears.blank import System
from pattern.synthetic.drawn_sets import Noise
from pattern.synthetic.experience_axles import SYSTEMS, Axles, axles_on, draw_axles
from pattern.synthetic.experience_sets import (
    LEAST_EXTENT,
    ContactMarks,
    ContactSets,
    FreeSets,
    Sets,
    mendable,
    rightness,
)

KINDS = ("contact", "free")
_AT_ONCE = 40_000
_USUAL = Noise()
_USUAL_SHARE = 0.6
"""Share of jobs read with the closed loop's noise; the others' is drawn, a third of it to over twice as much."""
_NOISE_FACTORS, _PROFILE_FACTOR_SD, _BACKLASH_FACTOR_SD = (0.35, 2.2), 0.25, 0.4
_MOVE_SD_THOU = _USUAL.move_thou
_FARTHEST_THOU = 15.0
_NEAR_SHARE, _NEAR_SD_THOU = 0.12, 5.0
_LEAST_BACKLASH_THOU = 0.5  # a set that is bound is not rolled
_PLACES_TRIED = 3
_ONE_SIDE = 0.06  # share of jobs that show the coast side only; as many show the drive side only
_NOT_READ, _NOT_MEASURED = 0.02, 0.02  # of a roll's sides, and of later rolls' backlash
_EXTENTS_READ, _SYSTEM_TOLD = 0.9, 0.65
_DESIGN_TOLD, _SIDE_TOLD = 0.10, 0.85
_MOST_ROLLS, _GIVEN_UP, _RIGHT_ENDS = 8, 0.01, 0.88


class Jobs:
    """n jobs of sets of one kind; `system` numbers their tooth system among `SYSTEMS`.

    Where each stands: `which` (n,) set, `place_thou` (n, 2). What was seen of it: `centre`, `extent`, `seen`
    (n, ROLLS, 4), `backlash_thou`, `measured` (n, ROLLS), `nominal_thou` (n, ROLLS, 2), where the moves that were meant
    put it, counted from its first roll; `rolled` (n,), how many rolls there are. What is known of the job: `noise`
    (n, 4) of lengthwise, profile, extent, backlash; `sides` (n, 2) that can be read; `extents`, `told` (n,), whether
    extents are read and the tooth system is told; `design_told`, `design_place`, `design_sd` (n, 4). `usual` (n,): read
    with the usual noise, both sides and extents, no design place told, as the closed loop's are.
    """

    def __init__(self, sets: Sets, count: int, axles: Axles, system: int) -> None:
        self.sets, self.count, self.axles, self.system = sets, count, axles, system
        self.device = sets.scale.device
        zeros = self._zeros
        self.which, self.rolled = zeros().long(), zeros().long()
        self.place_thou = zeros(2)
        self.centre, self.extent, self.seen = zeros(ROLLS, 4), zeros(ROLLS, 4), zeros(ROLLS, 4)
        self.backlash_thou, self.measured = zeros(ROLLS), zeros(ROLLS)
        self.nominal_thou = zeros(ROLLS, 2)
        self.noise, self.sides = zeros(4), zeros(2)
        self.told, self.usual, self.extents = zeros(), zeros(), zeros()
        self.design_told, self.design_place, self.design_sd = zeros(4), zeros(4), zeros(4)
        self._each = torch.arange(count, device=self.device)
        self._numbers = torch.arange(ROLLS, device=self.device)[None]
        self._earlier_first = 1e-3 * torch.arange(_PLACES_TRIED, 0, -1, device=self.device)
        self.begin(torch.ones(count, dtype=torch.bool, device=self.device))
        self.roll(zeros(2))

    def begin(self, new: Tensor) -> None:
        """Put a new job, not rolled yet, in the place of those that `new` (n,) marks."""
        which, place = self._drawn_places()
        usual = self._uniform(self.count) < _USUAL_SHARE
        noise = self._drawn_noise(usual)
        side, extents = (
            self._uniform(self.count), (self._uniform(self.count) > 1 - _EXTENTS_READ).float()
        )  # fmt: skip
        design_told = (self._uniform(self.count, 1) < _DESIGN_TOLD).float() * (
            self._uniform(self.count, 2) < _SIDE_TOLD
        )
        design_told = design_told.repeat_interleave(2, -1)

        def put(held: Tensor, value: Tensor) -> None:
            held.copy_(torch.where(new.view(-1, *[1] * (held.dim() - 1)), value, held))

        put(self.which, which)
        put(self.place_thou, place)
        put(self.rolled, torch.zeros_like(self.rolled))
        put(self.noise, noise)
        one, two = side > _ONE_SIDE, (side < _ONE_SIDE) | (side > 2 * _ONE_SIDE)
        put(self.sides, torch.stack([one.float(), two.float()], -1))
        put(self.extents, extents)
        both = (usual & (side > 2 * _ONE_SIDE)).float()
        put(self.usual, both * (1 - design_told.amax(-1)) * extents)
        put(self.told, (self._uniform(self.count) < _SYSTEM_TOLD).float())
        put(self.design_told, design_told)
        put(self.design_sd, noise[:, :2].repeat(1, 2))
        meant = self.sets.design[self.which]
        put(self.design_place, meant + self.design_sd * self._normal(self.count, 4))
        for held in (
            self.centre, self.extent, self.seen, self.backlash_thou, self.measured, self.nominal_thou
        ):  # fmt: skip
            put(held, torch.zeros_like(held))

    def _drawn_places(self) -> tuple[Tensor, Tensor]:
        """Sets (n,) and where they stand (n, 2): the first of a few that is not bound."""
        n, tries = self.count, _PLACES_TRIED
        which = (self._uniform(n * tries) * len(self.sets)).long().clamp(max=len(self.sets) - 1)
        place = 2 * _FARTHEST_THOU * self._uniform(n * tries, 2) - _FARTHEST_THOU
        near = self._uniform(n * tries, 1) < _NEAR_SHARE
        place = torch.where(near, _NEAR_SD_THOU * self._normal(n * tries, 2), place)
        _, _, backlash = self.sets.at(which, place[:, None])
        free = (backlash[:, 0].view(n, tries) > _LEAST_BACKLASH_THOU).float()
        first = (free + self._earlier_first).argmax(1)
        return (
            which.view(n, tries).gather(1, first[:, None])[:, 0],
            place.view(n, tries, 2)[self._each, first],
        )

    def _drawn_noise(self, usual: Tensor) -> Tensor:
        """Noise (n, 4) of lengthwise, profile, extent, backlash (thou), one standard deviation."""
        one = torch.ones(self.count, device=self.device)
        low, high = (math.log(factor) for factor in _NOISE_FACTORS)

        def otherwise(drawn_log: Tensor) -> Tensor:
            return torch.where(usual, one, torch.exp(drawn_log))

        reading = otherwise(low + self._uniform(self.count) * (high - low))
        profile = otherwise(_PROFILE_FACTOR_SD * self._normal(self.count))
        backlash = otherwise(_BACKLASH_FACTOR_SD * self._normal(self.count))
        return torch.stack(
            [
                _USUAL.lengthwise * reading, _USUAL.profile * reading * profile,
                _USUAL.extent * reading, _USUAL.backlash_thou * backlash,
            ],
            -1,
        )  # fmt: skip

    def roll(self, moved_thou: Tensor) -> None:
        """Roll and read every job where it stands after a move meant as (n, 2); one more than `rolled` is held."""
        each, now = self._each, self.rolled
        centre, extent, backlash = (x[:, 0] for x in self._here())
        read = centre + self.noise[:, :2].repeat(1, 2) * self._normal(self.count, 4)
        reached = extent + self.noise[:, 2:3] * self._normal(self.count, 4)
        seen = self.sides * (self._uniform(self.count, 2) > _NOT_READ)
        seen = torch.where(seen.sum(-1, keepdim=True) == 0, self.sides, seen)
        seen = seen.repeat_interleave(2, -1)
        self.centre[each, now] = read.clamp(0, 1) * seen
        self.extent[each, now] = reached.clamp(LEAST_EXTENT, 1) * seen
        self.seen[each, now] = seen
        measured = ((self._uniform(self.count) > _NOT_MEASURED) | (now == 0)).float()
        gauged = (backlash + self.noise[:, 3] * self._normal(self.count)).clamp(min=0)
        self.backlash_thou[each, now] = gauged * measured
        self.measured[each, now] = measured
        before = self.nominal_thou[each, (now - 1).clamp(min=0)]
        before = torch.where((now > 0)[:, None], before, torch.zeros_like(moved_thou))
        self.nominal_thou[each, now] = before + moved_thou
        self.rolled.copy_(now + 1)

    def move(self, move_thou: Tensor) -> None:
        """Move every set by about what is meant (n, 2); what is not moved stays."""
        made = _MOVE_SD_THOU * self._normal(self.count, 2) * (move_thou != 0)
        self.place_thou.copy_(self.place_thou + move_thou + made)

    def ended(self, was_right: Tensor) -> Tensor:
        """Which jobs end (n,): mostly those that stood right (n,), any after eight rolls, a few before their time.

        Some that stood right go on, so that the network sees what moving a set that was right leads to.
        """
        given_up = self._uniform(self.count) < _GIVEN_UP
        done = was_right & (self._uniform(self.count) < _RIGHT_ENDS)
        return done | (self.rolled >= _MOST_ROLLS) | given_up

    def inputs(self) -> tuple[Tensor, Tensor, Tensor]:
        """What the network reads: `advice.experience.Features` as rolls, job, empty."""
        limits, axle = self.sets.limits_thou[self.which], self.sets.axle[self.which]
        last, read = self.rolled - 1, self.extents[:, None, None]
        none = torch.zeros_like(self.told)
        systems = [self.told if k == self.system else none for k in range(2)]
        made: Features = features(
            torch, centre=self.centre, extent=self.extent * read, seen=self.seen,
            measured=read * self.seen,
            centre_sd=self.noise[:, :2].repeat(1, 2)[:, None].expand(-1, ROLLS, -1),
            backlash=self.backlash_thou, backlash_seen=self.measured,
            backlash_sd=self.noise[:, 3:4].expand(-1, ROLLS),
            away=self.nominal_thou - self.nominal_thou[self._each, last][:, None],
            last=self._numbers == last[:, None], middle=limits.mean(-1),
            width=limits[:, 1] - limits[:, 0], scale=self.sets.scale[self.which],
            system=torch.stack([*systems, 1 - self.told], -1), blank=self.axles.blank[axle],
            open_=self.axles.open_[axle], told=self.design_told, told_place=self.design_place,
            told_sd=self.design_sd, empty=self._numbers >= self.rolled[:, None],
        )  # fmt: skip
        return made.rolls, made.job, made.empty

    def ends(self, moves_thou: Tensor) -> tuple[Tensor, Tensor]:
        """Whether each of many moves (n, m, 2), made about as meant, ends right and good enough (n, m)."""
        made = _MOVE_SD_THOU * torch.randn_like(moves_thou) * (moves_thou != 0)
        place = self.place_thou[:, None] + (moves_thou + made)
        return self._judged(*self.sets.at(self.which, place))

    def now(self) -> tuple[Tensor, Tensor]:
        """Whether each set stands right and good enough (n,)."""
        right, good = self._judged(*self._here())
        return right[:, 0], good[:, 0]

    def _here(self) -> tuple[Tensor, Tensor, Tensor]:
        return self.sets.at(self.which, self.place_thou[:, None])

    def _judged(self, centre: Tensor, _: Tensor, backlash: Tensor) -> tuple[Tensor, Tensor]:
        design, limits = self.sets.design[self.which], self.sets.limits_thou[self.which]
        return rightness(centre, backlash, design, limits)

    def _zeros(self, *size: int) -> Tensor:
        return torch.zeros(self.count, *size, device=self.device)

    def _normal(self, *size: int) -> Tensor:
        return torch.randn(*size, device=self.device)

    def _uniform(self, *size: int) -> Tensor:
        return torch.rand(*size, device=self.device)


def draw_sets(
    kind: str, system: System, axles: Axles, count: int, generator: torch.Generator
) -> tuple[Sets, float]:
    """At least `count` sets that can be brought right, and the share of the last draws that could."""
    marks = ContactMarks(system, generator.device)
    drawn: Sets | None = None
    share = 0.0
    while drawn is None or len(drawn) < count:
        some = min(count, _AT_ONCE)
        more: Sets = (
            ContactSets.draw(marks, axles, some, generator)
            if kind == "contact"
            else FreeSets.draw(system, axles, some, generator)
        )
        kept = mendable(more)
        share = float(kept.float().mean())
        drawn = more.taken(kept) if drawn is None else drawn.joined(more.taken(kept))
    return drawn, share


def draw_jobs(count: int, pool: int, seed: int, device: torch.device) -> dict[str, Jobs]:
    """`count` jobs of each of the four kinds of sets, by the kind's name; `pool` sets to draw from."""
    generator = torch.Generator(device=device)
    generator.manual_seed(seed)
    drawn, made = draw_axles(), {}
    for number, system in enumerate(SYSTEMS):
        axles = axles_on(drawn, system, device)
        for kind in KINDS:
            sets, share = draw_sets(kind, system, axles, pool, generator)
            print(f"{kind} {system}: {len(sets)} sets, {share:.2f} kept", flush=True)
            made[f"{kind} {system}"] = Jobs(sets, count, axles, number)
    return made
