"""What a network that has seen millions of drawn jobs says of the next move.

The estimate explains a job by accounts of how sets answer, and what those accounts leave out it cannot
weigh. So a small network reads the same rolls: it was trained on jobs of sets drawn from contact analysis and
of sets that know nothing of it, to say of any move how likely it ends right (`pattern.synthetic.experience_train`,
`EXPERIENCE.md`). It sees numbers only, needs no draws, and says nothing where a job lies outside of what it has seen.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import erf, expit, logsumexp

from pattern.advice.evidence import Evidence
from pattern.gears.quick_marks import REFERENCE_DIAMETER_IN, covers, middle_blank
from pattern.records import Axle

Array = NDArray[np.float64]

ROLLS = 8
"""A job's last rolls, as many as the network reads."""
BUMPS = 16
"""Gaussian bumps over the moves that make up one chance."""
ROLL_NUMBERS, JOB_NUMBERS = 27, 33
CHANCES = ("right if it is not now", "right", "good enough")
HEADS = 6
USUAL_PLACE = (0.47, 0.50, 0.47, 0.50)
UNIT_THOU = 10.0
"""Of the bumps' centres."""
WIDTH_LOG = (-4.0, 3.0)
"""Limits of the bumps' steepness."""
_WEIGHTS = files("pattern.advice") / "experience.npz"
# what its jobs were drawn with; a reading better than the best counts as that. It saw vaguer ones too, but of 200 jobs
# with readings of 0.06 and 0.10 it left one undone and 18 never accepted, the estimate alone none and 4
_LEAST_SD, _MOST_SD = 0.01, np.array([0.045, 0.075, 0.045, 0.075])
_BACKLASH_SD_THOU = 0.15, 1.6
_TOLD_WITHIN = 0.08  # of a told design place, from the usual one
_LARGEST_MOVE_THOU = 25.0
_NEVER_TOLD: dict[str, Any] = dict.fromkeys(
    ("face_width_in", "spiral_angle_deg", "pressure_angle_drive_deg", "pressure_angle_coast_deg")
)
_MIDDLE_THOU, _WIDTH_THOU = (5.0, 12.0), (1.8, 5.2)


@dataclass(frozen=True, eq=False)
class Features:
    """A batch of n jobs as numbers: `rolls` (n, ROLLS, 27), `job` (n, 33), `empty` (n, ROLLS) where no roll is."""

    rolls: Any
    job: Any
    empty: Any


def features(
    xp: Any, *, centre: Any, extent: Any, seen: Any, measured: Any, centre_sd: Any, backlash: Any,
    backlash_seen: Any, backlash_sd: Any, away: Any, last: Any, middle: Any, width: Any, scale: Any,
    system: Any, blank: Any, open_: Any, told: Any, told_place: Any, told_sd: Any, empty: Any,
) -> Features:  # fmt: skip
    """The same numbers for training and use; `xp` is numpy or torch.

    `centre`, `extent`, `seen`, `measured` (extents), `centre_sd` (n, t, 4); `backlash`, `backlash_seen`,
    `backlash_sd` (n, t), thousandths; `away` (n, t, 2): where a roll stood, nominal, from where the set stands now;
    `last` (n, t); `middle`, `width` of the backlash limits, `scale` (n,); `system` (n, 3): tapered, uniform, not
    told; `blank`, `open_` (n, 8); `told`, `told_place`, `told_sd` (n, 4) of the design place; `empty` (n, t).
    """

    def joined(*parts: Any) -> Any:
        return xp.concatenate(tuple(parts), -1)

    def aim(place: Any) -> Any:
        parts = (place[..., k : k + 1] - USUAL_PLACE[k] for k in range(4))
        return joined(*parts)

    off = (backlash - middle[:, None]) * backlash_seen
    rolls = joined(
        seen * aim(centre) * 5, measured * (extent - 0.45) * 4, seen, seen * xp.log(centre_sd / 0.04),
        (off / 4)[..., None], (backlash_seen * xp.log(backlash_sd / 0.5))[..., None],
        backlash_seen[..., None], away / 8 * scale[:, None, None], (away / 2).clip(-2, 2),
        (last * 1.0)[..., None], (off / width[:, None])[..., None].clip(-3, 3),
        (backlash_seen * (backlash <= 0))[..., None],
        measured[..., 0:1] * 0.5 + measured[..., 2:3] * 0.5,
    )  # fmt: skip
    job = joined(
        system, (width / 4)[:, None], xp.log(scale)[:, None] * 2, blank, open_,
        told, told * aim(told_place) * 10, told * xp.log(told_sd / 0.04),
    )  # fmt: skip
    return Features(rolls * (1 - empty * 1.0)[..., None], job, empty)


@dataclass(frozen=True, eq=False)
class Experience:
    """What the network says of one job: chances over moves (m, 2), pinion and ring gear in thousandths.

    `bumps` (3, BUMPS, 6): log weight, centre (2), log of both widths' inverse, slant, for each of `CHANCES`.
    `clear` are the chances that the pinion stands over 0.004 in too deep and too shallow.
    """

    bumps: Array
    clear: tuple[float, float]

    def right(self, moves_thou: Array, *, now_too: bool = False) -> Array:
        """Chance (m,) of being right after a move; of sets that are not right now, or of all."""
        return np.asarray(expit(_log_odds(self.bumps[1 if now_too else 0], moves_thou)))

    def good(self, moves_thou: Array) -> Array:
        """Chance (m,) of being good enough after a move."""
        return np.asarray(expit(_log_odds(self.bumps[2], moves_thou)))


def experience(axle: Axle, evidence: Evidence) -> Experience | None:
    """The network's word on a job, or None where the job lies outside of what it was trained on."""
    if not serves(axle, evidence):
        return None
    out = forward(_weights(), _features_of(axle, evidence))[0]
    chances = len(CHANCES) * BUMPS * 6
    told = expit(out[chances + 4 : chances + 6])
    return Experience(
        out[:chances].reshape(len(CHANCES), BUMPS, 6), (float(told[0]), float(told[1]))
    )  # fmt: skip


def serves(axle: Axle, evidence: Evidence) -> bool:
    """Whether the network has seen jobs like this one."""
    low, high = evidence.limits_thou
    if not evidence.backlash_thou[-1] > 0.0:
        return False  # not measured, or bound
    if axle.depth_shim == "unknown" and np.any(evidence.moves_thou[:, 0]):
        return False  # which way its pinion moves went is not known
    told = evidence.design_told
    near = np.abs(evidence.design - USUAL_PLACE) <= _TOLD_WITHIN
    return (
        _inside((low + high) / 2, _MIDDLE_THOU)
        and _inside(high - low, _WIDTH_THOU)
        and bool(np.all((near & (evidence.design_sd <= _MOST_SD))[told]))
        and float(np.abs(evidence.moves_thou).max()) <= _LARGEST_MOVE_THOU
        and not np.any(evidence.stated_sd > _MOST_SD)
        and float(np.max(evidence.backlash_sd_thou)) <= _BACKLASH_SD_THOU[1]
        and covers(axle, "tapered")
        and covers(axle, "uniform")
    )


def _inside(value: float, span: tuple[float, float]) -> bool:
    return span[0] <= value <= span[1]


def _features_of(axle: Axle, evidence: Evidence) -> Features:
    """One job's numbers, its last rolls first filled in."""
    count = min(evidence.rolls, ROLLS)
    centre, extent, seen, measured = (np.zeros((1, ROLLS, 4)) for _ in range(4))
    centre_sd, backlash_sd = np.ones((1, ROLLS, 4)), np.ones((1, ROLLS))
    here = evidence.centre[-count:]
    centre[0, :count], seen[0, :count] = np.nan_to_num(here), np.isfinite(here)
    centre_sd[0, :count] = np.nan_to_num(evidence.stated_sd[-count:])
    known = evidence.extent[-count:]
    # its jobs had both extents of each mark, or none at all
    if np.array_equal(np.isfinite(known), np.isfinite(here)):
        extent[0, :count], measured[0, :count] = np.nan_to_num(known), np.isfinite(known)
    backlash, there = np.zeros((1, ROLLS)), np.zeros((1, ROLLS))
    held = evidence.backlash_thou[-count:]
    backlash[0, :count], there[0, :count] = np.nan_to_num(held), np.isfinite(held)
    backlash_sd[0, :count] = evidence.backlash_sd_thou[-count:]
    stood = np.cumsum(evidence.moves_thou, axis=0)[-count:]
    away = np.zeros((1, ROLLS, 2))
    away[0, :count] = stood - stood[-1]
    at = np.arange(ROLLS)[None]
    weights = _weights()
    middle, spread = middle_blank(replace(axle, **_NEVER_TOLD), "tapered")
    low, high = evidence.limits_thou
    told = evidence.design_told[None].astype(float)
    return features(
        np, centre=centre, extent=extent, seen=seen, measured=measured,
        centre_sd=np.clip(centre_sd, _LEAST_SD, _MOST_SD), backlash=backlash, backlash_seen=there,
        backlash_sd=np.clip(backlash_sd, *_BACKLASH_SD_THOU), away=away, last=at == count - 1,
        middle=np.array([(low + high) / 2]), width=np.array([high - low]),
        scale=np.array([REFERENCE_DIAMETER_IN / axle.ring_diameter_in]),
        system=np.array([[axle.tooth_system == k for k in ("tapered", "uniform", "unknown")]], float),
        blank=np.clip((middle - weights["blank_middle"]) / weights["blank_spread"], -3.0, 3.0)[None],
        open_=(spread > 0)[None].astype(float), told=told, told_place=evidence.design[None],
        told_sd=np.clip(evidence.design_sd, _LEAST_SD, _MOST_SD)[None], empty=at >= count,
    )  # fmt: skip


def forward(weights: dict[str, Array], given: Features) -> Array:
    """The network (n, outputs): rolls and job as tokens of a small transformer, the job's token read off."""

    def two(name: str, x: Array) -> Array:
        return _linear(weights, f"{name}.2", _gelu(_linear(weights, f"{name}.0", x)))

    x = np.concatenate([two("glob", given.job)[:, None], two("roll", given.rolls)], axis=1)
    empty = np.concatenate([np.zeros((len(x), 1), dtype=bool), given.empty], axis=1)
    block = 0
    while f"body.{block}.o.weight" in weights:
        x = _block(weights, f"body.{block}", x, empty)
        block += 1
    read = _normed(weights, "head.0", x[:, 0])
    return _linear(weights, "head.3", _gelu(_linear(weights, "head.1", read)))


def _block(weights: dict[str, Array], name: str, x: Array, empty: NDArray[np.bool_]) -> Array:
    """Attention among a job's tokens, then two layers on each, both added on."""
    n, t, d = x.shape
    mixed = _linear(weights, f"{name}.qkv", _normed(weights, f"{name}.n1", x))
    query, key, value = mixed.reshape(n, t, 3, HEADS, d // HEADS).transpose(2, 0, 3, 1, 4)
    level = query @ key.swapaxes(-1, -2) / np.sqrt(d // HEADS)
    level = np.where(empty[:, None, None], -np.inf, level)
    share = np.exp(level - level.max(axis=-1, keepdims=True))
    share /= share.sum(axis=-1, keepdims=True)
    x = x + _linear(weights, f"{name}.o", (share @ value).swapaxes(1, 2).reshape(n, t, d))
    inner = _gelu(_linear(weights, f"{name}.f.0", _normed(weights, f"{name}.n2", x)))
    return np.asarray(x + _linear(weights, f"{name}.f.2", inner))


def _linear(weights: dict[str, Array], name: str, x: Array) -> Array:
    return np.asarray(x @ weights[f"{name}.weight"].T + weights[f"{name}.bias"])


def _normed(weights: dict[str, Array], name: str, x: Array) -> Array:
    away = x - x.mean(axis=-1, keepdims=True)
    sd = np.sqrt(np.mean(away**2, axis=-1, keepdims=True) + 1e-5)
    return np.asarray(away / sd * weights[f"{name}.weight"] + weights[f"{name}.bias"])


def _gelu(x: Array) -> Array:
    return np.asarray(0.5 * x * (1.0 + erf(x / np.sqrt(2.0))))


def _log_odds(bumps: Array, moves_thou: Array) -> Array:
    """Log odds (m,) of a chance at moves (m, 2)."""
    away = moves_thou[:, None] - UNIT_THOU * bumps[:, 1:3]
    steep = np.exp(np.clip(bumps[:, 3:5], *WIDTH_LOG))
    first = away[..., 0] * steep[:, 0]
    second = away[..., 1] * steep[:, 1] + bumps[:, 5] * away[..., 0]
    return np.asarray(logsumexp(bumps[:, 0] - 0.25 * (first**2 + second**2), axis=1))


@lru_cache(maxsize=1)
def _weights() -> dict[str, Array]:
    """Weights by their names in training, as numpy takes them."""
    with _WEIGHTS.open("rb") as file:
        held = np.load(file)
        return {name: held[name].astype(np.float64) for name in held}
