"""The ruled surface: to the photo, and against an independent homography on flat targets."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from pattern.records import ToothSide
from pattern.teeth.rectify import lay_flat
from pattern.teeth.surface import ToothSurface, bowed_edge, resampled
from tests.drawn import photo_of


def _flat_target(distance: float) -> tuple[np.ndarray, np.ndarray]:
    """A flat 45 x 8 mm rectangle seen askew by a pinhole at `distance` mm; (corners px, camera)."""
    turn, _ = cv2.Rodrigues(np.array([0.5, -0.45, 0.3]))
    lens = np.array([[900.0, 0, 400], [0, 900, 300], [0, 0, 1]])
    rectangle = np.array([[-22.5, -4, 0], [22.5, -4, 0], [22.5, 4, 0], [-22.5, 4, 0]], float)
    seen = (rectangle @ turn.T + [0, 0, distance]) @ lens.T
    return seen[:, :2] / seen[:, 2:], lens


@pytest.mark.parametrize("distance", [90.0, 180.0])
def test_a_flat_target_is_laid_out_as_opencvs_homography_does(distance: float) -> None:
    # outside reference: cv2.getPerspectiveTransform (exact for a plane)
    corners, _ = _flat_target(distance)
    unit = np.array([[0, 1], [1, 1], [1, 0], [0, 0]], np.float32)
    exact = cv2.getPerspectiveTransform(unit, corners.astype(np.float32))
    share = np.linspace(0, 1, 33, dtype=np.float32)

    def edge(profile: float) -> np.ndarray:
        points = np.stack([share, np.full_like(share, profile)], axis=1)[None]
        return cv2.perspectiveTransform(points, exact)[0].astype(float)

    surface = ToothSurface(tip=edge(1.0), root=edge(0.0))
    grid_l, grid_p = np.meshgrid(np.linspace(0, 1, 21), np.linspace(0, 1, 9))
    places = np.stack([grid_l.ravel(), grid_p.ravel()], axis=1)
    pixels = cv2.perspectiveTransform(places[None].astype(np.float32), exact)[0]
    apart = surface.to_photo(places[:, 0], places[:, 1]) - pixels
    along = (surface.tip[-1] - surface.tip[0]) / surface.length_px
    up = surface.tip[16] - surface.root[16]
    off = np.linalg.solve(np.stack([along, up], axis=1), apart.T).T
    assert np.abs(off[:, 0]).max() < 0.002 * surface.length_px
    assert np.abs(off[:, 1]).max() < 0.012  # rulings are linear in profile; at 90 mm the worst


def test_pixels_of_a_flat_target_agree_with_opencvs_warp() -> None:
    # outside reference: cv2.warpPerspective of the same picture
    corners, _ = _flat_target(180.0)
    rng = np.random.default_rng(2)
    smooth = cv2.GaussianBlur(rng.integers(0, 255, (600, 800, 3)).astype(np.float32), (0, 0), 8)
    picture = ((smooth - smooth.min()) / np.ptp(smooth) * 255).astype(np.uint8)
    rows, columns = 40, 120
    cells = np.array(
        [[-0.5, -0.5], [columns - 0.5, -0.5], [columns - 0.5, rows - 0.5], [-0.5, rows - 0.5]],
        np.float32,
    )
    warp = cv2.getPerspectiveTransform(corners.astype(np.float32), cells)
    expected = cv2.warpPerspective(picture, warp, (columns, rows)).astype(float)
    exact = cv2.getPerspectiveTransform(
        np.array([[0, 1], [1, 1], [1, 0], [0, 0]], np.float32), corners.astype(np.float32)
    )
    share = np.linspace(0, 1, 33, dtype=np.float32)
    edges = [
        cv2.perspectiveTransform(np.stack([share, np.full_like(share, p)], 1)[None], exact)[0]
        for p in (1.0, 0.0)
    ]
    surface = ToothSurface(tip=edges[0].astype(float), root=edges[1].astype(float))
    centres = (np.arange(columns) + 0.5) / columns
    flat = lay_flat(photo_of(picture), surface, centres, 1.0 - (np.arange(rows) + 0.5) / rows)
    assert np.abs(flat.rgb - expected).mean() < 3.0


def _bowed() -> ToothSurface:
    a, b, c, d = np.array([[300.0, 80], [60, 120], [55, 190], [310, 130]])
    return ToothSurface(
        bowed_edge(a, b, np.array([4.0, 25.0])), bowed_edge(d, c, np.array([3.0, 22.0]))
    )


def test_corners_come_in_the_projects_order() -> None:
    surface = _bowed()
    toe_tip, heel_tip, heel_root, toe_root = surface.corners
    assert np.allclose(toe_tip, surface.to_photo(np.array(0.0), np.array(1.0)))
    assert np.allclose(heel_tip, surface.to_photo(np.array(1.0), np.array(1.0)))
    assert np.allclose(heel_root, surface.to_photo(np.array(1.0), np.array(0.0)))
    assert np.allclose(toe_root, surface.to_photo(np.array(0.0), np.array(0.0)))


def test_the_laid_out_tooth_has_its_tip_on_top_and_its_toe_on_the_left() -> None:
    surface = _bowed()
    picture = np.zeros((300, 400, 3), np.uint8)
    place = surface.to_photo(np.array([0.2]), np.array([0.8]))[0]
    cv2.circle(picture, tuple(np.rint(place).astype(int)), 3, (255, 255, 255), -1)
    flat = lay_flat(photo_of(picture), surface)
    light = flat.rgb[..., 0] / flat.rgb[..., 0].sum()
    assert light.sum(axis=0) @ flat.lengthwise == pytest.approx(0.2, abs=0.01)
    assert light.sum(axis=1) @ flat.profile == pytest.approx(0.8, abs=0.02)


def test_a_straight_edge_of_two_points_is_spaced_evenly() -> None:
    edge = resampled(np.array([[0.0, 0.0], [10.0, 20.0]]), 5)
    assert np.allclose(edge[:, 0], [0, 2.5, 5, 7.5, 10])


def test_edges_of_different_counts_make_one_surface() -> None:
    tooth = ToothSide(
        corners=np.zeros((4, 2)),
        tip_edge=np.array([[0.0, 0.0], [10.0, 0.0]]),
        root_edge=np.array([[0.0, 5.0], [5.0, 6.0], [10.0, 5.0]]),
        corner_sd_px=1.0,
        confidence=1.0,
    )
    middle = ToothSurface.of(tooth).to_photo(np.array(0.5), np.array(0.0))
    assert np.allclose(middle, [5.0, 6.0])
