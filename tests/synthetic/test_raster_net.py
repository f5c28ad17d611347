"""The network and its losses: export equal to the original, overlap and turned teeth counted right."""

from __future__ import annotations

import warnings

import numpy as np
import onnxruntime
import pytest
import torch
from torch.nn import functional

from pattern.synthetic.net import ReaderNet, export_onnx
from pattern.synthetic.shade import Example
from pattern.synthetic.train import enlarged, seen_smaller
from pattern.synthetic.train_losses import Score, loss_of
from pattern.teeth.network import QUALITY_CODES

ROWS, COLUMNS = 12, 40


def test_the_exported_network_answers_as_the_original(tmp_path):
    torch.manual_seed(3)
    net = ReaderNet()
    for part in net.modules():
        if isinstance(part, torch.nn.BatchNorm2d):  # as training leaves them: neither 0 nor 1
            part.running_mean.normal_(0, 0.3)
            part.running_var.uniform_(0.5, 2.0)
    net.eval()
    file = tmp_path / "net.onnx"
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # torch announces the end of this exporter
        export_onnx(net, file)
    assert file.stat().st_size < 16_000_000
    runtime = onnxruntime.InferenceSession(file, providers=["CPUExecutionProvider"])
    for shape in ((96, 128), (160, 96)):
        picture = torch.rand(1, 4, *shape) * 2 - 1
        with torch.no_grad():
            maps, quality = net(picture)
        found = runtime.run(["maps", "quality"], {"picture": picture.numpy()})
        assert maps.shape == (1, 10, shape[0] // 2, shape[1] // 2)
        # weights are kept at half precision: 2**-11 of each, over some forty layers
        assert np.abs(found[0] - maps.numpy()).max() < 0.01 * float(maps.abs().max())
        assert np.abs(found[1].ravel() - quality.numpy().ravel()).max() < 0.01


def one_tooth() -> Example:
    """A tooth side over the middle rows, toe at the left, tip at the top, a mark in its middle."""
    masks = torch.zeros(1, 6, ROWS, COLUMNS)
    masks[:, (0, 2), 3:9, 4:36] = 1.0
    masks[:, 4, 5:7, 15:25] = 1.0
    lengthwise = ((torch.arange(COLUMNS) - 4) / 31).expand(1, ROWS, COLUMNS)
    profile = (1 - (torch.arange(ROWS) - 3) / 5)[:, None].expand(1, ROWS, COLUMNS)
    surface = torch.where(masks[:, 0] > 0, 6.0, -1.0)
    quality = torch.zeros(1, len(QUALITY_CODES))
    places = torch.stack([lengthwise, profile], 1)
    return Example(torch.zeros(1, 4, 24, 80), masks, places, masks[:, 0].clone(), quality, surface)


def answer(truth: Example) -> torch.Tensor:
    """Maps that say exactly the truth, sure of it."""
    logits = (truth.masks * 2 - 1) * 12.0
    return torch.cat([logits, truth.coordinates, torch.full((1, 2, ROWS, COLUMNS), -4.0)], 1)


def test_the_truth_scores_full_and_a_turned_tooth_is_counted():
    truth, quality = one_tooth(), torch.full((1, len(QUALITY_CODES)), -9.0)
    right, turned = answer(truth), answer(truth)
    turned[:, 6] = 1.0 - turned[:, 6]
    score = Score()
    score.add(right, quality, truth)
    table = score.table()
    assert "side 1.000" in table and "contact 1.000" in table
    assert "toe-heel turned 0.00000" in table and "root-tip turned 0.00000" in table
    score = Score()
    score.add(turned, quality, truth)
    assert "toe-heel turned 1.00000  root-tip turned 0.00000" in score.table()


def test_every_part_of_the_loss_grows_when_its_answer_is_wrong():
    truth, sure = one_tooth(), torch.full((1, len(QUALITY_CODES)), -9.0)
    _, best = loss_of(answer(truth), sure, truth)
    wrong = answer(truth)
    wrong[:, 0] = -wrong[:, 0]
    _, parts = loss_of(wrong, -sure, truth)
    assert parts["masks"] > best["masks"] + 1 and parts["overlap"] > best["overlap"] + 0.5
    assert parts["quality"] > best["quality"] + 5
    for channel, name in ((6, "lengthwise"), (7, "profile")):
        wrong = answer(truth)
        wrong[:, channel] += 0.2
        _, parts = loss_of(wrong, sure, truth)
        assert parts[name] > best[name] + 1.0


def test_undecided_quality_and_unknown_places_cost_nothing():
    truth = one_tooth()
    truth.quality[:] = -1.0
    truth.known[:] = 0.0
    maps = answer(truth)
    maps[:, 6:8] += 5.0
    _, parts = loss_of(maps, torch.full((1, len(QUALITY_CODES)), 30.0), truth)
    assert float(parts["quality"]) == 0.0
    assert float(parts["lengthwise"]) == pytest.approx(0.0)


def test_training_goes_on_from_a_network_with_fewer_blocks_without_changing_its_answers():
    torch.manual_seed(4)
    wide, narrow = ReaderNet().eval(), ReaderNet().eval()
    del narrow.down[-1][-1], narrow.down[-1][-1]
    wide.go_on_from(narrow.state_dict())
    picture = torch.rand(1, 4, 96, 128) * 2 - 1
    with torch.no_grad():
        (maps, quality), (before, quality_before) = wide(picture), narrow(picture)
    assert torch.allclose(maps, before, atol=1e-5)
    assert torch.allclose(quality, quality_before, atol=1e-5)
    with pytest.raises(ValueError, match="do not fit"):
        wide.go_on_from({k: v for k, v in narrow.state_dict().items() if "stem" not in k})


def test_a_smaller_look_is_judged_on_the_same_grid():
    truth = one_tooth()
    inputs = torch.rand(2, 4, 192, 256)
    small = seen_smaller(inputs, 0.625)
    assert small.shape == (2, 4, 128, 160)
    assert seen_smaller(inputs, 1.0) is inputs
    assert torch.allclose(small.mean(), inputs.mean(), atol=0.01)
    coarse = functional.avg_pool2d(answer(truth), 2)
    assert enlarged(coarse, truth).shape[2:] == truth.masks.shape[2:]
    full = answer(truth)
    assert enlarged(full, truth) is full
