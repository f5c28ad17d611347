"""What the network is trained on, and how its answers are scored on pictures it has not seen."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import torch
from torch import Tensor
from torch.nn import functional

from pattern.synthetic.shade import Example
from pattern.synthetic.shade_paint import constant
from pattern.teeth.network import QUALITY_CODES

WHOLE = (0, 1, 5)
"""Channels judged on every pixel: side, other, edge."""
WHOLE_WEIGHTS = (1.0, 0.6, 0.5)
ON_SIDE = (2, 3, 4)
"""Channels judged on the declared side alone, where they are not rare: painted, compound, contact."""
ON_SIDE_WEIGHTS = (0.5, 0.4, 0.8)
PROFILE_WEIGHT = 2.5
LENGTHWISE_WEIGHT = 1.5
SPREAD_WEIGHT = 0.1


def loss_of(maps: Tensor, quality: Tensor, truth: Example) -> tuple[Tensor, dict[str, Tensor]]:
    """Total loss and its parts: masks, paint, overlap, coordinates with their spread, quality.

    What is painted, compound or contact is asked of the declared side's pixels only: over a whole
    picture contact is one pixel in a hundred, and a network that never says it does well.
    """
    maps, quality = maps.float(), quality.float().flatten(1)
    whole = constant(WHOLE_WEIGHTS, maps.device)
    on_side = constant(ON_SIDE_WEIGHTS, maps.device)
    logits, side = maps[:, :6], truth.masks[:, :1]
    each = functional.binary_cross_entropy_with_logits(logits, truth.masks, reduction="none")
    masks = (each[:, WHOLE].mean((0, 2, 3)) * whole).sum()
    area = side.sum((2, 3))
    paint = ((each[:, ON_SIDE] * side).sum((2, 3)) / (area + 100.0)).mean(0)
    paint = (paint * on_side).sum()
    given = torch.sigmoid(logits[:, :5])
    given = torch.cat([given[:, :2], given[:, 2:] * side], 1)
    weights = torch.cat([whole[:2], on_side])
    overlap = _dice_loss(given, truth.masks[:, :5], weights)
    lengthwise = _laplace(maps[:, 6], maps[:, 8], truth.coordinates[:, 0], truth.known)
    profile = _laplace(maps[:, 7], maps[:, 9], truth.coordinates[:, 1], truth.known)
    decided = (truth.quality >= 0).float()
    judged = functional.binary_cross_entropy_with_logits(
        quality, truth.quality.clamp_min(0.0), reduction="none"
    )
    judged = (judged * decided).sum() / decided.sum().clamp_min(1.0)
    coordinates = LENGTHWISE_WEIGHT * lengthwise + PROFILE_WEIGHT * profile
    total = masks + paint + 0.35 * overlap + coordinates + 0.3 * judged
    parts = {
        "masks": masks, "paint": paint, "overlap": overlap, "lengthwise": lengthwise, "profile": profile,
        "quality": judged,
    }  # fmt: skip
    return total, {name: value.detach() for name, value in parts.items()}


def _dice_loss(given: Tensor, wanted: Tensor, weights: Tensor) -> Tensor:
    both = (given * wanted).sum((2, 3))
    either = given.sum((2, 3)) + wanted.sum((2, 3))
    return ((1.0 - (2.0 * both + 20.0) / (either + 20.0)).mean(0) * weights).sum()


def _laplace(mean: Tensor, log_sd: Tensor, truth: Tensor, known: Tensor) -> Tensor:
    """Absolute error, and for the spread alone the negative log likelihood of a Laplace spread.

    Were the mean learned from the likelihood, the surest pixels would outshout all other losses.
    """
    log_sd = log_sd.clamp(-5.5, 0.5)
    away = (mean - truth).abs()
    spread = away.detach() * math.sqrt(2.0) * torch.exp(-log_sd) + log_sd
    cost = away + SPREAD_WEIGHT * spread
    per_picture = (cost * known).sum((1, 2)) / (known.sum((1, 2)) + 50.0)
    return per_picture.mean()


@dataclass
class Score:
    """Sums over pictures; `table` gives the figures."""

    both: Tensor = field(default_factory=lambda: torch.zeros(6, dtype=torch.float64))
    either: Tensor = field(default_factory=lambda: torch.zeros(6, dtype=torch.float64))
    errors: list[Tensor] = field(default_factory=list)
    ends: list[Tensor] = field(default_factory=list)
    answers: list[Tensor] = field(default_factory=list)
    truths: list[Tensor] = field(default_factory=list)
    centres: list[Tensor] = field(default_factory=list)

    def add(self, maps: Tensor, quality: Tensor, truth: Example) -> None:
        """Score one batch."""
        maps, quality = maps.float(), quality.float().flatten(1)
        chance = torch.sigmoid(maps[:, :6])
        chance[:, 2:5] *= chance[:, :1]
        given, wanted = chance > 0.5, truth.masks > 0.5
        self.both += (given & wanted).sum((0, 2, 3)).double().cpu()
        self.either += (given | wanted).sum((0, 2, 3)).double().cpu()
        self.answers.append(quality.cpu())
        self.truths.append(truth.quality.cpu())
        sharp = (truth.quality[:, 3] == 0) & (truth.quality[:, 4] == 0)
        on_side = (truth.masks[:, 0] > 0.99) & (truth.surface >= 0) & sharp[:, None, None]
        away = (maps[:, 6:8] - truth.coordinates).permute(0, 2, 3, 1)
        spread = torch.exp(maps[:, 8:10]).permute(0, 2, 3, 1)
        self.errors.append(torch.cat([away[on_side], spread[on_side]], 1)[::37].cpu())
        self._add_teeth(maps, truth, on_side)

    def _add_teeth(self, maps: Tensor, truth: Example, on_side: Tensor) -> None:
        """Per tooth: do lengthwise and profile rise the right way, and is the mark's centre right?"""
        picture = torch.arange(maps.shape[0], device=maps.device)[:, None, None]
        key = (truth.surface.long() + 200 * picture)[on_side]
        pairs = torch.cat([maps[:, 6:8], truth.coordinates], 1).permute(0, 2, 3, 1)[on_side]
        wiped = truth.masks[:, 4][on_side]
        found = (torch.sigmoid(maps[:, 4]) * torch.sigmoid(maps[:, 0]))[on_side]
        count = int(key.max()) + 1 if len(key) else 0
        if not count:
            return

        def total(values: Tensor) -> Tensor:
            return torch.zeros(count, device=maps.device).index_add_(0, key, values)

        n = total(torch.ones_like(wiped)).clamp_min(1.0)
        slopes = []
        for k in range(2):
            given, true = pairs[:, k], pairs[:, 2 + k]
            mean = total(true) / n
            slopes.append(total(given * (true - mean[key])) / total((true - mean[key]) ** 2 + 1e-6))
        big = n > 60
        self.ends.append(torch.stack([s[big] for s in slopes], 1).cpu())
        marked = big & (total(wiped) > 25) & (total(found) > 10)
        true_mark, mark = total(wiped).clamp_min(1e-6), total(found).clamp_min(1e-6)
        away = [
            (total(found * pairs[:, k]) / mark - total(wiped * pairs[:, 2 + k]) / true_mark)[marked]
            for k in range(2)
        ]
        self.centres.append(torch.stack(away, 1).cpu())

    def table(self) -> str:
        """A few lines of figures."""
        names = ("side", "other", "painted", "compound", "contact", "edge")
        overlap = self.both / self.either.clamp_min(1.0)
        errors, ends = torch.cat(self.errors), torch.cat(self.ends)
        lines = [
            "IoU        " + "  ".join(f"{n} {v:.3f}" for n, v in zip(names, overlap, strict=True))
        ]
        for k, name in enumerate(("lengthwise", "profile")):
            size = errors[:, k].abs()
            inside = (size < 2 * errors[:, 2 + k]).float().mean()
            lines.append(
                f"{name:10s} mean |error| {size.mean():.4f}  median {size.median():.4f}  "
                f"95th {_quantile(size, 0.95):.4f}  within 2 sd {inside:.3f}"
            )
        lines.append(
            f"teeth      {len(ends)}  toe-heel turned {float((ends[:, 0] < 0).float().mean()):.5f}  "
            f"root-tip turned {float((ends[:, 1] < 0).float().mean()):.5f}"
        )
        centres = torch.cat(self.centres).abs()
        lines.append(
            f"marks      {len(centres)}  centre error lengthwise median {centres[:, 0].median():.4f} "
            f"95th {_quantile(centres[:, 0], 0.95):.4f}  profile median {centres[:, 1].median():.4f} "
            f"95th {_quantile(centres[:, 1], 0.95):.4f}"
        )
        answers, truths = torch.cat(self.answers), torch.cat(self.truths)
        areas = []
        for k, code in enumerate(QUALITY_CODES):
            yes, no = answers[truths[:, k] == 1, k], answers[truths[:, k] == 0, k]
            areas.append(f"{code} {_auc(yes, no):.3f} ({len(yes)}/{len(no)})")
        lines.append("AUC        " + "  ".join(areas))
        return "\n".join(lines)


def _quantile(values: Tensor, share: float) -> float:
    return float(values.sort().values[int(share * (len(values) - 1))]) if len(values) else math.nan


def _auc(yes: Tensor, no: Tensor) -> float:
    if not len(yes) or not len(no):
        return math.nan
    return float(((yes[:, None] > no[None]).float() + 0.5 * (yes[:, None] == no[None])).mean())
