"""The network of `pattern.advice.experience` in torch, how it is asked for a move, and its export.

It reads a job's rolls and the job itself as tokens and says, for any move, the log odds of ending right: a sum of
Gaussian bumps over the moves, so that once read a job answers for thousands of moves. n jobs, m moves (n, m, 2):
pinion and ring gear in thousandths.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import torch
from torch import Tensor, nn
from torch.nn import functional

from pattern.advice.experience import (
    BUMPS,
    CHANCES,
    HEADS,
    JOB_NUMBERS,
    ROLL_NUMBERS,
    UNIT_THOU,
    WIDTH_LOG,
)
from pattern.synthetic.experience_axles import reference_blank

WIDTH, BLOCKS = 192, 4
PRICE = 0.2
"""What a pinion move costs besides its roll, in rolls: the pinion has to come out."""
LATER_NUMBERS = 48
"""Hidden numbers of what a move that fails leads to."""
SPAN_THOU = 20.0
"""The furthest move that is asked about."""
LEAST_LATER, MOST_LATER = 0.8, 8.0
"""Rolls that may follow a move which does not end right."""
_BUMP_NUMBERS, _PLACE_NUMBERS = 6, 6
_EMPTY = -1e4
_TRIED, _WIDER = 48, 2.2
_NO_MOVE = 5.0  # rolling again without a move is no way out

Odds = Callable[[Tensor, Tensor], Tensor]
"""`log_odds`, or the same compiled."""


class Block(nn.Module):
    """Attention among a job's tokens (n, t, width), then two layers on each, both added on."""

    def __init__(self, width: int) -> None:
        super().__init__()
        self.n1 = nn.LayerNorm(width)
        self.qkv = nn.Linear(width, 3 * width)
        self.o = nn.Linear(width, width)
        self.n2 = nn.LayerNorm(width)
        self.f = nn.Sequential(
            nn.Linear(width, 2 * width), nn.GELU(), nn.Linear(2 * width, width)
        )  # fmt: skip

    def forward(self, x: Tensor, level: Tensor) -> Tensor:
        """`level` (n, 1, 1, t) is added to what each token attends by."""
        n, t, width = x.shape
        mixed = self.qkv(self.n1(x)).view(n, t, 3, HEADS, width // HEADS)
        query, key, value = mixed.permute(2, 0, 3, 1, 4).unbind(0)
        alike = (query @ key.transpose(-1, -2)).float() * (width // HEADS) ** -0.5
        share = torch.softmax(alike + level, -1).to(value.dtype)
        x = x + self.o((share @ value).transpose(1, 2).reshape(n, t, width))
        return x + self.f(self.n2(x))


class ExperienceNet(nn.Module):
    """Features of n jobs to bumps (n, 3, BUMPS, 6), where the set stands (n, 6), `later`'s numbers (n, 48).

    Where it stands: place (2) from the nominal one in 8 thousandths, log of its spread (2) in 4 thousandths, log odds
    that the pinion is over 0.004 in too deep and too shallow. `width` must be a multiple of `HEADS`.
    """

    def __init__(self, width: int = WIDTH, blocks: int = BLOCKS) -> None:
        super().__init__()
        self.roll = _two_layers(ROLL_NUMBERS, width)
        self.glob = _two_layers(JOB_NUMBERS, width)
        self.body = nn.ModuleList([Block(width) for _ in range(blocks)])
        self._chances = len(CHANCES) * BUMPS * _BUMP_NUMBERS
        outputs = self._chances + _PLACE_NUMBERS + LATER_NUMBERS
        first, last = nn.Linear(width, 2 * width), nn.Linear(2 * width, outputs)
        self.head = nn.Sequential(nn.LayerNorm(width), first, nn.GELU(), last)
        self.vm = nn.Linear(6, LATER_NUMBERS)
        self.vo = nn.Linear(LATER_NUMBERS, 1)
        with torch.no_grad():  # few are right at first, and bumps lie apart; two rolls follow
            last.weight.mul_(0.3)
            last.bias.zero_()
            bumps = last.bias[: self._chances].view(len(CHANCES), BUMPS, _BUMP_NUMBERS)
            bumps[..., 0] = -2.0
            bumps[..., 1:3] = torch.randn(len(CHANCES), BUMPS, 2) * 0.5
            self.vo.weight.mul_(0.1)
            self.vo.bias.fill_(1.6)

    def forward(self, rolls: Tensor, job: Tensor, empty: Tensor) -> tuple[Tensor, Tensor, Tensor]:
        """The three outputs for `advice.experience.Features`."""
        out = self.raw(rolls, job, empty)
        bumps = out[:, : self._chances].view(-1, len(CHANCES), BUMPS, _BUMP_NUMBERS)
        after = self._chances + _PLACE_NUMBERS
        return bumps, out[:, self._chances : after], out[:, after:]

    def raw(self, rolls: Tensor, job: Tensor, empty: Tensor) -> Tensor:
        """All outputs in a row (n, outputs), as `advice.experience.forward` gives them."""
        x = torch.cat([self.glob(job)[:, None], self.roll(rolls)], 1)
        level = torch.cat([torch.zeros_like(empty[:, :1]), empty], 1).float()[:, None, None]
        for block in self.body:
            x = block(x, level * _EMPTY)
        return self.head(x[:, 0]).float()

    def later(self, numbers: Tensor, moves_thou: Tensor) -> Tensor:
        """Rolls (n, m) to follow if a move does not end right; `numbers` (n, 48) from `forward`."""
        pinion, ring = (moves_thou / UNIT_THOU).unbind(-1)
        terms = torch.stack(
            [pinion, ring, pinion * pinion, pinion * ring, ring * ring, (pinion != 0).float()], -1
        )
        hidden = functional.gelu(self.vm(terms) + numbers[:, None])
        return self.vo(hidden).squeeze(-1).float()


def _two_layers(numbers: int, width: int) -> nn.Sequential:
    return nn.Sequential(nn.Linear(numbers, width), nn.GELU(), nn.Linear(width, width))


def log_odds(bumps: Tensor, moves_thou: Tensor) -> Tensor:
    """Log odds (n, m) of one chance, `bumps` (n, BUMPS, 6), at moves (n, m, 2)."""
    weight, centre, shape = bumps[..., 0], UNIT_THOU * bumps[..., 1:3], bumps[..., 3:6]
    away = moves_thou[:, :, None] - centre[:, None]
    steep0 = torch.exp(shape[..., 0].clamp(*WIDTH_LOG))[:, None]
    steep1 = torch.exp(shape[..., 1].clamp(*WIDTH_LOG))[:, None]
    slant = shape[..., 2][:, None]
    second = away[..., 1] * steep1 + slant * away[..., 0]
    far = ((away[..., 0] * steep0) ** 2 + second**2) * 0.25
    return torch.logsumexp(weight[:, None] - far, -1)


def proposals(bumps: Tensor, count: int) -> Tensor:
    """Moves (n, count, 2) drawn about a chance's bumps, somewhat wider than they are."""
    n, bumps_each, numbers = bumps.shape
    volume = bumps[..., 0] - bumps[..., 3].clamp(*WIDTH_LOG) - bumps[..., 4].clamp(*WIDTH_LOG)
    even = torch.rand(n, count, bumps_each, device=bumps.device).clamp(1e-7, 1 - 1e-6)
    # the largest of log weights plus Gumbel noise is a draw by those weights, of a static shape
    which = (volume[:, None] - torch.log(-torch.log(even))).argmax(-1)
    about = torch.gather(bumps, 1, which[..., None].expand(-1, -1, numbers))
    wide = _WIDER * torch.randn(n, count, 2, device=bumps.device)
    pinion = wide[..., 0] / torch.exp(about[..., 3].clamp(*WIDTH_LOG))
    ring = (wide[..., 1] - about[..., 5] * pinion) / torch.exp(about[..., 4].clamp(*WIDTH_LOG))
    moves = UNIT_THOU * about[..., 1:3] + torch.stack([pinion, ring], -1)
    return moves.clamp(-SPAN_THOU, SPAN_THOU)


def costs(
    net: ExperienceNet,
    bumps: Tensor,
    later: Tensor,
    moves_thou: Tensor,
    price: Tensor | float = PRICE,
    odds: Odds = log_odds,
) -> tuple[Tensor, Tensor]:
    """Expected rolls of each move and its chance of ending right (n, m): this roll, pinion, what may follow."""
    right = torch.sigmoid(odds(bumps[:, 0], moves_thou))
    follow = net.later(later, moves_thou).clamp(LEAST_LATER, MOST_LATER)
    rolls = 1 + price * (moves_thou[..., 0] != 0) + (1 - right) * follow
    return rolls + _NO_MOVE * ((moves_thou == 0).all(-1)), right


def best_moves(
    net: ExperienceNet,
    bumps: Tensor,
    later: Tensor,
    ring_only_thou: Tensor,
    price: Tensor | float = PRICE,
    odds: Odds = log_odds,
) -> tuple[Tensor, Tensor, Tensor]:
    """The cheapest whole move (n, 2), its chance of ending right (n,) and its expected rolls (n,).

    Looked for among the bumps' centres, draws about them and the ring gear's moves alone, `ring_only_thou` (k, 2).
    """
    n, first = bumps.shape[0], bumps[:, 0]
    centres = (UNIT_THOU * first[..., 1:3]).clamp(-SPAN_THOU, SPAN_THOU)
    tried = torch.cat([centres, proposals(first, _TRIED)], 1).round()
    tried = torch.cat([tried, ring_only_thou[None].expand(n, -1, -1)], 1)
    rolls, right = costs(net, bumps, later, tried, price, odds)
    best, each = rolls.argmin(1), torch.arange(n, device=bumps.device)
    return tried[each, best], right[each, best], rolls[each, best]


def export_npz(net: ExperienceNet, file: Path) -> None:
    """Write what `pattern.advice.experience` reads: the weights by name as float16, and the reference blank.

    `blank_middle`, `blank_spread` (8,) stay float64: small differences of large numbers are taken by them.
    """
    middle, spread = reference_blank()
    held = {name: value.float().cpu().numpy() for name, value in net.state_dict().items()}
    halved = {name: value.astype(np.float16) for name, value in held.items()}
    file.parent.mkdir(parents=True, exist_ok=True)
    np.savez(file, blank_middle=middle, blank_spread=spread, **halved)  # type: ignore[arg-type]
