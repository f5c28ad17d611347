"""Training can go on from the network in the package: the norms put back change no answer."""

from __future__ import annotations

import torch

from pattern.synthetic.restart import packaged, with_norms


def test_putting_the_norms_back_leaves_the_answers_as_they_were() -> None:
    generator = torch.Generator().manual_seed(5)
    pictures = [2.0 * torch.rand(2, 4, 64, 96, generator=generator) - 1.0 for _ in range(3)]
    with torch.no_grad():
        before = packaged()(pictures[0])
        net = with_norms(packaged(), pictures)
        after = net(pictures[0])
        statistics = [m for m in net.modules() if isinstance(m, torch.nn.BatchNorm2d)]
    for old, new in zip(before, after, strict=True):
        assert torch.allclose(old, new, atol=2e-3)
    assert any(float((m.running_var - 1.0).abs().max()) > 0.1 for m in statistics)  # type: ignore[union-attr, operator]
