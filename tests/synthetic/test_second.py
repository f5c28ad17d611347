"""The second renderer: trade facts of its gears, its truth, and that it stays apart from the first."""

from __future__ import annotations

import json
import re
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from pattern.cli import commands
from pattern.synthetic.second.__main__ import main, orders
from pattern.synthetic.second.aim import aimed_camera
from pattern.synthetic.second.camera import looking
from pattern.synthetic.second.compound import PROBE_LENGTHWISE, Wiped
from pattern.synthetic.second.gear import COAST, DRIVE, drawn_gear
from pattern.synthetic.second.marks import Mark, centroid, mark_field
from pattern.synthetic.second.painting import drawn_rolled, painted_gear
from pattern.synthetic.second.plan import FAULTS, Order, drawn_subject
from pattern.synthetic.second.tooth_solid import ring_of_teeth
from pattern.synthetic.second.truth import can_be_told, legibility, photo_truth, tooth_truths
from pattern.synthetic.second.views import SideView, look_at_sides, polygon_area

HERE = Path(__file__).parents[2] / "pattern"
SECOND = HERE / "synthetic" / "second"
GEARS = [drawn_gear(np.random.default_rng(seed)) for seed in range(40)]
HALF = np.array([0.5])


def _nothing_blocks(points, directions, reach_mm):
    return np.zeros(len(points), bool)


def _blocked_by(shape):
    """Rays against triangles one by one (Möller and Trumbore, 1997), independent of the tracer."""
    points, _, _, faces = shape.arrays()
    corner = points[faces[:, 0]]
    first, second = points[faces[:, 1]] - corner, points[faces[:, 2]] - corner

    def blocked(starts, directions, reach_mm):
        hits = []
        for start, way, reach in zip(starts, directions, reach_mm, strict=True):
            p = np.cross(way, second)
            determinant = np.einsum("ij,ij->i", first, p)
            scale = 1 / np.where(np.abs(determinant) < 1e-12, np.inf, determinant)
            u = np.einsum("ij,ij->i", start - corner, p) * scale
            q = np.cross(start - corner, first)
            v, along = q @ way * scale, np.einsum("ij,ij->i", second, q) * scale
            met = (u >= 0) & (v >= 0) & (u + v <= 1) & (along > 1e-6) & (along < reach)
            hits.append(bool((met & (scale != 0)).any()))
        return np.array(hits)

    return blocked


# The gear. -----------------------------------------------------------------------------------


@pytest.mark.parametrize("side", [DRIVE, COAST])
def test_the_toe_is_the_end_of_the_small_diameter(side):
    # Words of AGMA 1012 (sources.md): heel near the outer, toe near the inner end.
    for gear in GEARS:
        toe, heel = (gear.flank(side, end, 0.5) for end in (0.0, 1.0))
        assert np.hypot(*toe[:2]) < np.hypot(*heel[:2])


def test_the_tip_looks_away_from_the_body():
    for gear in GEARS:
        tip, root = (gear.flank(DRIVE, 0.5, end) for end in (1.0, 0.0))
        assert tip[2] > root[2]


def test_the_drive_side_is_convex_and_the_coast_side_concave():
    # "The side ... which curves outward, or is convex, is the drive side" (a vehicle maker's service
    # manual of 2003, quoted in sources.md).
    for gear in GEARS:
        for side, sign in ((DRIVE, 1), (COAST, -1)):
            ends = (gear.flank(side, 0.0, 0.5) + gear.flank(side, 1.0, 0.5)) / 2
            bulge = (gear.flank(side, 0.5, 0.5) - ends) @ gear.outward(side, 0.5, 0.5)
            assert sign * bulge > 0.05


def test_the_outward_normal_points_away_from_the_other_side():
    for gear in GEARS:
        across = gear.flank(DRIVE, 0.5, 0.5) - gear.flank(COAST, 0.5, 0.5)
        assert across @ gear.outward(DRIVE, 0.5, 0.5) > 0
        assert across @ gear.outward(COAST, 0.5, 0.5) < 0


def test_a_left_hand_gear_is_the_mirror_image_of_a_right_hand_one():
    along, up = np.meshgrid(np.linspace(0, 1, 7), np.linspace(0, 1, 5))
    for gear in GEARS[:10]:
        right, left = (replace(gear, hand=hand) for hand in ("right", "left"))
        for side in (DRIVE, COAST):
            for way in ("flank", "outward"):
                mirrored = getattr(left, way)(side, along, up) * [1, -1, 1]
                assert mirrored == pytest.approx(getattr(right, way)(side, along, up), abs=1e-9)


def test_on_a_right_hand_gear_the_outer_half_of_a_tooth_leans_clockwise():
    # Definition of hand in AGMA 1012, from memory: seen facing the teeth, here from +z.
    for gear in GEARS:
        line = gear.placed(np.array([gear.mean_mm, gear.heel_mm]), 0.0, 0.0)
        middle, heel = np.arctan2(line[:, 1], line[:, 0])
        assert (heel < middle) == (gear.hand == "right")


def test_the_spiral_angle_at_the_mean_cone_distance_is_the_one_asked_for():
    # Spiral angle: between the tooth's line and the cone's generator through the same point.
    for gear in GEARS:
        near = gear.mean_mm + np.array([-0.05, 0.0, 0.05])
        line = gear.placed(near, 0.0, 0.0)
        tangent, generator = line[2] - line[0], line[1]
        cosine = tangent @ generator / np.linalg.norm(tangent) / np.linalg.norm(generator)
        assert np.degrees(np.arccos(cosine)) == pytest.approx(np.degrees(gear.spiral_rad), abs=0.05)


def test_the_tooth_line_is_an_arc_of_the_cutter_s_radius_on_the_unrolled_cone():
    # A face-milling cutter's blade tips move on a circle: common practice, no source.
    for gear in GEARS[:10]:
        cone = np.linspace(gear.toe_mm, gear.heel_mm, 9)
        line = gear.placed(cone, 0.0, 0.0)
        unrolled = np.unwrap(np.arctan2(line[:, 1], line[:, 0])) * np.sin(gear.pitch_angle_rad)
        x, y = cone * np.cos(unrolled), cone * np.sin(unrolled)
        terms = np.stack([2 * x, 2 * y, np.ones(len(x))], 1)
        (a, b, c), *_ = np.linalg.lstsq(terms, x**2 + y**2, rcond=None)
        radius = np.sqrt(c + a**2 + b**2)
        assert radius == pytest.approx(gear.cutter_ratio * gear.mean_mm, rel=0.01)


def test_teeth_and_sizes_are_those_of_rear_axles():
    # Ratios of about 3 to 4.7 and ring gears of 6.5 to 9.75 in: common practice, no source.
    for gear in GEARS:
        assert 35 <= gear.teeth <= 45
        assert 8 <= gear.pinion_teeth <= 14
        assert 2.9 <= gear.teeth / gear.pinion_teeth <= 4.8
        assert 6.5 <= gear.diameter_mm / 25.4 <= 9.75
        # Classic proportions (sources.md): the face is at most a third of the outer cone distance.
        assert gear.face_mm <= gear.heel_mm / 3 * 1.02


def test_a_uniform_tooth_is_as_deep_at_the_toe_as_at_the_heel_by_its_module():
    # ISO 23509 samples 3 and 4 (sources.md): 9.063 of module 4.028, 13.646 of 6.065: 2.25 both.
    uniform = [gear for gear in GEARS if gear.uniform_depth]
    depths = []
    for gear in uniform:
        ends = gear.rows_at(np.array([gear.toe_mm, gear.heel_mm])).depth_mm
        assert ends[0] == ends[1]
        around = 2 * gear.mean_mm * np.sin(gear.pitch_angle_rad)
        depths.append(ends[0] / (around / gear.teeth * np.cos(gear.spiral_rad)))
    assert min(depths) < 9.063 / 4.028 < max(depths)
    assert depths == pytest.approx([9.063 / 4.028] * len(depths), rel=0.1)


def test_a_tapered_tooth_is_deeper_at_the_heel():
    # ISO 23509 samples 1 and 2 (sources.md): toe over heel 0.580 and 0.639. Whole depth at the heel
    # 1.888 over the diametral pitch: the classic proportions, same place.
    for gear in GEARS:
        if not gear.uniform_depth:
            toe, heel = gear.rows_at(np.array([gear.toe_mm, gear.heel_mm])).depth_mm
            assert 0.57 < toe / heel < 0.72
            assert heel == pytest.approx(1.888 * gear.diameter_mm / gear.teeth, rel=0.17)


# The truth. ----------------------------------------------------------------------------------

ELLIPSE = Mark(
    lengthwise=0.41,
    profile=0.56,
    half_length=0.22,
    half_width=0.27,
    squareness=2.0,
    bias_deg=0.0,
    egg=0.0,
    softness=0.1,
    raggedness=0.0,
    film=0.1,
    rim=0.5,
    rim_width=0.1,
    rim_towards_rad=0.0,
)


def _centroid(mark, side_shape=4.0):
    field, _ = mark_field(np.random.default_rng(0), mark, 300, 800, side_shape)
    return centroid(field)


@pytest.mark.parametrize("bias_deg", [-25.0, 0.0, 12.0])
def test_the_centroid_of_an_ellipse_is_its_centre(bias_deg):
    mark = replace(ELLIPSE, bias_deg=bias_deg, half_length=0.15)
    assert _centroid(mark) == pytest.approx((0.41, 0.56), abs=0.002)


def test_a_mark_cut_in_half_by_the_toe_lies_where_a_half_ellipse_has_its_centroid():
    # 4 a / 3 pi from the straight edge: any handbook of mechanics.
    lengthwise, profile = _centroid(replace(ELLIPSE, lengthwise=0.0))
    assert lengthwise == pytest.approx(4 * 0.22 / (3 * np.pi), abs=0.003)
    assert profile == pytest.approx(0.56, abs=0.002)


def test_a_mark_that_is_off_the_tooth_has_no_place():
    assert _centroid(replace(ELLIPSE, lengthwise=-0.5)) is None


def test_pixels_run_to_the_right_and_down():
    camera = looking(np.zeros(3), np.array([0, 0, 50.0]), np.array([0, 1.0, 0]), (400, 300), 350.0)
    assert camera.pixels([0, 0, 100.0]) == pytest.approx([200, 150])
    right, above = (
        camera.pixels(camera.right + np.array([0, 0, 100])),
        camera.pixels([0, 1.0, 100.0]),
    )
    assert right == pytest.approx([203.5, 150])
    assert above == pytest.approx([200, 146.5])


def _subject(index=0, fault=None, **changes):
    order = Order(index, fault, seed=3, scale=0.35)
    subject = drawn_subject(order, order.main_rng(0), order.lasting_rng(0))
    return order, replace(subject, **changes)


def test_a_tooth_behind_another_is_less_visible():
    _, subject = _subject(side=DRIVE, painted=(0, 1))
    spot = subject.spot()
    towards = spot.outward + 0.1 * spot.to_tip
    camera = looking(spot.point + 300 * towards, spot.point, spot.to_tip, (800, 600), 2500.0)
    both = ring_of_teeth(subject.gear, subject.tooth, [subject.turn(k) for k in (0, 1)])
    before, behind = (subject.gear.hand == "right"), (subject.gear.hand != "right")
    views = look_at_sides(subject, camera, _blocked_by(both))
    free = look_at_sides(subject, camera, _nothing_blocks)
    assert views[before].share > 0.9
    assert views[behind].share < 0.6
    assert free[behind].share > 0.9


def test_the_corners_are_toe_tip_heel_tip_heel_root_and_toe_root():
    _, subject = _subject(index=1)
    spot = subject.spot()
    camera = looking(spot.point + 250 * spot.outward, spot.point, spot.to_tip, (800, 600), 2000.0)
    corners = look_at_sides(subject, camera, _nothing_blocks)[
        subject.painted.index(subject.middle)
    ].corners_px
    heel, tip = camera.right @ spot.to_heel, -1
    along, down = (corners[1] - corners[0])[0], (corners[3] - corners[0])[1]
    assert np.sign(along) == np.sign(heel) == np.sign((corners[2] - corners[3])[0])
    assert np.sign(down) == -tip == np.sign((corners[2] - corners[1])[1])


def test_the_area_of_a_polygon():
    assert polygon_area(np.array([[0, 0], [4, 0], [4, 3], [0, 3]])) == 12


def _drawn(index, fault=None, attempt=0, seed=3):
    """Everything of a photo but its tracing; nothing stands in the way of the camera."""
    order = Order(index, fault, seed=seed, scale=0.35)
    rng, lasting = order.main_rng(attempt), order.lasting_rng(attempt)
    subject = drawn_subject(order, rng, lasting)
    camera = aimed_camera(rng, order, subject, _nothing_blocks)
    assert camera is not None
    rolled = drawn_rolled(rng, lasting, order, subject)
    painted = painted_gear(rng, order.tooth_rng(attempt), order, subject, rolled)
    views = look_at_sides(subject, camera, _nothing_blocks)
    picture = np.full((camera.height_px, camera.width_px, 3), 90, np.uint8)
    teeth = tooth_truths(subject, painted, views, picture)
    return order, subject, camera, painted, teeth


def test_the_same_seed_gives_the_same_scene_and_another_seed_or_number_another():
    truths = [
        photo_truth(order, subject, camera, painted, teeth, {})
        for order, subject, camera, painted, teeth in (
            _drawn(4),
            _drawn(4),
            _drawn(5),
            _drawn(4, seed=6),
        )
    ]
    assert truths[0] == truths[1]
    assert truths[0] != truths[2]
    assert truths[0]["scene"] != truths[3]["scene"]


def test_side_and_hand_stay_when_a_photo_is_drawn_again():
    first, again = (_drawn(6, attempt=n)[1] for n in (0, 1))
    assert (first.side, first.gear.hand, first.style) == (again.side, again.gear.hand, again.style)
    assert first.gear != again.gear


def test_the_truth_of_a_tooth_is_where_its_mark_was_put():
    _, _, _, painted, teeth = _drawn(4)
    mark = painted.rolled.mark
    inside = mark.half_length < mark.lengthwise < 1 - mark.half_length
    assert teeth
    for tooth in teeth:
        # From tooth to tooth marks move by 0.015; a cut mark's middle lies nearer the side's.
        assert tooth["lengthwise"] == pytest.approx(mark.lengthwise, abs=0.08 if inside else 0.25)


@pytest.mark.parametrize("fault", FAULTS)
def test_a_photo_of_a_bad_kind_says_so(fault):
    order, subject, camera, painted, teeth = _drawn(7, fault)
    truth = photo_truth(order, subject, camera, painted, teeth, {})
    assert truth["readable"] is False
    assert truth["fault"] == fault
    if fault in ("not rolled", "not painted"):
        assert truth["teeth"] == []
        assert truth["lengthwise"] is None
    if fault == "too far":
        assert all(tooth["length_px"] < 50 * order.scale for tooth in truth["teeth"])


def test_a_mark_that_nobody_could_see_makes_no_readable_photo():
    # The picture of `_drawn` is an even grey.
    order, *_, teeth = _drawn(4)
    assert teeth
    assert not can_be_told(order, teeth)


def test_a_clear_mark_stands_out():
    distance = np.abs(PROBE_LENGTHWISE - 0.5) * 5
    pixels = np.stack([PROBE_LENGTHWISE * 100, np.full(len(distance), 5.0)], 1)
    view = SideView(0, np.zeros((4, 2)), np.ones(len(distance), bool), 1.0, pixels)
    lab = np.full((10, 100, 3), 80.0)
    lab[:, 30:70] = [40, 5, 5]
    seen = legibility(lab, view, Wiped((0.5, 0.5), distance, 0.0))
    assert seen.contrast == pytest.approx(np.hypot(0.8 * 40, np.hypot(75, 75)), rel=1e-6)
    assert seen.mark_visible == 1.0


def test_bad_photos_are_mixed_in_and_every_kind_has_its_share():
    drawn = orders(150, 50, seed=11, scale=1.0, samples=64)
    faults = Counter(order.fault for order in drawn)
    assert faults.pop(None) == 150
    assert set(faults) == set(FAULTS)
    assert max(faults.values()) - min(faults.values()) <= 1
    assert any(order.fault for order in drawn[:50])
    assert drawn == orders(150, 50, seed=11, scale=1.0, samples=64)


def test_a_number_that_no_photo_has_is_refused(tmp_path, capsys):
    told = ["--out", str(tmp_path / "new"), "--count", "3", "--bad", "1", "--only", "2,4"]
    with pytest.raises(SystemExit):
        main(told)
    assert "numbers from 0 to 3" in capsys.readouterr().err
    assert not (tmp_path / "new").exists()


# Apart from the first renderer. --------------------------------------------------------------


def _imported(source):
    pattern = r"^\s*(?:from|import)\s+(pattern[\w.]*)"
    return re.findall(pattern, source.read_text(encoding="utf-8"), re.MULTILINE)


def test_it_imports_nothing_of_the_project_but_itself():
    names = {name for source in SECOND.glob("*.py") for name in _imported(source)}
    assert names
    assert all(name.startswith("pattern.synthetic.second") for name in names)


def test_nothing_that_trains_or_reads_imports_it():
    others = [source for source in HERE.rglob("*.py") if SECOND not in source.parents]
    assert len(others) > 100
    assert not [s for s in others if any("synthetic.second" in n for n in _imported(s))]


@pytest.mark.slow
def test_the_command_draws_photos_that_check_scores(tmp_path):
    pytest.importorskip("mitsuba")
    told = ["--count", "90", "--bad", "30", "--seed", "5", "--only", "7,8"]
    assert main(["--out", str(tmp_path), *told, "--scale", "0.35", "--spp", "4"]) == 0
    truths = [json.loads(path.read_text()) for path in sorted(tmp_path.glob("*.json"))]
    assert [truth["fault"] for truth in truths] == [None, "not rolled"]
    assert {path.suffix for path in tmp_path.iterdir()} == {".jpg", ".json"}
    run = CliRunner().invoke(commands, ["check", str(tmp_path), "--outlined", "--each"])
    assert run.exit_code == 0, run.output
    assert "look_0007.jpg" in run.output
    assert "(of 1)" in run.output
