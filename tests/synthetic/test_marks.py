"""Truth of marks: measured as scikit-image measures regions, shaped as asked for."""

from __future__ import annotations

import numpy as np
import pytest
from skimage.measure import label, regionprops

from pattern.synthetic.marks import Mark, level_field, measure_mask
from pattern.synthetic.noise import smooth_noise
from pattern.synthetic.paint import Brush, SideMark, painted_tooth
from pattern.synthetic.pair_marks import pair_marks
from pattern.synthetic.ring_spec import RingSpec
from pattern.synthetic.scene import Moves
from pattern.synthetic.tooth_form import SECTION

SIZE_MM = (40.0, 8.0)
ROWS, COLUMNS = 80, 400


def _grid():
    length = (np.arange(COLUMNS) + 0.5) / COLUMNS
    depth = (np.arange(ROWS) + 0.5) / ROWS
    return np.meshgrid(length, depth)


def _mask(mark: Mark):
    length, depth = _grid()
    return level_field(mark, length, depth, SIZE_MM) > 0


@pytest.mark.parametrize("tilt", [-22.0, -6.0, 0.0, 9.0, 20.0])
def test_measures_agree_with_scikit_images_regionprops(tilt):
    # scikit-image regionprops: centroid, area, orientation of the same mask.
    # Cells are square here (0.1 mm), so that its angle needs no correction.
    mask = _mask(Mark(0.42, 0.55, 0.4, 0.4, tilt))
    region = regionprops(label(mask))[0]
    found = measure_mask(mask, SIZE_MM)
    row, column = region.centroid
    assert found.lengthwise == pytest.approx((column + 0.5) / COLUMNS, abs=1e-9)
    assert found.profile == pytest.approx((row + 0.5) / ROWS, abs=1e-9)
    assert found.area == pytest.approx(region.area / mask.size, abs=1e-12)
    # Its orientation runs from the rows' axis; rows grow toward the tip here.
    assert found.tilt_deg == pytest.approx(90.0 - np.degrees(region.orientation) % 180.0, abs=0.1)


def test_the_long_axis_leans_to_the_tip_at_the_heel_for_a_positive_tilt():
    mask = _mask(Mark(0.5, 0.5, 0.6, 0.3, 15.0))
    rows, columns = np.nonzero(mask)
    toe_half, heel_half = rows[columns < COLUMNS / 2], rows[columns >= COLUMNS / 2]
    assert heel_half.mean() > toe_half.mean() + 5
    assert measure_mask(mask, SIZE_MM).tilt_deg == pytest.approx(15.0, abs=1.0)


def test_extents_hold_five_to_ninety_five_percent_of_a_rectangle():
    mask = np.zeros((ROWS, COLUMNS), bool)
    mask[20:60, 100:300] = True
    found = measure_mask(mask, SIZE_MM)
    assert found.lengthwise_range == pytest.approx((0.25 + 0.025, 0.75 - 0.025), abs=0.002)
    assert found.profile_range == pytest.approx((0.25 + 0.025, 0.75 - 0.025), abs=0.006)


def test_two_bands_are_two_regions():
    mask = _mask(Mark(kind="two_band", width=0.85, gap=0.46))
    assert label(mask).max() == 2


def test_an_empty_mark_is_refused():
    with pytest.raises(ValueError, match="off the tooth"):
        measure_mask(np.zeros((4, 4), bool), SIZE_MM)


def test_compound_is_thin_inside_the_mark_and_piled_up_around_it():
    rng = np.random.default_rng(5)
    marks = {"drive": SideMark(Mark(0.5, 0.5, 0.5, 0.6))}
    sizes = {"drive": SIZE_MM, "coast": SIZE_MM}
    fields = painted_tooth((400, 500), Brush(streak=0.1), marks, sizes, rng)
    rows = slice(int(SECTION.drive_root * 400), int(SECTION.drive_tip * 400))
    middle = fields.thickness_um[rows][50:70, 220:280].mean()
    fresh = fields.thickness_um[rows][50:70, 20:60].mean()
    assert middle < 0.15 * fresh
    assert fields.thickness_um[rows][:, 120:380].max() > 1.5 * fresh
    # The true mask is the wiped area, in tooth coordinates with row 0 at the root.
    found = measure_mask(fields.contact["drive"], SIZE_MM)
    assert found.lengthwise == pytest.approx(0.5, abs=0.02)
    assert found.profile == pytest.approx(0.5, abs=0.03)


def test_the_coast_mask_runs_from_root_to_tip_although_its_texture_runs_from_tip_to_root():
    marks = {"coast": SideMark(Mark(0.3, 0.75, 0.3, 0.3))}
    sizes = {"drive": SIZE_MM, "coast": SIZE_MM}
    fields = painted_tooth((400, 500), Brush(), marks, sizes, np.random.default_rng(1))
    found = measure_mask(fields.contact["coast"], SIZE_MM)
    assert found.lengthwise == pytest.approx(0.3, abs=0.02)
    assert found.profile == pytest.approx(0.75, abs=0.03)
    at_tip = int((SECTION.coast_tip + 0.25 * (SECTION.coast_root - SECTION.coast_tip)) * 400)
    assert fields.wiped[at_tip, 140:160].mean() > 0.6


def test_a_pairs_marks_move_together_as_the_truck_manual_says():
    # TM 9-2320-266-34 para 19-5c (tapered hypoid): pinion too far out shows high on the heel on the
    # drive side and high on the toe on the coast side.
    def centre(level):
        length, depth = np.nonzero(level > 0)
        return length.mean() / (level.shape[0] - 1), depth.mean() / (level.shape[1] - 1)

    right, out = (pair_marks(RingSpec(), Moves(move)).levels for move in (0.0, -0.008))
    for side, toward in (("drive", 1.0), ("coast", -1.0)):
        before, after = centre(right[side]), centre(out[side])
        assert after[1] > before[1] + 0.05
        assert toward * (after[0] - before[0]) > 0.0


def test_noise_repeats_for_a_seed():
    one, two = (smooth_noise((40, 60), (4, 5), np.random.default_rng(2)) for _ in range(2))
    np.testing.assert_array_equal(one, two)
