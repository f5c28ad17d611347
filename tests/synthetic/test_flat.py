"""Teeth laid out for the small network: what its training pictures show, and its export."""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
import onnxruntime
import pytest
import torch

from pattern.synthetic import flat_views
from pattern.synthetic.flat_net import FlatNet, export_onnx
from pattern.synthetic.flat_views import TEETH, FlatExamples, flat_examples
from pattern.teeth import flat_network
from pattern.teeth.flat_network import CHANNELS, COLUMNS, ROWS, SCALAR_NAMES


@pytest.fixture(scope="module")
def drawn() -> FlatExamples:
    return flat_examples(5, 6)


def test_a_seed_draws_the_same_teeth_again(drawn: FlatExamples) -> None:
    again = flat_examples(5, 6)
    assert torch.equal(again.rgb, drawn.rgb)
    assert torch.equal(again.contact, drawn.contact)


def test_every_photo_gives_its_teeth_with_truth_on_half_the_cells(drawn: FlatExamples) -> None:
    photos = len(drawn.rgb)
    assert 0 < photos <= 6, "photos that declare the other side are left out"
    assert drawn.rgb.shape == (photos, TEETH, 3, ROWS, COLUMNS)
    for truth in (drawn.contact, drawn.painted, drawn.own):
        assert truth.shape == (photos, TEETH, ROWS // 2, COLUMNS // 2)
        assert truth.min() >= 0.0 and truth.max() <= 1.0
    assert (drawn.contact <= drawn.own + 1e-6).all(), "a mark lies on the tooth side"
    assert drawn.contact.max() > 0.5, "and some teeth carry one"


def test_the_outlines_are_misplaced_no_more_than_the_reader_misplaces_them(
    drawn: FlatExamples,
) -> None:
    # the reader's corners: 95 % within 6 % of a tooth's length (README, trial set)
    assert drawn.own.mean() > 0.5
    off = drawn.slip[(drawn.own > 0.9)[:, :, None].expand_as(drawn.slip)]
    assert 0.0 < float(off.abs().median()) < 0.06


def test_the_grids_of_training_and_reading_are_the_same() -> None:
    assert (flat_views.ROWS, flat_views.COLUMNS) == (ROWS, COLUMNS)


def test_the_exported_network_says_what_the_trained_one_says(tmp_path: Path) -> None:
    torch.manual_seed(4)
    net = FlatNet()
    for part in net.modules():
        if isinstance(part, torch.nn.BatchNorm2d):  # as training leaves them: neither 0 nor 1
            part.running_mean.uniform_(-0.2, 0.2)
            part.running_var.uniform_(0.5, 1.5)
    net.eval()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # torch announces the end of this exporter
        export_onnx(net, tmp_path / "marks.onnx")
    teeth = np.random.default_rng(1).normal(size=(3, CHANNELS, ROWS, COLUMNS)).astype(np.float32)
    network = onnxruntime.InferenceSession(
        tmp_path / "marks.onnx", providers=["CPUExecutionProvider"]
    )
    maps, scalars = network.run(["maps", "scalars"], {"tooth": teeth})
    with torch.no_grad():
        true_maps, true_scalars = net(torch.from_numpy(teeth))
    # its weights are kept at half precision: eleven bits
    scale = float(true_maps.abs().max())
    assert np.abs(maps - true_maps.numpy()).max() < 0.01 * scale
    assert np.abs(scalars.ravel() - true_scalars.numpy().ravel()).max() < 0.02
    assert scalars.shape == (3, len(SCALAR_NAMES))
    assert flat_network.MAP_NAMES[:2] == ("contact", "own")
