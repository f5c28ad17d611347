"""Training pictures: truth that fits what was painted, the same for one seed, JPEG as OpenCV's."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
import torch

from pattern.synthetic import dataset
from pattern.synthetic.shade import photograph
from pattern.synthetic.shade_camera import gaussian, jpeg
from pattern.synthetic.shade_paint import Dice
from pattern.teeth.network import QUALITY_CODES

CPU = torch.device("cpu")
COUNT = 8


@pytest.fixture(scope="module")
def batch():
    patch = pytest.MonkeyPatch()
    patch.setattr(dataset, "SHAPES", ((96, 128),))
    yield dataset.batch_here(5, 0, COUNT, CPU)
    patch.undo()


@pytest.fixture(scope="module")
def example(batch):
    with torch.no_grad():
        return photograph(Dice(11, CPU), batch)


def test_a_picture_is_eight_bit_colour_and_the_declared_side(example):
    assert example.inputs.shape == (COUNT, 4, 96, 128)
    colours = (example.inputs[:, :3] + 1) * 127.5
    assert torch.all((colours - colours.round()).abs() < 1e-3)
    assert float(colours.min()) >= 0 and float(colours.max()) <= 255
    planes = example.inputs[:, 3].flatten(1)
    assert torch.all(planes.abs() == 1) and torch.all(planes.std(1) == 0)


def test_what_is_wiped_or_covered_lies_on_painted_teeth_of_the_declared_side(example):
    side, other, painted, compound, contact, _ = example.masks.unbind(1)
    assert torch.all(painted <= side + 1e-5)
    assert torch.all(contact <= painted + 1e-5)
    assert torch.all(compound <= painted + 1e-5)
    assert torch.all(side + other <= 1 + 1e-5)
    assert float(contact.max()) > 0.5 and float(compound.max()) > 0.5


def test_tooth_coordinates_are_known_only_on_whole_cells_of_one_tooth(example):
    known = example.known > 0
    assert known.any()
    assert torch.all(example.surface[known] >= 0)
    for k in range(2):
        values = example.coordinates[:, k][known]
        assert float(values.min()) > -0.05 and float(values.max()) < 1.05


def test_the_same_seed_makes_the_same_picture(batch, example):
    with torch.no_grad():
        again = photograph(Dice(11, CPU), batch)
        different = photograph(Dice(12, CPU), batch)
    assert torch.equal(again.inputs, example.inputs)
    assert not torch.equal(different.inputs, example.inputs)


def test_quality_is_yes_no_or_undecided_and_agrees_with_the_masks(example):
    assert set(example.quality.unique().tolist()) <= {-1.0, 0.0, 1.0}
    no_teeth = example.quality[:, QUALITY_CODES.index("no_teeth")]
    flanks = example.masks[:, :2].sum((1, 2, 3))
    assert torch.all(flanks[no_teeth == 1] < 5)
    no_compound = example.quality[:, QUALITY_CODES.index("no_compound")]
    cover = example.masks[:, 3:5].sum((1, 2, 3))
    assert torch.all(cover[no_compound == 1] < 1)
    assert torch.all(cover[no_compound == 0] > 20)


def test_easy_pictures_are_sharp(batch):
    blurred = QUALITY_CODES.index("blurred")
    with torch.no_grad():
        hard = [photograph(Dice(k, CPU), batch).quality[:, blurred] for k in (2, 3)]
        easy = [photograph(Dice(k, CPU), batch, ease=1.0).quality[:, blurred] for k in (2, 3)]
    assert (torch.cat(easy) == 0).sum() > (torch.cat(hard) == 0).sum()
    assert not (torch.cat(easy) == 1).any()


def test_blur_is_the_gaussian_that_opencv_draws():
    # cv2.GaussianBlur with the same sigma is the outside reference. Beyond 2 px ours is drawn at half
    # size, which costs a little sharpness.
    noise = np.random.default_rng(0).random((60, 80), np.float32)
    for sigma, apart in ((0.7, 0.001), (1.4, 0.001), (2.8, 0.02)):
        ours = gaussian(torch.from_numpy(noise)[None, None], sigma)[0, 0].numpy()
        theirs = cv2.GaussianBlur(noise, (0, 0), sigma, borderType=cv2.BORDER_REPLICATE)
        assert np.abs(ours - theirs)[12:-12, 12:-12].max() < apart


def test_jpeg_loses_about_what_opencvs_jpeg_loses():
    # The encoder of OpenCV (libjpeg) is the outside reference, at both ends of our qualities.
    picture = cv2.GaussianBlur(
        np.random.default_rng(1).random((96, 128, 3), np.float32), (0, 0), 1.2
    )
    picture = np.clip((picture - 0.5) * 3 + 0.5, 0, 1)

    class Fixed(Dice):
        def uniform(self, *shape, low=0.0, high=1.0):
            return torch.full(shape, self.quality)

    def loss(found: np.ndarray) -> float:
        return float(np.sqrt(np.mean((found - picture) ** 2)))

    for quality in (40.0, 90.0):
        dice = Fixed(0, CPU)
        dice.quality = quality
        ours = jpeg(dice, torch.from_numpy(picture).permute(2, 0, 1)[None])[0].permute(1, 2, 0)
        coded = cv2.imencode(
            ".jpg", np.uint8(picture[..., ::-1] * 255), [cv2.IMWRITE_JPEG_QUALITY, int(quality)]
        )[1]
        theirs = cv2.imdecode(coded, cv2.IMREAD_COLOR)[..., ::-1] / 255.0
        assert loss(ours.numpy()) == pytest.approx(loss(theirs), rel=0.3)
