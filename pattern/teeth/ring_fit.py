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
CORNERS = np.array([[0.0, 1.0], [1.0, 1.0], [1.0, 0.0], [0.0, 0.0]])
"""Tooth coordinates of an outline's corners, in the usual order."""
EDGES = np.array([[along, up] for up in (1.0, 0.0) for along in (0.0, 0.25, 0.5, 0.75, 1.0)])
"""Tooth coordinates of five points on the tip edge, then on the root edge, from toe to heel."""
_FOCAL, _FOCAL_SPREAD = 0.85, 0.22
"""Focal length over the photo's long side: phones' main cameras have 0.70 to 0.95 (common practice,
no source); spread of its logarithm."""
_STEPS = np.linspace(0.0, 1.0, 33)
_LIMIT = 4.0
_STEP = 1e-5


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
    teeth: Sequence[Floats],
    sd_px: float | Sequence[float],
    side: Side,
    hand: Hand,
    size_px: tuple[int, int],
    places: Floats = CORNERS,
) -> RingView | None:
    """The most likely ring gear and view for teeth seen so; None if no view explains them.

    Each of `teeth` is (k, 2) px, the points of a tooth side at tooth coordinates `places` (k, 2). A
    maximum a posteriori fit: points with their sd (one, or one a tooth), the ring gear's numbers and
    the focal length with the spreads they have in the trade. Starts from the poses that explain the
    usual ring gear.
    """
    seen_at = np.array(teeth, float)
    centre = np.array([(size_px[0] - 1) / 2.0, (size_px[1] - 1) / 2.0])
    numbers = _tooth_numbers(seen_at, places, side)
    target = seen_at - centre
    sds = np.broadcast_to(np.asarray(sd_px, float), (len(seen_at),))[:, None, None]
    focal = _FOCAL * max(size_px)

    def residuals(states: Floats) -> Floats:
        """(..., residuals) of states (..., 15)."""
        values = USUAL.values + SPREAD * states[..., :8]
        shape = RingShape.of(np.moveaxis(values, -1, 0)[..., None, None])
        seen = _project(
            _model_points(shape, side, hand, numbers, places), _camera(states[..., 8:], focal)
        )
        miss = (seen - target) / sds
        flat = miss.reshape(*states.shape[:-1], -1)
        prior = [states[..., :8], states[..., 14:15] / _FOCAL_SPREAD]
        return np.concatenate([flat, *prior], axis=-1)

    def slopes(state: Floats) -> Floats:
        """Central differences, all at once."""
        step = _STEP * np.eye(state.size)
        both = residuals(np.concatenate([state + step, state - step]))
        return np.asarray((both[: state.size] - both[state.size :]).T / (2.0 * _STEP))

    best, best_cost = None, np.inf
    for pose in _start_poses(target, side, hand, numbers, focal, places):
        start = np.concatenate([np.zeros(8), pose, [0.0]])
        try:
            solved = least_squares(residuals, start, jac=slopes, x_scale="jac", max_nfev=40)
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


def _model_points(
    shape: RingShape, side: Side, hand: Hand, numbers: Floats, places: Floats
) -> Floats:
    """(..., teeth, k, 3)."""
    return side_points(shape, side, hand, numbers[:, None], places[None, :, 0], places[None, :, 1])


def _camera(states: Floats, focal: float) -> Floats:
    """(..., 3, 4) matrices from turn vector, place and the logarithm of the focal length's factor."""
    turn = _turns(states[..., :3])
    scale = focal * np.exp(np.clip(states[..., 6], -2.0, 2.0))
    camera = np.concatenate([turn, states[..., 3:6, None]], axis=-1)
    camera[..., :2, :] *= scale[..., None, None]
    return np.asarray(camera)


def _turns(vectors: Floats) -> Floats:
    """Rotation matrices (..., 3, 3) of turn vectors (..., 3) (Rodrigues' formula)."""
    angle = np.maximum(np.linalg.norm(vectors, axis=-1, keepdims=True), 1e-12)
    x, y, z = np.moveaxis(vectors / angle, -1, 0)
    zero = np.zeros_like(x)
    cross = np.stack([zero, -z, y, z, zero, -x, -y, x, zero], axis=-1)
    cross = cross.reshape(*vectors.shape[:-1], 3, 3)
    sine, cosine = np.sin(angle)[..., None], np.cos(angle)[..., None]
    return np.asarray(np.eye(3) + sine * cross + (1.0 - cosine) * (cross @ cross))


def _project(points: Floats, camera: Floats) -> Floats:
    """Points (..., 3) to pixels (..., 2) off the photo's middle; far behind the camera stays finite."""
    turn = np.swapaxes(camera[..., :3], -1, -2)
    lead = points.ndim - camera.ndim
    place = camera[..., 3]
    for _ in range(lead):
        turn, place = turn[..., None, :, :], place[..., None, :]
    seen = points @ turn + place[..., None, :]
    depth = np.where(seen[..., 2:] > 0.05, seen[..., 2:], 0.05)
    return np.asarray(seen[..., :2] / depth)


def _start_poses(
    target: Floats, side: Side, hand: Hand, numbers: Floats, focal: float, places: Floats
) -> list[Floats]:
    """Turn and place (6,) of cameras that see the usual ring gear so."""
    model = _model_points(USUAL, side, hand, numbers, places).reshape(-1, 3)
    lens = np.diag([focal, focal, 1.0])
    points = np.ascontiguousarray(target.reshape(-1, 2))
    poses = []
    for method in (cv2.SOLVEPNP_SQPNP, cv2.SOLVEPNP_IPPE, cv2.SOLVEPNP_EPNP):
        try:
            count, turns, spots, _ = cv2.solvePnPGeneric(model, points, lens, None, flags=method)
        except cv2.error:
            continue
        for turn, spot in zip(turns[:count], spots[:count], strict=False):
            pose = np.concatenate([np.ravel(turn), np.ravel(spot)])
            if np.isfinite(pose).all() and pose[5] > 0.1:
                poses.append(pose)
    return poses


def _tooth_numbers(seen_at: Floats, places: Floats, side: Side) -> Floats:
    """Place of each tooth in the row, counted along the way `side_points` counts.

    A side faces down in the picture when its tip is up. A drive side faces -phi, so there the teeth
    below have lower numbers; a coast side faces the other way. A left-hand gear is mirrored together
    with its count.
    """
    at_tip = places[:, 1] > 0.5
    down = seen_at[:, ~at_tip].mean(axis=(0, 1)) - seen_at[:, at_tip].mean(axis=(0, 1))
    along = seen_at.mean(axis=1) @ down / max(float(np.linalg.norm(down)), 1e-9)
    order = np.argsort(along)
    gaps = np.diff(along[order])
    step = max(float(np.median(gaps)), 1e-6) if len(gaps) else 1.0
    numbers = np.empty(len(seen_at))
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
