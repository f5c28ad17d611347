"""Region measures against scikit-image's regionprops on the same masks, and against formulas."""

from __future__ import annotations

import math

import numpy as np
import pytest
from skimage.measure import regionprops

from pattern.reading.moments import TRUE_ASPECT, moments_of
from pattern.synthetic.ring_spec import RingSpec
from pattern.synthetic.tooth_form import flank_points

ROWS, COLUMNS = 80, 240


def _ellipse(l0: float, p0: float, a: float, b: float, turn: float) -> np.ndarray:
    lengthwise = (np.arange(COLUMNS) + 0.5) / COLUMNS
    profile = 1.0 - (np.arange(ROWS) + 0.5) / ROWS
    x, y = np.meshgrid(lengthwise - l0, profile - p0)
    c, s = math.cos(turn), math.sin(turn)
    return np.asarray(((c * x + s * y) / a) ** 2 + ((-s * x + c * y) / b) ** 2 <= 1.0)


def _blob(seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    mask = np.zeros((ROWS, COLUMNS), bool)
    for _ in range(3):
        l0, p0 = rng.uniform(0.3, 0.6), rng.uniform(0.35, 0.65)
        mask |= _ellipse(l0, p0, rng.uniform(0.1, 0.25), rng.uniform(0.1, 0.25), rng.uniform(-1, 1))
    return mask


@pytest.mark.parametrize("seed", range(6))
def test_area_centroid_and_orientation_agree_with_regionprops(seed: int) -> None:
    # outside reference: skimage.measure.regionprops, scikit-image 0.26
    mask = _blob(seed)
    ours = moments_of(mask.astype(float), aspect=COLUMNS / ROWS)
    theirs = regionprops(mask.astype(np.uint8))[0]
    assert ours is not None
    assert ours.area == pytest.approx(theirs.area / mask.size, abs=1e-12)
    assert ours.lengthwise == pytest.approx((theirs.centroid[1] + 0.5) / COLUMNS, abs=1e-12)
    assert ours.profile == pytest.approx(1.0 - (theirs.centroid[0] + 0.5) / ROWS, abs=1e-12)
    # regionprops measures from the row axis (down), counter-clockwise
    axis = math.degrees(theirs.orientation) - 90.0
    assert (ours.tilt_deg - axis + 90.0) % 180.0 == pytest.approx(90.0, abs=0.35)


def test_an_ellipse_has_the_extents_of_its_formula() -> None:
    ours = moments_of(_ellipse(0.62, 0.41, 0.2, 0.25, 0.0).astype(float))
    assert ours is not None
    # share of an ellipse's area within |x| <= t a: (t sqrt(1-t^2) + asin t) 2/pi; 0.9 at t = 0.8054
    reach = 0.8054
    assert ours.extent.lengthwise == pytest.approx(
        (0.62 - reach * 0.2, 0.62 + reach * 0.2), abs=0.004
    )
    assert ours.extent.profile == pytest.approx(
        (0.41 - reach * 0.25, 0.41 + reach * 0.25), abs=0.01
    )
    assert ours.area == pytest.approx(math.pi * 0.2 * 0.25, abs=0.002)


def test_the_tilt_is_in_true_lengths_and_positive_with_the_heel_end_toward_the_tip() -> None:
    lengthwise = (np.arange(COLUMNS) + 0.5) / COLUMNS
    profile = 1.0 - (np.arange(ROWS) + 0.5) / ROWS
    x, y = np.meshgrid((lengthwise - 0.5) * TRUE_ASPECT, profile - 0.5)
    for degrees in (-20.0, 8.0, 15.0):
        t = math.radians(degrees)
        along, across = x * math.cos(t) + y * math.sin(t), -x * math.sin(t) + y * math.cos(t)
        ours = moments_of(((along / 0.9) ** 2 + (across / 0.12) ** 2 <= 1).astype(float))
        assert ours is not None
        assert ours.tilt_deg == pytest.approx(degrees, abs=0.7)


def test_a_mark_in_two_bands_keeps_its_outer_extents() -> None:
    mask = _ellipse(0.5, 0.2, 0.2, 0.08, 0) | _ellipse(0.5, 0.8, 0.2, 0.08, 0)
    ours = moments_of(mask.astype(float))
    assert ours is not None
    assert ours.extent.profile[0] < 0.2
    assert ours.extent.profile[1] > 0.8
    assert ours.profile == pytest.approx(0.5, abs=0.01)


def test_no_contact_has_no_measures() -> None:
    assert moments_of(np.zeros((ROWS, COLUMNS))) is None


@pytest.mark.parametrize("system", ["tapered", "uniform"])
@pytest.mark.parametrize("counts", [(37, 9), (41, 11), (43, 14)])
def test_the_true_aspect_is_that_of_drawn_ring_gears(system: str, counts: tuple[int, int]) -> None:
    # proportions of ISO 23509:2016 in the tooth form; the figure only scales the tilt
    spec = RingSpec(ring_teeth=counts[0], pinion_teeth=counts[1], tooth_system=system)  # type: ignore[arg-type]
    share = np.linspace(0, 1, 60)
    for side in ("drive", "coast"):
        line = flank_points(spec, side, share, np.full(60, 0.5))  # type: ignore[arg-type]
        ends = flank_points(spec, side, np.array([0.5, 0.5]), np.array([0.0, 1.0]))  # type: ignore[arg-type]
        length = np.linalg.norm(np.diff(line, axis=0), axis=1).sum()
        assert length / np.linalg.norm(ends[1] - ends[0]) == pytest.approx(TRUE_ASPECT, rel=0.12)
