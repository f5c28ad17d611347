"""Weights to go on training from, out of the packaged network: its batch norms are put back.

    python -m pattern.synthetic.restart --out weights.pt [--pictures 96] [--seed 77]

The package's ONNX file carries each batch norm folded into its convolution. Here a norm is made for
every convolution from the mean and spread of its output over training pictures, with a scale and a
shift that leave the network's answers as they were, in training as in use.
"""

from __future__ import annotations

import argparse
from importlib import resources
from pathlib import Path
from typing import Any

import onnx
import torch
from onnx import numpy_helper
from torch import Tensor, nn

from pattern.synthetic.dataset import batch_here
from pattern.synthetic.net import ReaderNet, _ConvNorm
from pattern.synthetic.shade import photograph
from pattern.synthetic.shade_paint import Dice
from pattern.teeth.network import WEIGHTS

BATCH = 24
LEAST_VARIANCE = 1e-6


def packaged() -> ReaderNet:
    """The packaged network in evaluation mode, its norms passing everything through but the bias."""
    data = resources.files("pattern.teeth").joinpath("weights", WEIGHTS).read_bytes()
    held = {
        entry.name: torch.tensor(numpy_helper.to_array(entry))
        for entry in onnx.load_from_string(data).graph.initializer
    }
    net = ReaderNet().eval()
    state = net.state_dict()
    for name, part in net.named_modules():
        if not isinstance(part, _ConvNorm):
            continue
        bias = held.pop(f"{name}.0.bias")
        state[f"{name}.0.weight"] = held.pop(f"{name}.0.weight")
        state[f"{name}.1.weight"] = torch.ones_like(bias)
        state[f"{name}.1.bias"] = bias
        state[f"{name}.1.running_mean"] = torch.zeros_like(bias)
        state[f"{name}.1.running_var"] = torch.ones_like(bias) - _norm_of(part).eps
    net.load_state_dict(state | held)
    return net


def with_norms(net: ReaderNet, inputs: list[Tensor]) -> ReaderNet:
    """Give each batch norm of a `packaged` network the statistics of its input over these pictures."""
    parts = [part for part in net.modules() if isinstance(part, _ConvNorm)]
    sums: dict[int, tuple[int, Tensor, Tensor]] = {}

    def note(which: int) -> Any:
        def hook(_part: nn.Module, _given: Any, out: Tensor) -> None:
            n, total, squares = sums.get(which, (0, torch.zeros(1), torch.zeros(1)))
            wide = out.double()
            sums[which] = (
                n + out.numel() // out.shape[1],
                total + wide.sum((0, 2, 3)),
                squares + (wide**2).sum((0, 2, 3)),
            )

        return hook

    hooks = [part[0].register_forward_hook(note(k)) for k, part in enumerate(parts)]
    with torch.no_grad():
        for picture in inputs:
            net(picture)
        for k, (part, hook) in enumerate(zip(parts, hooks, strict=True)):
            hook.remove()
            n, total, squares = sums[k]
            mean = total / n
            variance = (squares / n - mean**2).clamp_min(LEAST_VARIANCE)
            norm = _norm_of(part)
            norm.running_mean.copy_(mean)  # type: ignore[union-attr]
            norm.running_var.copy_(variance)  # type: ignore[union-attr]
            norm.bias.copy_(norm.bias + mean)
            norm.weight.copy_((variance + norm.eps).sqrt())
    return net


def _norm_of(part: _ConvNorm) -> nn.BatchNorm2d:
    norm = part[1]
    if not isinstance(norm, nn.BatchNorm2d):
        raise TypeError("this layer has no batch norm")
    return norm


def main() -> None:
    """The command; see the module's head."""
    parser = argparse.ArgumentParser(description="Weights to go on training from.")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--pictures", type=int, default=96)
    parser.add_argument("--seed", type=int, default=77)
    options = parser.parse_args()
    here = torch.device("cpu")
    inputs = [
        photograph(Dice(number, here), batch_here(options.seed, number, BATCH, here)).inputs
        for number in range(max(1, options.pictures // BATCH))
    ]
    net = with_norms(packaged(), inputs)
    halves = {k: v.half() if v.is_floating_point() else v for k, v in net.state_dict().items()}
    torch.save(halves, options.out)


if __name__ == "__main__":
    main()
