"""The view and the ring gear from corners alone, on the renderer's tooth form."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from pattern.records import Hand, Side
from pattern.synthetic.ring_spec import RingSpec
from pattern.synthetic.tooth_form import flank_points
from pattern.teeth.chirality import outline_runs_clockwise, runs_clockwise
from pattern.teeth.ring_fit import fit_ring
from pattern.teeth.ring_model import SPREAD, USUAL, RingShape, side_points
from tests.drawn import camera

SIZE = (1200, 900)


def _edges(
    spec: RingSpec, side: Side, teeth: tuple[int, ...], tilt: tuple[float, float], distance: float
) -> list[tuple[np.ndarray, np.ndarray]]:
    """Tip and root edge of each tooth in a photo of `SIZE`, from the tooth form and a pinhole."""
    turned, position, _ = camera(spec, side, tilt_deg=tilt, distance_mm=distance, roll_deg=25.0)
    share = np.linspace(0, 1, 33)
    edges = []
    for tooth in teeth:
        pair = []
        for profile in (1.0, 0.0):
            points = flank_points(spec, side, share, np.full(33, profile), tooth)
            local = (points - position) @ turned.T
            pair.append(950.0 * local[:, :2] / local[:, 2:] + [599.5, 449.5])
        edges.append((pair[0], pair[1]))
    return edges


@pytest.mark.parametrize(
    ("side", "hand"), [("drive", "right"), ("coast", "right"), ("drive", "left")]
)
@pytest.mark.parametrize("system", ["tapered", "uniform"])
@pytest.mark.parametrize("distance", [110.0, 220.0])
def test_edges_follow_from_the_corners_of_three_teeth(
    side: Side, hand: Hand, system: str, distance: float
) -> None:
    spec = RingSpec(hand=hand, tooth_system=system, ring_teeth=39)  # type: ignore[arg-type]
    edges = _edges(spec, side, (-1, 0, 1), (12.0, 35.0), distance)
    corners = [np.array([tip[0], tip[-1], root[-1], root[0]]) for tip, root in edges]
    view = fit_ring(corners, 1.0, side, hand, SIZE)
    assert view is not None
    for index, (tip, root) in enumerate(edges):
        surface = view.surface(index)
        depth = np.linalg.norm(tip[16] - root[16])
        length = np.linalg.norm(tip[0] - tip[-1])
        middle = 0.5 * (surface.tip[16] + surface.root[16]) - 0.5 * (tip[16] + root[16])
        along = (tip[-1] - tip[0]) / length
        assert abs(middle @ along) < 0.02 * length  # lengthwise, where straight edges err by 0.06
        assert np.linalg.norm(middle - (middle @ along) * along) < 0.12 * depth


@pytest.mark.parametrize("system", ["tapered", "uniform"])
def test_the_taper_is_told_from_perspective(system: str) -> None:
    spec = RingSpec(tooth_system=system)  # type: ignore[arg-type]
    edges = _edges(spec, "coast", (-2, -1, 0, 1), (-10.0, 30.0), 140.0)
    corners = [np.array([tip[0], tip[-1], root[-1], root[0]]) for tip, root in edges]
    view = fit_ring(corners, 1.0, "coast", "right", SIZE)
    assert view is not None
    assert (view.shape.taper > 0.75) == (system == "tapered")
    assert (view.shape.taper < 0.45) == (system == "uniform")


def test_the_camera_is_found_above_the_tooth() -> None:
    for raised in (20.0, 45.0):
        edges = _edges(RingSpec(), "drive", (-1, 0, 1), (0.0, raised), 180.0)
        corners = [np.array([tip[0], tip[-1], root[-1], root[0]]) for tip, root in edges]
        view = fit_ring(corners, 1.0, "drive", "right", SIZE)
        assert view is not None
        assert view.raise_deg == pytest.approx(raised, abs=7.0)


@pytest.mark.parametrize(
    "teeth", [(-2, -1, 1, 2), (-1, 0, 2), (-2, 0, 1), (-2, 0, 1, 3), (-2, -1, 2)]
)
def test_teeth_left_out_of_the_row_are_counted(teeth: tuple[int, ...]) -> None:
    edges = _edges(RingSpec(), "drive", teeth, (5.0, 35.0), 180.0)
    corners = [np.array([tip[0], tip[-1], root[-1], root[0]]) for tip, root in edges]
    view = fit_ring(corners, 1.0, "drive", "right", SIZE)
    assert view is not None
    assert sorted(view.numbers - view.numbers.min()) == [tooth - teeth[0] for tooth in teeth]


@pytest.mark.parametrize("tilt", [(0.0, 10.0), (-30.0, 20.0)])
def test_a_close_up_is_explained_though_the_gears_middle_lies_beside_or_behind_the_lens(
    tilt: tuple[float, float],
) -> None:
    edges = _edges(RingSpec(), "coast", (-1, 0, 1), tilt, 40.0)
    corners = [np.array([tip[0], tip[-1], root[-1], root[0]]) for tip, root in edges]
    view = fit_ring(corners, 1.0, "coast", "right", SIZE)
    assert view is not None
    assert view.camera[2, 3] < 0.0
    for index, (tip, _) in enumerate(edges):
        off = np.linalg.norm(view.surface(index).tip[16] - tip[16])
        assert off < 0.02 * np.linalg.norm(tip[0] - tip[-1])


def test_outlines_that_no_ring_gear_shows_are_not_explained() -> None:
    square = np.array([[500.0, 200], [300, 200], [300, 400], [500, 400]])
    scattered = [square, square + np.array([0, 40.0]), square + np.array([30.0, 300.0])]
    assert fit_ring(scattered, 1.0, "drive", "right", SIZE) is None


@pytest.mark.parametrize(
    ("side", "hand"), list(itertools.product(("drive", "coast"), ("right", "left")))
)
def test_the_simple_ring_has_the_tooth_forms_sense(side: Side, hand: Hand) -> None:
    at = np.array([[0.0, 1.0], [1.0, 1.0], [1.0, 0.0], [0.0, 0.0]])
    points = side_points(USUAL, side, hand, np.array(0.0), at[:, 0], at[:, 1])
    spec = RingSpec(hand=hand)
    turned, _, _ = camera(spec, side, tilt_deg=(0.0, 20.0), distance_mm=200.0, roll_deg=0.0)
    seen = points @ turned.T
    assert outline_runs_clockwise(seen[:, :2]) == runs_clockwise(side, hand)


@pytest.mark.parametrize("system", ["tapered", "uniform"])
def test_the_usual_ring_has_the_proportions_of_the_tooth_form(system: str) -> None:
    # the tooth form is checked with ISO 23509:2016 Annex F samples by its own tests
    spec = RingSpec(tooth_system=system)  # type: ignore[arg-type]
    values = USUAL.values.copy()
    values[3] = 1.1 if system == "tapered" else 0.2
    shape = RingShape.of(values)

    def measures(points: np.ndarray) -> tuple[float, float]:
        length = np.linalg.norm(points[1] - points[0])
        return np.linalg.norm(points[2] - points[3]) / length, np.linalg.norm(
            points[2] - points[4]
        ) / length

    at = np.array([[0, 0.5], [1, 0.5], [0.5, 1], [0.5, 0], [0.5, 0.5]])
    ours = measures(side_points(shape, "drive", "right", np.array(0.0), at[:, 0], at[:, 1]))
    form = measures(flank_points(spec, "drive", at[:, 0], at[:, 1]))
    assert ours == pytest.approx(form, rel=0.12)
    assert (SPREAD > 0).all()
