"""Why, in the shop's words: what each side shows, what it means, which rule agrees, how sure it is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pattern.advice.checks import is_bound, still_to_read, unfit_sign, unsaid_moves
from pattern.advice.choose import Belief, Choice, Limits, offsets
from pattern.advice.evidence import Evidence
from pattern.advice.response import DIRECTION, GAIN
from pattern.advice.rules import TABLE, table_direction
from pattern.advice.words import chance, pinion_words, place, ring_words, slope, stands
from pattern.records import SIDES, Axle, Roll

CAUTIONS = (
    "A hint for a trained mechanic: the final measured check is yours. Torques, limits and sequences are the maker's.",
    "Keep hands, sleeves and camera out of the mesh while it turns; eye protection; moving air for solvents.",
    "Support the vehicle on stands rated for it, wheels chocked. Bearing caps go back to their side, their way up.",
)
_NOTICE = 0.06
_APART = 0.20


@dataclass(frozen=True, eq=False)
class Findings:
    """All that the advice rests on.

    `other_sense` is the chance that all pinion moves went the other way than recorded; `finer` is an
    optional move beside an accept, its chances those of a set that is not right yet.
    """

    axle: Axle
    rolls: Sequence[Roll]
    evidence: Evidence
    belief: Belief
    other_sense: float
    limits: Limits
    now: Choice
    best: Choice
    finer: Choice | None = None


def explain(verdict: str, seen: Findings) -> tuple[str, ...]:
    """Every reason for the verdict, in reading order."""
    lines = [*_bound(seen), *_sides(seen), *_taken_for_granted(seen), _position(seen)]
    lines += _hypotheses(seen)
    lines += {
        "accept": _accepted, "adjust": _adjusted, "reject": _rejected, "undecided": _undecided
    }[verdict](seen)  # fmt: skip
    return tuple(lines)


def _bound(seen: Findings) -> list[str]:
    if not is_bound(seen.rolls[-1]):
        return []
    return [
        f"rolls[{len(seen.rolls) - 1}].backlash_in is {seen.rolls[-1].backlash_in:g}: the set is "
        "bound. Do not force it round. Free it first by moving the ring gear away, measure the "
        "backlash again and roll a new pattern; this one is not to be trusted."
    ]


def _sides(seen: Findings) -> list[str]:
    lines, design = [], seen.evidence.design
    for s, side in enumerate(SIDES):
        reading = getattr(seen.rolls[-1], side)
        if reading is None:
            lines.append(
                f"The {side} side was not read: its place is inferred, with a wide spread."
            )
            continue
        at = (float(design[2 * s]), float(design[2 * s + 1]))
        lines.append(f"{side.capitalize()} mark: {place(reading, at)}.")
    if seen.rolls[-1].backlash_in is None:
        lines.append(
            "Backlash was not given: pinion and ring gear are hard to tell apart without it. Measure it "
            "at the heel, pinion held, and ask again; without it the ring gear is not moved closer."
        )
    return lines


def _taken_for_granted(seen: Findings) -> list[str]:
    """What the estimate had to assume because the job does not say it."""
    lines = []
    unsaid = unsaid_moves(seen.rolls)
    if unsaid:
        lines.append(
            f"No move is recorded for {', '.join(unsaid)}: taken as none. Record what was moved, 0 where "
            "nothing was."
        )
    if seen.axle.condition == "used" and not any(seen.axle.target or ()):
        lines.append(
            "A used set without its as-found pattern: this aims at a new set's pattern, near the middle. "
            "A used set belongs where it ran; give the as-found marks as the target."
        )
    return lines


def _position(seen: Findings) -> str:
    pinion, ring = seen.belief.pinion_thou, seen.belief.ring_thou
    count = len(seen.rolls)
    told = {1: "This roll", 2: "Both rolls together"}.get(count, f"All {count} rolls together")
    return (
        f"{told}: pinion "
        f"{stands(float(pinion.mean()), float(pinion.std()), 'shallow', 'deep')}, ring gear "
        f"{stands(float(ring.mean()), float(ring.std()), 'near the pinion', 'far from the pinion')}."
    )


def _hypotheses(seen: Findings) -> list[str]:
    lines = []
    if seen.axle.tooth_system == "unknown":
        uniform = float(seen.belief.uniform.mean())
        lines.append(
            f"Tooth system not given: tapered depth {chance(1 - uniform)}, uniform depth "
            f"{chance(uniform)} by the rolls so far. Compare the tooth depth at toe and heel with a "
            "caliper: equal is uniform."
        )
    if seen.axle.depth_shim == "unknown" and any(roll.pinion_move_in for roll in seen.rolls):
        lines.append(
            "Where the depth shim sits is not given: by the rolls the pinion moves went as recorded with a "
            f"chance of {chance(1 - seen.other_sense)}, the other way with {chance(seen.other_sense)}. Look "
            "where it sits before the next move."
        )
    return lines


def _adjusted(seen: Findings) -> list[str]:
    best = seen.best
    lines = [
        f"Next: {pinion_words(best.pinion_thou / 1000)}, {ring_words(best.ring_thou / 1000)}. Chance of a "
        f"good pattern after it {chance(best.chance_good)}, of backlash inside its limits "
        f"{chance(best.chance_backlash)}.",
        *_table(seen),
        *_winner(seen),
        _size(seen),
        _next_pattern(seen),
    ]
    if best.pinion_thou == 0 and best.chance_good >= 0.5:
        lines.append("The ring gear alone mends it, so the pinion bearing stays on.")
    elif seen.now.chance_right < best.chance_right and best.chance_good < 0.5:
        lines.append(
            "The spread is wide: take this as a trial move; the next roll will teach this set's answer."
        )
    return lines


def _winner(seen: Findings) -> list[str]:
    """Which side counts more, where the two ask for different things."""
    last = seen.rolls[-1]
    if last.drive is None or last.coast is None:
        return []
    off = seen.evidence.centre[-1] - seen.evidence.design
    apart = np.abs(off[1] - off[3])
    if apart < _APART or seen.best.chance_good > 0.6:
        return []
    if seen.limits.weights[0] >= seen.limits.weights[1]:
        return [
            "The two sides ask for different things; the drive side counts more: it carries the load."
        ]
    return [
        "The two sides ask for different things; the coast side counts more: in a front axle with a "
        "standard-rotation set the forward load runs on it."
    ]


def _next_pattern(seen: Findings) -> str:
    move = np.array([[seen.best.pinion_thou, seen.best.ring_thou]])
    off, backlash = offsets(seen.belief, move)
    shown = off[:, 0] + seen.belief.design
    mean, sd = shown.mean(axis=0), shown.std(axis=0)
    return (
        f"The next roll should show the drive mark at {mean[0]:.2f} of the length and {mean[1]:.2f} of the "
        f"depth, the coast mark at {mean[2]:.2f} and {mean[3]:.2f} (each ± {sd.mean():.2f}), backlash "
        f"{max(float(backlash.mean()), 0.0) / 1000:.4f} in (± {float(backlash.std()) / 1000:.4f}). If it "
        "goes the other way, check the shim's place and the tooth system before moving again."
    )


_GOES_BY = {
    "tapered": "the marks' height, sees it about right",
    "uniform": "marks toward opposite ends and their height, sees neither off",
}


def _table(seen: Findings) -> list[str]:
    """Where the printed table agrees or disagrees with the pinion move."""
    system = seen.axle.tooth_system
    if system == "unknown" or seen.best.pinion_thou == 0:
        return []
    off = seen.evidence.centre[-1] - seen.evidence.design
    off = np.where(np.abs(off) < _NOTICE, 0.0, off)
    drive, coast = _pair(off[:2]), _pair(off[2:])
    says = table_direction(system, drive, coast)["pinion"]
    source = TABLE[system][0].source
    if says == 0:
        return [
            f"The trade's table for {system}-depth teeth goes by {_GOES_BY[system]} and says nothing of the pinion here."
        ]
    way = "deeper" if says > 0 else "shallower"
    if says * seen.best.pinion_thou > 0:
        return [f"The trade's table for {system}-depth teeth agrees: pinion {way} ({source})."]
    return [
        f"The trade's table for {system}-depth teeth would say pinion {way} ({source}). The computation is "
        "followed instead: it weighs both sides, the backlash and all rolls together."
    ]


def _pair(off: NDArray[np.float64]) -> tuple[float, float] | None:
    return None if np.isnan(off).any() else (float(off[0]), float(off[1]))


def _size(seen: Findings) -> str:
    response = seen.belief.response
    gain = np.exp(response[:, GAIN])[:, :, None] * response[:, DIRECTION].reshape(-1, 4, 2)
    mean, sd = gain.mean(axis=0), gain.std(axis=0)
    told = [
        slope(float(mean[row, member]), float(sd[row, member]))
        for member in (0, 1)
        for row in (0, 1)
    ]
    return (
        f"This set, as far as its rolls tell: 0.001 in of pinion moves the drive mark {told[0]} of the "
        f"length and {told[1]} of the depth; 0.001 in of ring gear {told[2]} and {told[3]}; + is toward "
        "heel and tip."
    )


def _accepted(seen: Findings) -> list[str]:
    good = (
        f"Both marks and the backlash are good enough with a chance of "
        f"{chance(seen.now.chance_good)}"
    )
    finer = seen.finer
    alone = [
        f"This rests on the {side} side alone: the other one was asked for and not read."
        for side, other in (SIDES, SIDES[::-1])
        if getattr(seen.rolls[-1], other) is None
    ]
    if finer is None:
        return [*alone, f"{good}: leave the shims."]
    return [
        *alone,
        f"{good}: the set may be closed up as it stands.",
        f"Optional, only to come closer: within 0.05 of the length and 0.06 of the depth it is already "
        f"with a chance of {chance(seen.now.chance_right)}. Should it not be, most likely to bring it there: "
        f"{pinion_words(finer.pinion_thou / 1000)}, {ring_words(finer.ring_thou / 1000)} "
        f"({chance(finer.chance_right)}).",
    ]


def _rejected(seen: Findings) -> list[str]:
    sign = unfit_sign(seen.evidence)
    return [] if sign is None else [sign.words]


def _undecided(seen: Findings) -> list[str]:
    wants = []
    last = seen.rolls[-1]
    missing = still_to_read(seen.rolls)
    if missing and last.backlash_in is not None:
        side = missing[0]
        other = SIDES[1 - SIDES.index(side)]
        return [
            f"One side alone is no ground to close up: paint and photograph the {side} side too, then "
            f"ask again. If it cannot be seen, file this position once more without it; then the {other} "
            "side decides alone."
        ]
    if last.backlash_in is None:
        wants.append("measure the backlash at the heel, pinion held")
    wants += [f"photograph the {side} side" for side in SIDES if getattr(last, side) is None]
    if not wants:
        wants.append("paint three to five teeth afresh, roll again and photograph both sides")
    return [f"No move is clearly better than none: {', '.join(wants)}, then ask again."]
