"""The light: tubes, windows, a lamp or the sky about the gear, the phone's flash, a work lamp."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from pattern.synthetic.second.arrays import Array, Rng, noise, unit
from pattern.synthetic.second.camera import Camera
from pattern.synthetic.second.plan import Order, Spot, Subject

KINDS = ("tubes", "window", "lamp", "dim", "sun", "shade")
_ODDS = [0.34, 0.2, 0.12, 0.14, 0.1, 0.1]
_OFF = 0.002
"""Power of a lamp that is switched off; it stays in the scene."""


@dataclass(frozen=True, eq=False)
class Lamp:
    """A square that shines at a point; `half_mm` is half its edge."""

    origin: Array
    target: Array
    half_mm: float
    radiance: Array


@dataclass(frozen=True, eq=False)
class Light:
    """All the light of one photo."""

    kind: str
    surroundings: Array
    """Radiance (256, 512, 3) all round; row 0 is up."""
    flash_on: bool
    work_on: bool
    flash: Lamp
    work: Lamp

    @property
    def white_balance(self) -> tuple[float, float, float]:
        """What the phone does to red, green and blue."""
        balances = {
            "sun": (1.0, 1.0, 1.0),
            "shade": (1.08, 1.0, 0.9),
            "window": (1.04, 1.0, 0.95),
            "lamp": (0.85, 1.0, 1.25),
        }
        return balances.get(self.kind, (1.0, 1.0, 1.0))


def drawn_light(rng: Rng, order: Order, subject: Subject, camera: Camera) -> Light:
    """Any light that suits the setting."""
    spot, housed = subject.spot(), subject.style == "housing"
    kind = str(rng.choice(KINDS, p=_ODDS))
    if housed and kind == "sun" and rng.random() < 0.4:
        kind = "shade"
    surroundings = radiance_all_round(rng, kind)
    flash_on = bool(kind == "dim" or rng.random() < (0.5 if housed else 0.22))
    work_on = bool(kind == "lamp" or rng.random() < (0.4 if housed else 0.2))
    if order.fault == "glare":
        flash_on, work_on = False, True
    ambient = float(surroundings.mean())
    return Light(
        kind=kind,
        surroundings=surroundings,
        flash_on=flash_on,
        work_on=work_on,
        flash=_flash(rng, camera, spot, flash_on, kind, ambient),
        work=_work_lamp(rng, order, subject, camera, spot, work_on, ambient),
    )


def _flash(
    rng: Rng, camera: Camera, spot: Spot, switched_on: bool, kind: str, ambient: float
) -> Lamp:
    """The phone's flash beside its lens."""
    distance = np.linalg.norm(camera.origin - spot.point)
    towards = unit(camera.origin - spot.point)
    origin = (
        camera.origin
        + camera.right * rng.uniform(-14, 14)
        + camera.up * rng.uniform(8, 16)
        + towards * 3
    )
    power = _OFF
    if switched_on:
        power = rng.uniform(0.6, 2.5) if kind != "dim" else rng.uniform(1.2, 4)
    colour = np.array([1, 0.95, 0.88])
    radiance = colour * power * 0.35 * (distance**2) / 36.0 * (ambient + 0.08)
    return Lamp(origin, spot.point, 3.0, radiance)


def _work_lamp(
    rng: Rng,
    order: Order,
    subject: Subject,
    camera: Camera,
    spot: Spot,
    switched_on: bool,
    ambient: float,
) -> Lamp:
    """A lamp somewhere on the camera's side; for glare, where the mark mirrors it."""
    glare = order.fault == "glare"
    towards = unit(camera.origin - spot.point)
    way = unit(towards + rng.normal(0, 0.7, 3) + 0.3 * subject.up)
    distance = rng.uniform(180, 520)
    if subject.style == "housing":
        way = unit(way + np.array([0.8, 0, 0]))
    if glare:
        way = unit(2 * np.dot(towards, spot.outward) * spot.outward - towards)
        distance = 220
    half = rng.uniform(12, 50)
    widest = max(half, 90 if glare else 0)
    for _ in range(30):
        origin = spot.point + way * distance
        if _out_of_picture(camera, origin, widest):
            break
        way = unit(way + 0.35 * towards + rng.normal(0, 0.12, 3))
        distance *= 1.06
    else:
        origin = camera.origin + camera.right * 80 - camera.forward * 40
        distance = float(np.linalg.norm(origin - spot.point))
    warm = np.array([1, 0.9, 0.75]) if rng.random() < 0.5 else np.array([0.9, 0.97, 1.1])
    power = rng.uniform(0.8, 3) if switched_on else _OFF
    if glare:
        return Lamp(origin, spot.point, 90, np.array([1, 0.96, 0.9]) * 150 * (ambient + 0.2))
    radiance = warm * power * distance**2 / half**2 * 0.45 * (ambient + 0.1)
    return Lamp(origin, spot.point, half, radiance)


def _out_of_picture(camera: Camera, point: Array, half_mm: float) -> bool:
    q = point - camera.origin
    depth = float(q @ camera.forward)
    beyond = max(
        abs(q @ camera.right) / (depth + 1e-6) * camera.focal_px - camera.width_px / 2,
        abs(q @ camera.up) / (depth + 1e-6) * camera.focal_px - camera.height_px / 2,
    )
    clear = beyond > 2.2 * half_mm / max(depth, 30) * camera.focal_px
    return bool(depth < -10 or (clear and depth > 0))


class _Sphere:
    """A picture of all directions (rows by elevation from the top, columns by azimuth)."""

    def __init__(self, rows: int = 256, columns: int = 512) -> None:
        self.elevation = (0.5 - (np.arange(rows) + 0.5) / rows)[:, None] * np.pi
        self.azimuth = ((np.arange(columns) + 0.5) / columns)[None] * 2 * np.pi
        self.picture = np.zeros((rows, columns, 3), np.float32)

    def patch(self, west: float, east: float, low: float, high: float, radiance: Array) -> None:
        """Fill a rectangle of azimuth and elevation."""
        across = (self.azimuth - west) % (2 * np.pi) < (east - west)
        inside = across & (self.elevation > low) & (self.elevation < high)
        self.picture[np.broadcast_to(inside, self.picture.shape[:2])] = radiance


def radiance_all_round(rng: Rng, kind: str) -> Array:
    """Radiance (256, 512, 3) of a workshop, or of a yard under the sky; row 0 is up."""
    sphere = _Sphere()
    uneven = noise(rng, *sphere.picture.shape[:2], 10, 6, 4)
    tints = ([1, 0.86, 0.66], [0.93, 1, 0.95], [0.85, 0.95, 1.1])
    tint = np.array(tints[int(rng.choice([0, 1, 2]))])
    if kind in ("sun", "shade"):
        _sky(rng, sphere, uneven, kind == "sun")
        return sphere.picture
    _room(rng, sphere, uneven, tint)
    if kind == "tubes":
        for _ in range(rng.integers(2, 6)):
            west, low = rng.uniform(0, 6.28), rng.uniform(0.45, 1.3)
            east, high = west + rng.uniform(0.3, 1.3), low + rng.uniform(0.03, 0.07)
            sphere.patch(west, east, low, high, tint * rng.uniform(8, 30))
    elif kind == "window":
        _window(rng, sphere)
    elif kind == "lamp":
        west, low = rng.uniform(0, 6.28), rng.uniform(0.2, 1.2)
        bulb = np.array([1, 0.78, 0.5]) * rng.uniform(40, 120)
        sphere.patch(west, west + 0.22, low, low + 0.16, bulb)
    elif kind == "dim":
        sphere.picture *= 0.5
    return np.asarray(cv2.GaussianBlur(sphere.picture, (0, 0), 1.1))


def _sky(rng: Rng, sphere: _Sphere, uneven: Array, sunny: bool) -> None:
    elevation, azimuth = sphere.elevation, sphere.azimuth
    height = np.clip(elevation / 1.57, 0, 1)[..., None]
    blue = np.array([0.45, 0.65, 1.0]) * 1.1
    sky = blue * (1.25 - 0.6 * height) * (1 + 0.15 * uneven[..., None])
    ground = np.array([0.22, 0.2, 0.17]) * (1 + 0.3 * uneven[..., None])
    sphere.picture[:] = np.where(elevation[..., None] > 0, sky, ground)
    for _ in range(rng.integers(1, 4)):
        west = rng.uniform(0, 6.28)
        east, high = west + rng.uniform(0.3, 1.6), rng.uniform(0.1, 0.9)
        sphere.patch(west, east, -0.2, high, rng.uniform(0.05, 0.45, 3))
    if sunny:
        up, around = rng.uniform(0.5, 1.25), rng.uniform(0, 6.28)
        across = ((azimuth - around + np.pi) % (2 * np.pi) - np.pi) * np.cos(up)
        apart = ((elevation - up) ** 2 + across**2)[..., None]
        disc = np.exp(-apart / 0.0006) * 3500 + np.exp(-apart / 0.02) * 3
        sphere.picture += disc * np.array([1, 0.92, 0.8])


def _room(rng: Rng, sphere: _Sphere, uneven: Array, tint: Array) -> None:
    """Walls, ceiling and floor with shelves, doors and people before them."""
    wall = rng.uniform(0.05, 0.35) * tint * (1 + rng.uniform(-0.1, 0.1, 3))
    ceiling, floor = rng.uniform(0.4, 1.4), rng.uniform(0.2, 0.8)
    level = np.where(sphere.elevation > 0.7, ceiling, np.where(sphere.elevation < -0.35, floor, 1))
    sphere.picture[:] = wall * level[..., None] * (1 + 0.25 * uneven[..., None])
    for _ in range(rng.integers(5, 16)):
        west, low = rng.uniform(0, 6.28), rng.uniform(-0.7, 0.3)
        east, high = west + rng.uniform(0.08, 0.7), low + rng.uniform(0.1, 0.8)
        shade = wall * rng.uniform(0.1, 1.8) * (1 + rng.uniform(-0.2, 0.2, 3))
        sphere.patch(west, east, low, high, shade)


def _window(rng: Rng, sphere: _Sphere) -> None:
    west, width, low = rng.uniform(0, 6.28), rng.uniform(0.5, 1.2), rng.uniform(-0.05, 0.3)
    panes = int(rng.integers(1, 4))
    daylight = np.array([0.85, 0.95, 1.1]) * rng.uniform(4, 12)
    for i in range(panes):
        begin, end = west + width * i / panes, west + width * (i + 0.88) / panes
        sphere.patch(begin, end, low, low + rng.uniform(0.5, 0.8), daylight)
