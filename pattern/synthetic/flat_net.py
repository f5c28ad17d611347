"""The network that looks at laid-out teeth (`pattern.teeth.flat_network`), and its export."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import torch
from torch import Tensor, nn
from torch.nn import functional

from pattern.synthetic.net import _ConvNorm, _folded, _Residual, down_and_up, halve_weights
from pattern.teeth.flat_network import CHANNELS, COLUMNS, MAP_NAMES, ROWS, SCALAR_NAMES

WIDTHS = (24, 32, 40, 48)
"""Channels at 1/2, 1/4, 1/8 and 1/16 of the input's size."""


class FlatNet(nn.Module):
    """(T, CHANNELS, ROWS, COLUMNS) to maps (T, 4, ROWS/2, COLUMNS/2) and scalars (T, 2)."""

    def __init__(self) -> None:
        super().__init__()
        self.stem = nn.Sequential(
            _ConvNorm(CHANNELS, WIDTHS[0], size=5, stride=2), _Residual(WIDTHS[0])
        )
        self.down = nn.ModuleList(
            nn.Sequential(_ConvNorm(before, after, stride=2), _Residual(after), _Residual(after))
            for before, after in pairwise(WIDTHS)
        )
        self.whole = nn.Conv2d(WIDTHS[-1], WIDTHS[-1], 1)
        self.lift = nn.ModuleList(
            _ConvNorm(after, before, size=1) for before, after in pairwise(WIDTHS)
        )
        self.skip = nn.ModuleList(nn.Identity() for _ in WIDTHS[:-1])
        self.merge = nn.ModuleList(_Residual(width) for width in WIDTHS[:-1])
        self.head = nn.Sequential(
            _ConvNorm(WIDTHS[0], WIDTHS[0]), nn.Conv2d(WIDTHS[0], len(MAP_NAMES), 1)
        )
        self.judge = nn.Sequential(
            nn.Conv2d(WIDTHS[0] + 2 * WIDTHS[-1], 48, 1),
            nn.ReLU(),
            nn.Conv2d(48, len(SCALAR_NAMES), 1),
        )

    def forward(self, x: Tensor) -> tuple[Tensor, Tensor]:
        """Maps and scalars; see `pattern.teeth.flat_network` for the channels."""
        levels, mean, up = down_and_up(self, x)
        fine = functional.adaptive_max_pool2d(up, 1)
        most = functional.adaptive_max_pool2d(levels[-1], 1)
        return self.head(up), self.judge(torch.cat([fine, mean, most], 1)).flatten(1)


def export_onnx(net: FlatNet, file: Path) -> None:
    """Write the network, batch norms folded, for any number of teeth."""
    file.parent.mkdir(parents=True, exist_ok=True)
    torch.onnx.export(
        _folded(net.eval().float().cpu()),
        (torch.zeros(1, CHANNELS, ROWS, COLUMNS),),
        str(file),
        input_names=["tooth"],
        output_names=["maps", "scalars"],
        dynamic_axes={name: {0: "teeth"} for name in ("tooth", "maps", "scalars")},
        opset_version=13,
        dynamo=False,
    )
    halve_weights(file)
