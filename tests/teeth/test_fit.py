"""Outlines from coordinate fields, on drawn teeth whose truth comes from the 3-D tooth form."""

from __future__ import annotations

import numpy as np
import pytest

from pattern.records import Hand, Side
from pattern.teeth.candidates import Candidate, candidates_of
from pattern.teeth.fit import Observed, fit_surface
from pattern.teeth.surface import ToothSurface, bowed_edge
from tests.drawn import Drawn, DrawnTooth, drawn_gear
from tests.drawn_fields import fields_of


def _twin(tooth: DrawnTooth, found: list[Candidate]) -> Candidate:
    return min(found, key=lambda c: float(np.abs(c.surface.corners - tooth.corners).mean()))


def _corner_errors(drawn: Drawn, found: list[Candidate]) -> np.ndarray:
    errors = []
    for tooth in drawn.teeth:
        twin = _twin(tooth, found)
        apart = np.linalg.norm(twin.surface.corners - tooth.corners, axis=1)
        errors.append(apart / twin.surface.length_px)
    return np.array(errors)


@pytest.mark.parametrize(("side", "hand"), [("drive", "right"), ("coast", "left")])
def test_every_painted_tooth_is_found_with_its_corners(side: Side, hand: Hand) -> None:
    drawn = drawn_gear(side, hand, roll_deg=37.0, tilt_deg=(8.0, 40.0))
    found = candidates_of(fields_of(drawn, noise=0.015), drawn.photo, side, hand)
    errors = _corner_errors(drawn, found)
    assert errors.shape == (3, 4)
    assert errors.max() < 0.05
    assert np.median(errors) < 0.015
    for tooth in drawn.teeth:
        assert _twin(tooth, found).confidence > 0.5
        assert _twin(tooth, found).painted > 0.9


def test_the_edges_follow_the_teeths_curve() -> None:
    drawn = drawn_gear("drive", "right", roll_deg=37.0)
    found = candidates_of(fields_of(drawn, noise=0.015), drawn.photo, "drive", "right")
    for tooth in drawn.teeth:
        surface = _twin(tooth, found).surface
        middle = surface.to_photo(np.array(0.5), np.array(1.0))
        off = np.linalg.norm(middle - tooth.tip_edge[16])
        assert off < 0.02 * surface.length_px
        straight = 0.5 * (tooth.tip_edge[0] + tooth.tip_edge[-1])
        assert np.linalg.norm(tooth.tip_edge[16] - straight) > 0.03 * surface.length_px


def test_unpainted_teeth_are_told_from_painted_ones() -> None:
    drawn = drawn_gear("drive", "right", teeth=(0,), roll_deg=37.0)
    found = candidates_of(fields_of(drawn, noise=0.015), drawn.photo, "drive", "right")
    assert sum(c.painted > 0.5 for c in found) == 1


def test_a_field_of_the_wrong_hand_earns_no_confidence() -> None:
    drawn = drawn_gear("drive", "right", roll_deg=37.0)
    found = candidates_of(fields_of(drawn, noise=0.015), drawn.photo, "drive", "left")
    assert max(c.confidence for c in found) == 0.0


def _observed(noise: float, cover: float = 0.0) -> tuple[Observed, ToothSurface]:
    """A bowed tooth seen on a grid; `cover` hides that share of it from the root up."""
    rng = np.random.default_rng(5)
    a, b, c, d = np.array([[260.0, 60], [40, 80], [44, 120], [262, 92]])
    truth = ToothSurface(
        bowed_edge(a, b, np.array([2.0, 14.0])), bowed_edge(d, c, np.array([2.0, 14.0]))
    )
    x, y = np.meshgrid(np.arange(20, 290, 2.0), np.arange(40, 150, 2.0))
    xy = np.stack([x.ravel(), y.ravel()], axis=1)
    place = truth.to_tooth(xy)
    inside = ((place > [0, cover]) & (place < 1)).all(axis=1)
    share = np.linspace(0, 1, 60)
    border = [truth.to_photo(share, np.full(60, p)) for p in (max(cover, 0.0), 1.0)]
    border += [truth.to_photo(np.full(20, end), np.linspace(cover, 1, 20)) for end in (0, 1)]
    seen = place[inside] + rng.normal(scale=noise, size=(inside.sum(), 2))
    return (
        Observed(xy[inside], seen, np.full_like(seen, max(noise, 0.01)), np.concatenate(border)),
        truth,
    )


def test_clean_observations_give_the_surface_back() -> None:
    observed, truth = _observed(noise=0.0)
    fitted = fit_surface(observed)
    assert fitted is not None
    assert np.abs(fitted.surface.corners - truth.corners).max() < 1.0
    assert fitted.on_border > 0.9


def test_a_neighbour_that_covers_the_root_does_not_pull_the_root_edge_up() -> None:
    observed, truth = _observed(noise=0.01, cover=0.35)
    fitted = fit_surface(observed)
    assert fitted is not None
    root_off = np.abs(fitted.surface.root - truth.root).max()
    assert root_off < 0.25 * truth.depth_px


def test_stray_cells_are_outvoted() -> None:
    observed, truth = _observed(noise=0.01)
    stray = observed.place.copy()
    stray[::7] = 0.9
    fitted = fit_surface(Observed(observed.xy, stray, observed.sd, observed.border))
    assert fitted is not None
    assert np.abs(fitted.surface.corners - truth.corners).max() < 4.0


def test_too_small_a_piece_of_a_tooth_is_not_fitted() -> None:
    observed, _ = _observed(noise=0.0)
    few = observed.place[:, 0] < 0.15
    piece = Observed(observed.xy[few], observed.place[few], observed.sd[few], observed.border[:0])
    assert fit_surface(piece) is None
