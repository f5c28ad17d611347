"""Fit the ring gear and the camera to the outlines of a photo, all teeth at once.

What four corners cannot say, how the long edges bow and how lengthwise position is foreshortened
along them, follows from the view: and the view follows from the corners of one or more teeth, given
what ring gears look like.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from pattern.records import Hand, Side
from pattern.teeth.ring_model import SPREAD, USUAL, RingShape, side_places, side_points
from pattern.teeth.surface import ToothSurface

Floats = NDArray[np.float64]
CORNERS = np.array([[0.0, 1.0], [1.0, 1.0], [1.0, 0.0], [0.0, 0.0]])
"""Tooth coordinates of an outline's corners, in the usual order."""
EDGES = np.array([[along, up] for up in (1.0, 0.0) for along in (0.0, 0.25, 0.5, 0.75, 1.0)])
"""Tooth coordinates of five points on the tip edge, then on the root edge, from toe to heel."""
_FOCAL, _FOCAL_SPREAD = 0.85, 0.22
"""Focal length over the photo's long side: phones' main cameras have 0.70 to 0.95 (common practice,
no source); spread of its logarithm."""
_FOCAL_LIMIT = 2.0
_STEPS = np.linspace(0.0, 1.0, 33)
_LIMIT = 4.0
_MOST_TEETH = 20
"""Teeth from the first to the last in one photo; two outlines drawn almost over each other are no gap."""
_STEP = 1e-7
_NEAREST = 0.05
"""Distance from the camera, in mean cone distances, within which points are taken to be that far."""
_COLD_STEPS, _WARM_STEPS = 40, 10
_FINE, _ROUGH = 1e-5, 1e-3
"""Share of the cost that a step must gain for another to follow."""


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
    state: Floats

    def surface(self, index: int) -> ToothSurface:
        """The tooth side of an outline in photo pixels, both edges at equal lengthwise steps."""
        return self.tooth_surface(float(self.numbers[index]))

    def tooth_surface(self, tooth: float) -> ToothSurface:
        """The same for a tooth by its number."""
        return self.tooth_surfaces([tooth])[0]

    def tooth_surfaces(self, teeth: Sequence[float]) -> list[ToothSurface]:
        """The same for several teeth at once."""
        numbers = np.asarray(teeth, float)[:, None]
        tips, roots = (self.project(numbers, _STEPS[None], np.full((1, 33), p)) for p in (1.0, 0.0))
        return [ToothSurface(tip, root) for tip, root in zip(tips, roots, strict=True)]

    def project(self, tooth: float | Floats, lengthwise: Floats, profile: Floats) -> Floats:
        """Photo pixels (..., 2) of places on tooth sides."""
        points = side_points(self.shape, self.side, self.hand, tooth, lengthwise, profile)
        return _project(points, self.camera) + self.centre


@dataclass(frozen=True, eq=False)
class Sighting:
    """Points seen on tooth sides: `xy` (m, 2) px, the `tooth` (m,) each lies on, its `place` (m, 2)
    in tooth coordinates, and `whiten` (m, 2, 2), which makes a miss in pixels one of unit spread."""

    xy: Floats
    tooth: Floats
    place: Floats
    whiten: Floats

    @classmethod
    def of_points(
        cls, teeth: Floats, numbers: Floats, places: Floats, sd_px: float | Sequence[float]
    ) -> Sighting:
        """The same places (k, 2) on every tooth, `teeth` (n, k, 2) px, with one sd or one a tooth."""
        count, each = teeth.shape[:2]
        sds = np.repeat(np.broadcast_to(np.asarray(sd_px, float), (count,)), each)
        return cls(
            xy=teeth.reshape(-1, 2),
            tooth=np.repeat(numbers, each),
            place=np.tile(places, (count, 1)),
            whiten=np.eye(2) / sds[:, None, None],
        )


def joined(parts: Sequence[Sighting]) -> Sighting:
    """Several sightings as one."""
    return Sighting(
        xy=np.concatenate([p.xy for p in parts]),
        tooth=np.concatenate([p.tooth for p in parts]),
        place=np.concatenate([p.place for p in parts]),
        whiten=np.concatenate([p.whiten for p in parts]),
    )


def fit_ring(
    teeth: Sequence[Floats],
    sd_px: float | Sequence[float],
    side: Side,
    hand: Hand,
    size_px: tuple[int, int],
    places: Floats = CORNERS,
) -> RingView | None:
    """The most likely ring gear and view for teeth seen so; None if no view explains them.

    Each of `teeth` is (k, 2) px, the points of a tooth side at tooth coordinates `places` (k, 2),
    with their sd (one, or one a tooth).
    """
    seen_at = np.array(teeth, float)
    best: RingView | None = None
    for numbers in possible_numbers(seen_at, places, side):
        sighting = Sighting.of_points(seen_at, numbers, places, sd_px)
        view = solve_ring(sighting, side, hand, size_px)
        if view is not None and view.misfit < min(_LIMIT, best.misfit if best else np.inf):
            best = replace(view, numbers=numbers)
    return best


def solve_ring(
    sighting: Sighting,
    side: Side,
    hand: Hand,
    size_px: tuple[int, int],
    *,
    start: Floats | None = None,
    robust: bool = False,
    roughly: bool = False,
) -> RingView | None:
    """A maximum a posteriori fit of ring gear and camera; None if no start leads anywhere.

    The ring gear's numbers and the focal length have the spreads that they have in the trade. Starts
    from `start`, the state of an earlier view, or from the poses that explain the usual ring gear.
    `robust` lets points that lie far off count little (a loss that grows like their distance). `roughly`
    ends where a step gains a thousandth: enough for a view that is only the start of the next.
    """
    centre = np.array([(size_px[0] - 1) / 2.0, (size_px[1] - 1) / 2.0])
    target = sighting.xy - centre
    focal = _FOCAL * max(size_px)

    def places_of(numbers: Floats) -> tuple[Floats, Floats, Floats]:
        """Cylindrical coordinates of the sighting on ring gears (..., 8), given in their spreads."""
        values = (USUAL.values + SPREAD * numbers).T
        shape = RingShape.of(values if numbers.ndim == 1 else values[..., None])
        return side_places(
            shape, side, hand, sighting.tooth, sighting.place[:, 0], sighting.place[:, 1]
        )

    def residuals(state: Floats) -> Floats:
        """(2 m + 9,) of a state (15,): whitened misses, then the priors."""
        radius, phi, z = places_of(state[:8])
        points = np.stack([radius * np.cos(phi), radius * np.sin(phi), z], axis=-1)
        miss = _project(points, _camera(state[8:], focal)) - target
        flat = _whitened(sighting.whiten, miss).ravel()
        return np.concatenate([flat, state[:8], state[14:] / _FOCAL_SPREAD])

    def slopes(state: Floats) -> Floats:
        """(2 m + 9, 15): differences for the ring gear's numbers, the rest by the chain rule."""
        places = places_of(state[:8] + _STEP * np.eye(9, 8, -1))
        (radius, phi, z), (d_radius, d_phi, d_z) = zip(
            *((v[0], (v[1:] - v[0]) / _STEP) for v in places), strict=True
        )
        x, y = radius * np.cos(phi), radius * np.sin(phi)
        d_x, d_y = d_radius * (x / radius) - y * d_phi, d_radius * (y / radius) + x * d_phi
        points, by_number = np.stack([x, y, z], axis=-1), np.stack([d_x, d_y, d_z], axis=-1)
        moved = _moved_pixels(points, by_number, state[8:], focal)
        slope = np.zeros((2 * len(sighting.xy) + 9, 15))
        slope[:-9] = _whitened(sighting.whiten, moved).reshape(15, -1).T
        slope[np.arange(-9, -1), np.arange(8)] = 1.0
        slope[-1, 14] = 1.0 / _FOCAL_SPREAD
        return slope

    starts = [start] if start is not None else _starts(sighting, target, side, hand, focal)
    best, best_cost = None, np.inf
    for state in starts:
        steps = _COLD_STEPS if start is None else _WARM_STEPS
        solved, cost = _descend(
            residuals, slopes, state, steps, robust, _ROUGH if roughly else _FINE
        )
        if cost < best_cost:
            best, best_cost = solved, cost
    if best is None:
        return None
    shape = RingShape.of(USUAL.values + SPREAD * best[:8])
    camera = _camera(best[8:], focal)
    miss = residuals(best)[: target.size]
    size = np.median(np.abs(miss)) / 0.6745 if robust else np.sqrt((miss**2).mean())
    raised = _raise_deg(shape, side, hand, camera, float(np.median(sighting.tooth)))
    numbers = np.unique(sighting.tooth)
    return RingView(shape, side, hand, camera, centre, numbers, float(size), raised, best)


def _descend(
    residuals: Callable[[Floats], Floats],
    slopes: Callable[[Floats], Floats],
    state: Floats,
    steps: int,
    robust: bool,
    least_gain: float,
) -> tuple[Floats, float]:
    """Levenberg-Marquardt on the normal equations; the state reached and its cost.

    With `robust` each residual r costs sqrt(1 + r^2) - 1 (reweighted least squares).
    """

    def cost_of(missed: Floats) -> float:
        cost = np.sqrt(1.0 + missed**2) - 1.0 if robust else 0.5 * missed**2
        return float(cost.sum())

    missed = residuals(state)
    cost, damping = cost_of(missed), 1e-3
    slope = slopes(state)
    for _ in range(steps):
        if not np.isfinite(cost):
            return state, np.inf
        weight = 1.0 / np.sqrt(1.0 + missed**2) if robust else np.ones_like(missed)
        normal = slope.T @ (weight[:, None] * slope)
        damped = normal + damping * np.diag(np.diag(normal)) + 1e-12 * np.eye(len(state))
        moved = state - np.linalg.solve(damped, slope.T @ (weight * missed))
        ahead = residuals(moved)
        new_cost = cost_of(ahead)
        if not new_cost < cost:
            damping *= 8.0
            continue
        gained = cost - new_cost
        state, missed, cost = moved, ahead, new_cost
        damping = max(damping / 6.0, 1e-9)
        if gained < least_gain * max(cost, 1e-9):
            break
        slope = slopes(state)
    return state, cost


def _starts(
    sighting: Sighting, target: Floats, side: Side, hand: Hand, focal: float
) -> list[Floats]:
    """States of cameras that see the usual ring gear so."""
    model = side_points(
        USUAL, side, hand, sighting.tooth, sighting.place[:, 0], sighting.place[:, 1]
    )
    lens = np.diag([focal, focal, 1.0])
    points = np.ascontiguousarray(target)
    states = []
    for method in (cv2.SOLVEPNP_SQPNP, cv2.SOLVEPNP_IPPE, cv2.SOLVEPNP_EPNP):
        try:
            count, turns, spots, _ = cv2.solvePnPGeneric(model, points, lens, None, flags=method)
        except cv2.error:
            continue
        for turn, spot in zip(turns[:count], spots[:count], strict=False):
            pose = np.concatenate([np.ravel(turn), np.ravel(spot)])
            if not np.isfinite(pose).all():
                continue
            depth = model @ cv2.Rodrigues(pose[:3])[0][2] + pose[5]
            if depth.min() > _NEAREST:
                states.append(np.concatenate([np.zeros(8), pose, [0.0]]))
    return states


def _camera(state: Floats, focal: float) -> Floats:
    """(3, 4) matrix from turn vector, place and the logarithm of the focal length's factor, (7,)."""
    camera = np.concatenate([cv2.Rodrigues(state[:3])[0], state[3:6, None]], axis=1)
    camera[:2] *= _focal_px(state, focal)
    return np.asarray(camera)


def _focal_px(state: Floats, focal: float) -> float:
    return focal * math.exp(min(max(float(state[6]), -_FOCAL_LIMIT), _FOCAL_LIMIT))


def _project(points: Floats, camera: Floats) -> Floats:
    """Points (..., 3) to pixels (..., 2) off the photo's middle; far behind the camera stays finite."""
    turn = np.swapaxes(camera[..., :3], -1, -2)
    lead = points.ndim - camera.ndim
    place = camera[..., 3]
    for _ in range(lead):
        turn, place = turn[..., None, :, :], place[..., None, :]
    seen = points @ turn + place[..., None, :]
    depth = np.maximum(seen[..., 2:], _NEAREST)
    return np.asarray(seen[..., :2] / depth)


def _moved_pixels(points: Floats, by_number: Floats, state: Floats, focal: float) -> Floats:
    """(15, m, 2) pixels that each point moves per unit of a ring gear number or of the camera's `state`.

    `points` (m, 3) lie on the ring gear and move by `by_number` (8, m, 3) with its numbers.
    """
    turn, by_turn = cv2.Rodrigues(state[:3])
    scale = _focal_px(state, focal)
    lens = np.array([scale, scale, 1.0])
    seen = (points @ turn.T + state[3:6]) * lens
    moved = np.zeros((15, len(points), 3))
    moved[:8] = by_number @ (turn.T * lens)
    moved[8:11] = points @ (np.swapaxes(by_turn.reshape(3, 3, 3), 1, 2) * lens)
    moved[[11, 12, 13], :, [0, 1, 2]] = lens[:, None]
    if abs(state[6]) < _FOCAL_LIMIT:
        moved[14, :, :2] = seen[:, :2]
    depth = np.maximum(seen[:, 2], _NEAREST)
    moved[:, seen[:, 2] <= _NEAREST, 2] = 0.0
    pixels = seen[:, :2] / depth[:, None]
    return np.asarray((moved[..., :2] - pixels * moved[..., 2:]) / depth[:, None])


def _whitened(whiten: Floats, miss: Floats) -> Floats:
    """(m, 2, 2) matrices times (..., m, 2) vectors; written out, it takes a third of einsum's time."""
    x, y = miss[..., 0], miss[..., 1]
    return np.stack(
        [whiten[:, i, 0] * x + whiten[:, i, 1] * y for i in (0, 1)],
        axis=-1,
    )


def possible_numbers(seen_at: Floats, places: Floats, side: Side) -> list[Floats]:
    """Places of the teeth (n,) in the row, counted along the way `side_points` counts.

    Teeth may be left out, and perspective alone makes gaps differ: where the usual gap and the least
    one count differently there are two answers, and the fit decides. A side faces down in the picture
    when its tip is up. A drive side faces -phi, so there the teeth below have lower numbers; a coast side
    faces the other way. A left-hand gear is mirrored together with its count.
    """
    at_tip = places[:, 1] > 0.5
    down = seen_at[:, ~at_tip].mean(axis=(0, 1)) - seen_at[:, at_tip].mean(axis=(0, 1))
    along = seen_at.mean(axis=1) @ down / max(float(np.linalg.norm(down)), 1e-9)
    order = np.argsort(along)
    gaps = np.diff(along[order])
    counts = {
        tuple(np.maximum(np.rint(gaps / max(float(step), 1e-6)), 1.0))
        for step in ((np.median(gaps), gaps.min()) if len(gaps) else (1.0,))
    }
    answers = []
    for count in sorted(counts):
        numbers = np.empty(len(seen_at))
        numbers[order] = np.concatenate([[0.0], np.cumsum(count)])
        answers.append(-numbers if side == "drive" else numbers)
    return [numbers for numbers in answers if np.ptp(numbers) < _MOST_TEETH] or answers[:1]


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
