"""The reader's network: a U-shaped stack of plain convolutions, and its export to ONNX."""

from __future__ import annotations

import copy
from pathlib import Path
from typing import Any

import numpy as np
import torch
from torch import Tensor, nn
from torch.nn import functional

from pattern.teeth.network import COORDINATE_NAMES, FIELD_NAMES, QUALITY_CODES

WIDTHS = (32, 64, 96, 144, 192)
"""Channels at 1/2, 1/4, 1/8, 1/16 and 1/32 of the input's size."""
BLOCKS = (0, 1, 2, 3, 4)
"""Residual blocks at each of those."""
USUAL = (-2.0, -3.0, -2.4, -3.0, -3.7, -2.0, 0.5, 0.5, -1.3, -1.3)
"""What the maps say before training: rare masks, the middle of the tooth, a wide spread."""
MAPS = len(FIELD_NAMES) + len(COORDINATE_NAMES)


class _ConvNorm(nn.Sequential):
    def __init__(
        self, before: int, after: int, size: int = 3, stride: int = 1, relu: bool = True
    ) -> None:
        layers: list[nn.Module] = [
            nn.Conv2d(before, after, size, stride, size // 2, bias=False),
            nn.BatchNorm2d(after),
        ]
        super().__init__(*layers, *([nn.ReLU(inplace=True)] if relu else []))


class _Residual(nn.Module):
    def __init__(self, channels: int) -> None:
        super().__init__()
        self.first = _ConvNorm(channels, channels)
        self.second = _ConvNorm(channels, channels, relu=False)

    def forward(self, x: Tensor) -> Tensor:
        return functional.relu(x + self.second(self.first(x)))


class ReaderNet(nn.Module):
    """(B, 4, H, W) to maps (B, 10, H/2, W/2) and quality logits (B, 8); H and W multiples of 32."""

    def __init__(self) -> None:
        super().__init__()
        self.stem = _ConvNorm(4, WIDTHS[0], size=5, stride=2)
        self.down = nn.ModuleList(
            nn.Sequential(
                _ConvNorm(WIDTHS[k - 1], WIDTHS[k], stride=2),
                *[_Residual(WIDTHS[k]) for _ in range(BLOCKS[k])],
            )
            for k in range(1, len(WIDTHS))
        )
        self.whole = nn.Conv2d(WIDTHS[-1], WIDTHS[-1], 1)
        self.lift = nn.ModuleList(
            _ConvNorm(WIDTHS[k], WIDTHS[k - 1], size=1) for k in range(1, len(WIDTHS))
        )
        self.skip = nn.ModuleList(
            _ConvNorm(WIDTHS[k], WIDTHS[k], size=1) for k in range(len(WIDTHS) - 1)
        )
        self.merge = nn.ModuleList(
            _Residual(WIDTHS[k]) if k > 1 else _ConvNorm(WIDTHS[k], WIDTHS[k])
            for k in range(len(WIDTHS) - 1)
        )
        self.head = nn.Sequential(_ConvNorm(WIDTHS[0], 40), nn.Conv2d(40, MAPS, 1))
        seen = WIDTHS[0] + WIDTHS[1] + 2 * WIDTHS[-1]
        self.judge = nn.Sequential(
            nn.Conv2d(seen, 96, 1), nn.ReLU(), nn.Conv2d(96, len(QUALITY_CODES), 1)
        )
        self._start()

    def _start(self) -> None:
        """First weights: residual blocks pass their input on, the maps start at what is usual."""
        for part in self.modules():
            if isinstance(part, nn.Conv2d):
                nn.init.kaiming_normal_(part.weight, mode="fan_out", nonlinearity="relu")
                if part.bias is not None:
                    nn.init.zeros_(part.bias)
        for part in self.modules():
            if isinstance(part, _Residual):
                last = part.second[1]
                if isinstance(last, nn.BatchNorm2d):
                    nn.init.constant_(last.weight, 0.2)
        last = self.head[-1]
        if isinstance(last, nn.Conv2d) and last.bias is not None:
            nn.init.normal_(last.weight, std=0.02)
            last.bias.data = torch.tensor(USUAL)

    def go_on_from(self, weights: dict[str, Tensor]) -> None:
        """Take an earlier network's weights; blocks that it has not pass their input on at first."""
        missing, unknown = self.load_state_dict(weights, strict=False)
        parts = dict(self.named_modules())
        new = {name.rsplit(".", 3)[0] for name in missing}
        if unknown or not all(isinstance(parts[name], _Residual) for name in new):
            raise ValueError(f"weights do not fit: {missing} missing, {unknown} unknown")
        for name in new:
            nn.init.zeros_(parts[name].second[1].weight)  # type: ignore[index,union-attr,arg-type]

    def forward(self, x: Tensor) -> tuple[Tensor, Tensor]:
        """Maps and quality; see `pattern.teeth.network` for the channels."""
        levels, mean, up = down_and_up(self, x)
        fine = functional.adaptive_avg_pool2d(up, 1)
        middle = functional.adaptive_avg_pool2d(levels[1], 1)
        most = functional.adaptive_max_pool2d(levels[-1], 1)
        return self.head(up), self.judge(torch.cat([fine, middle, mean, most], 1))


def down_and_up(net: Any, x: Tensor) -> tuple[list[Tensor], Tensor, Tensor]:
    """The levels of a U-shaped network, the mean of its deepest, and what comes up again.

    `net` has a `stem`, steps `down`, `whole` for the mean, and for each level up `lift`, `skip`, `merge`.
    """
    levels = [net.stem(x)]
    for step in net.down:
        levels.append(step(levels[-1]))
    deep = levels[-1]
    mean = functional.adaptive_avg_pool2d(deep, 1)
    up = deep + functional.relu(net.whole(mean))
    for k in range(len(levels) - 2, -1, -1):
        lifted = functional.interpolate(net.lift[k](up), scale_factor=2.0, mode="nearest")
        up = net.merge[k](lifted + net.skip[k](levels[k]))
    return levels, mean, up


def export_onnx(net: ReaderNet, file: Path) -> None:
    """Write the network, batch norms folded, for pictures of any size."""
    net = net.eval().float().cpu()
    folded = _folded(net)
    file.parent.mkdir(parents=True, exist_ok=True)
    torch.onnx.export(
        folded,
        (torch.zeros(1, 4, 384, 512),),
        str(file),
        input_names=["picture"],
        output_names=["maps", "quality"],
        dynamic_axes={"picture": {2: "rows", 3: "columns"}, "maps": {2: "rows2", 3: "columns2"}},
        opset_version=13,
        dynamo=False,
    )
    halve_weights(file)
    if file.stat().st_size > 16_000_000:
        raise RuntimeError(f"{file} is larger than 16 MB; narrow WIDTHS")


def halve_weights(file: Path) -> None:
    """Keep the large weights of an ONNX file at half precision, to be widened when it is loaded."""
    import onnx
    from onnx import TensorProto, helper, numpy_helper

    model = onnx.load(str(file))
    graph = model.graph
    wide: dict[str, str] = {}
    for tensor in graph.initializer:
        values = numpy_helper.to_array(tensor)
        if values.dtype == np.float32 and values.size > 64:
            tensor.CopyFrom(numpy_helper.from_array(values.astype(np.float16), tensor.name))
            wide[tensor.name] = f"{tensor.name}_wide"
    for node in graph.node:
        node.input[:] = [wide.get(name, name) for name in node.input]
    for at, (narrow, name) in enumerate(wide.items()):
        graph.node.insert(at, helper.make_node("Cast", [narrow], [name], to=TensorProto.FLOAT))
    onnx.checker.check_model(model, full_check=True)
    onnx.save(model, str(file))


def _folded(module: nn.Module) -> nn.Module:
    """A copy in which every convolution carries its batch norm."""
    module = copy.deepcopy(module)
    for part in module.modules():
        if isinstance(part, _ConvNorm):
            convolution, norm = part[0], part[1]
            if isinstance(convolution, nn.Conv2d) and isinstance(norm, nn.BatchNorm2d):
                part[0] = torch.nn.utils.fusion.fuse_conv_bn_eval(convolution, norm)
                part[1] = nn.Identity()
    return module
