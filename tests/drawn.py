"""Simple drawn gear teeth with known truth: the renderer's tooth form, a pinhole camera, flat paint.

Nothing of the reader is used here: positions come from the 3-D tooth form and the camera alone. The
mark is put off the middle along both axes, so that any swap of toe and heel, root and tip, or drive
and coast moves it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from pattern.records import Hand, Photo, Side
from pattern.synthetic.ring_spec import RingSpec
from pattern.synthetic.tooth_form import flank_points

Floats = NDArray[np.float64]

YELLOW = (222, 190, 40)
WHITE = (226, 226, 220)
BLUE = (40, 70, 170)
GREEN = (60, 140, 70)
RED = (200, 70, 30)
GREY = (176, 176, 170)


@dataclass(frozen=True)
class Mark:
    """An ellipse in tooth coordinates: centre, half axes, turn (from lengthwise toward profile)."""

    lengthwise: float = 0.38
    profile: float = 0.60
    half_length: float = 0.22
    half_width: float = 0.20
    turn: float = 0.0

    def inside(self, lengthwise: Floats, profile: Floats) -> NDArray[np.bool_]:
        x, y = lengthwise - self.lengthwise, profile - self.profile
        c, s = np.cos(self.turn), np.sin(self.turn)
        u, v = c * x + s * y, -s * x + c * y
        return np.asarray((u / self.half_length) ** 2 + (v / self.half_width) ** 2 <= 1.0)


MARK = Mark()


@dataclass(frozen=True)
class DrawnTooth:
    """Truth of one painted tooth side: corners (4, 2) px in order, its edges, visible share."""

    corners: Floats
    tip_edge: Floats
    root_edge: Floats


@dataclass(frozen=True)
class Drawn:
    photo: Photo
    side: Side
    hand: Hand
    teeth: tuple[DrawnTooth, ...]
    lengthwise: float
    profile: float
    area: float
    lengthwise_map: NDArray[np.float32]
    profile_map: NDArray[np.float32]
    side_map: NDArray[np.bool_]
    other_map: NDArray[np.bool_]
    painted_map: NDArray[np.bool_]
    contact_map: NDArray[np.bool_]

    @property
    def outlines(self) -> list[list[list[float]]]:
        return [t.corners.tolist() for t in self.teeth]


def camera(
    spec: RingSpec,
    side: Side,
    *,
    tilt_deg: tuple[float, float],
    distance_mm: float,
    roll_deg: float,
) -> tuple[Floats, Floats, Floats]:
    """Rotation (3, 3) world to camera, position (3,), target (3,): looks at the middle of tooth 0."""
    at = flank_points(spec, side, np.array(0.5), np.array(0.5))
    along = flank_points(spec, side, np.array(0.6), np.array(0.5)) - at
    up = flank_points(spec, side, np.array(0.5), np.array(0.6)) - at
    inward = (
        flank_points(spec, "coast" if side == "drive" else "drive", np.array(0.5), np.array(0.5))
        - at
    )
    normal = np.cross(along, up)
    normal *= -np.sign(normal @ inward) / np.linalg.norm(normal)
    up = up / np.linalg.norm(up)
    sideways = np.cross(up, normal)
    a, b = np.radians(tilt_deg)
    look = normal + np.tan(a) * sideways + np.tan(b) * up
    look /= np.linalg.norm(look)
    position = at + distance_mm * look
    forward = -look
    right = np.cross(forward, up)
    right /= np.linalg.norm(right)
    down = np.cross(forward, right)
    r = np.radians(roll_deg)
    turned = np.stack(
        [np.cos(r) * right + np.sin(r) * down, -np.sin(r) * right + np.cos(r) * down, forward]
    )
    return turned, position, at


@lru_cache(maxsize=24)
def drawn_gear(
    side: Side = "drive",
    hand: Hand = "right",
    *,
    size: tuple[int, int] = (640, 480),
    tooth_px: float = 270.0,
    tilt_deg: tuple[float, float] = (8.0, 30.0),
    roll_deg: float = 0.0,
    colour: tuple[int, int, int] = YELLOW,
    steel: float = 105.0,
    mark: Mark | None = MARK,
    painted: bool = True,
    teeth: tuple[int, ...] = (-1, 0, 1),
    spec: RingSpec | None = None,
    seed: int = 1,
    noise: float = 3.0,
    blur_px: float = 0.7,
    gain: float = 1.0,
    background: float = 40.0,
) -> Drawn:
    """Draw the teeth around tooth 0 of a ring gear; `teeth` names the painted ones."""
    rng = np.random.default_rng(seed)
    spec = spec or RingSpec(hand=hand)
    width, height = size
    distance = 190.0
    turned, position, _ = camera(
        spec, side, tilt_deg=tilt_deg, distance_mm=distance, roll_deg=roll_deg
    )
    ends = flank_points(spec, side, np.array([0.0, 1.0]), np.array([0.5, 0.5]))
    focal = tooth_px * distance / np.linalg.norm(ends[1] - ends[0])

    def project(points: Floats) -> tuple[Floats, Floats]:
        local = (points - position) @ turned.T
        xy = focal * local[..., :2] / local[..., 2:] + [(width - 1) / 2, (height - 1) / 2]
        return xy, local[..., 2]

    other: Side = "coast" if side == "drive" else "drive"
    steps_l, steps_p = int(1.7 * tooth_px), int(0.45 * tooth_px)
    grid_l, grid_p = np.meshgrid(np.linspace(0, 1, steps_l), np.linspace(0, 1, steps_p))
    pieces: list[tuple[Floats, Floats, Floats, Floats, Floats, int]] = []
    for tooth in range(-2, 3):
        flank = flank_points(spec, side, grid_l, grid_p, tooth)
        back = flank_points(spec, other, grid_l, grid_p, tooth)
        top = flank[-1:] + np.linspace(0, 1, 60)[:, None, None] * (back[-1:] - flank[-1:])
        nearby = flank_points(
            spec, other, grid_l, grid_p * 0, tooth + (1 if side == "coast" else -1)
        )
        floor = flank[:1] + np.linspace(0, 1, 90)[:, None, None] * (nearby[:1] - flank[:1])
        for kind, surface in enumerate((flank, back, top, floor)):
            xy, depth = project(surface)
            light = _shade(surface)
            if kind < 2:
                colours = _colours(
                    rng, grid_l, grid_p, light, steel, colour, mark, painted and tooth in teeth
                )
            else:
                colours = np.repeat((steel * 0.8 * light)[..., None], 3, axis=2)
            here_l = grid_l if kind < 2 else np.broadcast_to(grid_l[:1], depth.shape)
            here_p = grid_p if kind < 2 else np.full(depth.shape, np.nan)
            label = (1 if kind == 0 else 2 if kind == 1 else 0) + (
                4 if tooth in teeth and painted else 0
            )
            pieces.append((xy, depth, colours, here_l, here_p, label))
    return _assemble(
        rng,
        pieces,
        spec,
        side,
        hand,
        size,
        project,
        teeth,
        mark,
        painted,
        noise,
        blur_px,
        gain,
        background,
    )


def photo_of(pixels: NDArray[np.uint8]) -> Photo:
    """A photo with these pixels (h, w, 3)."""
    return Photo("drawn", "0" * 64, np.ascontiguousarray(pixels))


def _shade(surface: Floats) -> Floats:
    across = np.gradient(surface, axis=1)
    up = np.gradient(surface, axis=0)
    normal = np.cross(across, up)
    normal /= np.linalg.norm(normal, axis=-1, keepdims=True) + 1e-12
    lamp = np.array([0.5, 0.3, -0.8])
    return 0.55 + 0.55 * np.abs(normal @ (lamp / np.linalg.norm(lamp)))


def _streaks(
    rng: np.random.Generator, shape: tuple[int, int], along: float, across: float
) -> Floats:
    field = cv2.GaussianBlur(rng.normal(size=shape), (0, 0), sigmaX=along, sigmaY=across)
    return np.asarray(field / field.std())


def _colours(
    rng: np.random.Generator, grid_l: Floats, grid_p: Floats, light: Floats, steel: float,
    colour: tuple[int, int, int], mark: Mark | None, painted: bool,
) -> Floats:  # fmt: skip
    lines = _streaks(rng, grid_l.shape, 20.0, 0.8)
    metal = np.clip(steel * light * (1 + 0.12 * lines), 0, 255)[..., None] * [1.0, 0.99, 0.96]
    if not painted:
        return metal
    bristles = _streaks(rng, grid_l.shape, 25.0, 2.0)
    cover = np.clip(0.93 + 0.10 * bristles, 0.35, 1.0)
    paint = light[..., None] * np.array(colour, float) * (0.92 + 0.08 * bristles[..., None])
    if mark is not None:
        inside = mark.inside(grid_l, grid_p)
        soft = cv2.GaussianBlur(inside.astype(float), (0, 0), 2.0)
        ridge = np.clip(cv2.GaussianBlur(inside.astype(float), (0, 0), 6.0) - soft, 0, 1)
        cover = cover * (1 - 0.92 * soft)
        paint = paint * (1 + 0.5 * ridge[..., None])
    return metal * (1 - cover[..., None]) + paint * cover[..., None]


def _assemble(
    rng: np.random.Generator, pieces: list[tuple[Floats, Floats, Floats, Floats, Floats, int]],
    spec: RingSpec, side: Side, hand: Hand, size: tuple[int, int],
    project: Callable[[Floats], tuple[Floats, Floats]],
    teeth: tuple[int, ...], mark: Mark | None, painted: bool, noise: float, blur_px: float,
    gain: float, background: float,
) -> Drawn:  # fmt: skip
    width, height = size
    image = np.full((height * width, 3), background)
    maps = np.full((height * width, 2), np.nan, np.float32)
    labels = np.zeros(height * width, np.int8)
    xy = np.concatenate([p[0].reshape(-1, 2) for p in pieces])
    depth = np.concatenate([p[1].ravel() for p in pieces])
    colours = np.concatenate([p[2].reshape(-1, 3) for p in pieces])
    at = np.stack(
        [np.concatenate([np.asarray(p[i]).ravel() for p in pieces]) for i in (3, 4)], axis=1
    )
    label = np.concatenate([np.full(p[1].size, p[5], np.int8) for p in pieces])
    pixel = np.rint(xy).astype(int)
    seen = (pixel >= 0).all(axis=1) & (pixel[:, 0] < width) & (pixel[:, 1] < height)
    order = np.flatnonzero(seen)[np.argsort(-depth[seen], kind="stable")]
    index = pixel[order, 1] * width + pixel[order, 0]
    image[index], maps[index], labels[index] = colours[order], at[order], label[order]
    picture = cv2.GaussianBlur(image.reshape(height, width, 3), (0, 0), max(blur_px, 0.01))
    picture = picture * gain + rng.normal(scale=noise, size=picture.shape)
    is_side, is_other = (labels & 3) == 1, (labels & 3) == 2
    is_painted = (labels & 4) > 0
    marked = mark.inside(maps[:, 0], maps[:, 1]) if mark else np.zeros(labels.shape, bool)
    fine_l, fine_p = np.meshgrid((np.arange(2000) + 0.5) / 2000, (np.arange(1000) + 0.5) / 1000)
    hit = mark.inside(fine_l, fine_p) if mark else np.zeros(fine_l.shape, bool)
    share = np.linspace(0.0, 1.0, 33)

    def edge(profile: float, tooth: int) -> Floats:
        points = flank_points(spec, side, share, np.full(33, profile), tooth)
        return project(points)[0]

    def shaped(values: NDArray[np.bool_]) -> NDArray[np.bool_]:
        return values.reshape(height, width)

    truths = []
    for tooth in teeth if painted else ():
        tip, root = edge(1.0, tooth), edge(0.0, tooth)
        corners = np.array([tip[0], tip[-1], root[-1], root[0]])
        truths.append(DrawnTooth(corners, tip, root))
    return Drawn(
        photo=Photo(f"drawn_{side}", "0" * 64, np.clip(picture, 0, 255).astype(np.uint8)),
        side=side,
        hand=hand,
        teeth=tuple(truths),
        lengthwise=float(fine_l[hit].mean()) if hit.any() else float("nan"),
        profile=float(fine_p[hit].mean()) if hit.any() else float("nan"),
        area=float(hit.mean()),
        lengthwise_map=maps[:, 0].reshape(height, width),
        profile_map=maps[:, 1].reshape(height, width),
        side_map=shaped(is_side),
        other_map=shaped(is_other),
        painted_map=shaped(is_painted),
        contact_map=shaped(is_side & is_painted & marked),
    )
