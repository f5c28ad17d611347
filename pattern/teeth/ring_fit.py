"""Fit the ring gear and the camera to the outlines of a photo, all teeth at once.

What four corners cannot say, how the long edges bow and how lengthwise position is foreshortened
along them, follows from the view: and the view follows from the corners of one or more teeth, given
what ring gears look like.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from pattern.records import Hand, Side
from pattern.teeth.ring_model import SPREAD, USUAL, RingShape, side_points
from pattern.teeth.surface import ToothSurface

Floats = NDArray[np.float64]
_PLACES = np.array([[0.0, 1.0], [1.0, 1.0], [1.0, 0.0], [0.0, 0.0]])
_FOCAL, _FOCAL_SPREAD = 0.85, 0.22
"""Focal length over the photo's long side: phones' main cameras have 0.70 to 0.95 (common practice,
no source); spread of its logarithm."""
_STEPS = np.linspace(0.0, 1.0, 33)
_LIMIT = 4.0


@dataclass(frozen=True, eq=False)
class RingView:
    """A fitted ring gear and camera. `misfit` is the root mean square of the corners' residuals in
    their own sds; `raise_deg` how far the camera stands above square to the middle tooth side."""

    shape: RingShape
    side: Side
    hand: Hand
    camera: Floats
    centre: Floats
    numbers: Floats
    misfit: float
    raise_deg: float

    def surface(self, index: int) -> ToothSurface:
        """The tooth side of an outline in photo pixels, both edges at equal lengthwise steps."""
        edges = []
        for profile in (1.0, 0.0):
            points = side_points(
                self.shape, self.side, self.hand, self.numbers[index], _STEPS, np.full(33, profile)
            )
            edges.append(_project(points, self.camera) + self.centre)
        return ToothSurface(tip=edges[0], root=edges[1])


def fit_ring(
    corners: Sequence[Floats],
    corner_sd_px: float,
    side: Side,
    hand: Hand,
    size_px: tuple[int, int],
) -> RingView | None:
    """The most likely ring gear and view for outlines (4, 2) px; None if no view explains them.

    A maximum a posteriori fit: corners with their sd, the ring gear's numbers and the focal length
    with the spreads they have in the trade. Starts from the poses that explain the usual ring gear.
    """
    outlines = np.array(corners, float)
    centre = np.array([(size_px[0] - 1) / 2.0, (size_px[1] - 1) / 2.0])
    numbers = _tooth_numbers(outlines, side, hand)
    target = outlines - centre
    focal = _FOCAL * max(size_px)

    def residuals(state: Floats) -> Floats:
        shape = RingShape.of(USUAL.values + SPREAD * state[:8])
        seen = _project(_corner_points(shape, side, hand, numbers), _camera(state[8:], focal))
        miss = (seen - target) / corner_sd_px
        prior = np.concatenate([state[:8], state[14:15] / _FOCAL_SPREAD])
        return np.concatenate([miss.ravel(), prior])

    best, best_cost = None, np.inf
    for pose in _start_poses(target, side, hand, numbers, focal):
        start = np.concatenate([np.zeros(8), pose, [0.0]])
        try:
            solved = least_squares(residuals, start, x_scale="jac", max_nfev=40, loss="linear")
        except (ValueError, np.linalg.LinAlgError):
            continue
        if solved.cost < best_cost and np.isfinite(solved.cost):
            best, best_cost = solved.x, solved.cost
    if best is None:
        return None
    shape = RingShape.of(USUAL.values + SPREAD * best[:8])
    camera = _camera(best[8:], focal)
    miss = residuals(best)[: target.size]
    misfit = float(np.sqrt((miss**2).mean()))
    if misfit > _LIMIT:
        return None
    raised = _raise_deg(shape, side, hand, camera, float(numbers.mean()))
    return RingView(shape, side, hand, camera, centre, numbers, misfit, raised)


def _corner_points(shape: RingShape, side: Side, hand: Hand, numbers: Floats) -> Floats:
    """(teeth, 4, 3)."""
    return side_points(
        shape, side, hand, numbers[:, None], _PLACES[None, :, 0], _PLACES[None, :, 1]
    )


def _camera(state: Floats, focal: float) -> Floats:
    """(3, 4) matrix from turn vector, place and logarithm of the focal length's factor."""
    turn, _ = cv2.Rodrigues(state[:3])
    scale = focal * float(np.exp(np.clip(state[6], -2.0, 2.0)))
    lens = np.diag([scale, scale, 1.0])
    return np.asarray(lens @ np.concatenate([turn, state[3:6, None]], axis=1))


def _project(points: Floats, camera: Floats) -> Floats:
    """Points (..., 3) to pixels (..., 2) off the photo's middle; far behind the camera stays finite."""
    seen = points @ camera[:, :3].T + camera[:, 3]
    depth = np.where(seen[..., 2:] > 0.05, seen[..., 2:], 0.05)
    return np.asarray(seen[..., :2] / depth)


def _start_poses(
    target: Floats, side: Side, hand: Hand, numbers: Floats, focal: float
) -> list[Floats]:
    """Turn and place (6,) of cameras that see the usual ring gear so."""
    model = _corner_points(USUAL, side, hand, numbers).reshape(-1, 3)
    lens = np.diag([focal, focal, 1.0])
    points = np.ascontiguousarray(target.reshape(-1, 2))
    poses = []
    for method in (cv2.SOLVEPNP_SQPNP, cv2.SOLVEPNP_IPPE, cv2.SOLVEPNP_EPNP):
        try:
            count, turns, places, _ = cv2.solvePnPGeneric(model, points, lens, None, flags=method)
        except cv2.error:
            continue
        for turn, place in zip(turns[:count], places[:count], strict=False):
            pose = np.concatenate([np.ravel(turn), np.ravel(place)])
            if np.isfinite(pose).all() and pose[5] > 0.1:
                poses.append(pose)
    return poses


def _tooth_numbers(outlines: Floats, side: Side, hand: Hand) -> Floats:
    """Place of each tooth in the row, counted along the way `side_points` counts.

    A side faces down in the picture when its tip is up. A drive side faces -phi, so there the teeth
    below have lower numbers; a coast side faces the other way, and a left-hand gear is mirrored
    together with its count.
    """
    down = (outlines[:, 2:] - outlines[:, :2]).mean(axis=(0, 1))
    along = outlines.mean(axis=1) @ down / max(float(np.linalg.norm(down)), 1e-9)
    order = np.argsort(along)
    gaps = np.diff(along[order])
    step = max(float(np.median(gaps)), 1e-6) if len(gaps) else 1.0
    numbers = np.empty(len(outlines))
    numbers[order] = np.concatenate([[0.0], np.cumsum(np.maximum(np.rint(gaps / step), 1.0))])
    return -numbers if side == "drive" else numbers


def _raise_deg(shape: RingShape, side: Side, hand: Hand, camera: Floats, number: float) -> float:
    """How far above square to a tooth side's middle, toward its tip, the camera stands."""
    at = np.array([[0.5, 0.5], [0.5, 0.6], [0.6, 0.5]])
    middle, higher, along = side_points(shape, side, hand, np.full(3, number), at[:, 0], at[:, 1])
    eye = -np.linalg.solve(camera[:, :3], camera[:, 3])
    up, ahead = higher - middle, along - middle
    normal = np.cross(ahead, up)
    look = eye - middle
    normal = normal if normal @ look > 0 else -normal
    up_part = look @ up / np.linalg.norm(up)
    out_part = look @ normal / np.linalg.norm(normal)
    return float(np.degrees(np.arctan2(up_part, out_part)))
