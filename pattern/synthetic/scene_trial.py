"""The trial set on which reading is measured: families, finishes and lights of its own.

Nothing here is used by the samples or by training. Readable photos come in families that cycle with
the kinds of mark, so that every family meets every kind; the photos to decline follow.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pattern.records import SIDES, Side
from pattern.synthetic.camera_view import ViewWish
from pattern.synthetic.develop import Development
from pattern.synthetic.light import Light, LightKind
from pattern.synthetic.marks import Mark
from pattern.synthetic.paint import COLOURS, Brush
from pattern.synthetic.ring_spec import RingSpec
from pattern.synthetic.scene import Scene, Setting
from pattern.synthetic.steel import Rgb

READABLE = 168
BAD = 44


@dataclass(frozen=True)
class Family:
    """A way of taking photos. Ranges are (low, high)."""

    name: str
    setting: Setting
    backgrounds: tuple[Rgb, ...]
    lights: tuple[LightKind, ...]
    finishes: tuple[str, ...]
    tooth_px: tuple[float, float]
    fov_deg: tuple[float, float]
    props: tuple[tuple[str, ...], ...] = ((),)
    close: bool = False
    off_centre: tuple[float, float] = (0.3, 0.25)


BLACK, BRIGHT, CARD, OIL_PAN, FLOOR, MAT = (
    (0.004, 0.004, 0.004), (0.88, 0.88, 0.86), (0.40, 0.30, 0.19), (0.06, 0.05, 0.045),
    (0.33, 0.33, 0.31), (0.03, 0.09, 0.06),
)  # fmt: skip

FAMILIES = (
    Family("black", "bench", (BLACK,), ("panel", "ring"), ("lapped", "bright"), (130, 420), (35, 65)),
    Family("bright", "bench", (BRIGHT,), ("overcast", "panel"), ("lapped", "shot"), (130, 420), (35, 65)),
    Family("floor", "bench", (FLOOR, CARD, MAT), ("overcast", "inspection"), ("used", "shot", "lapped"),
           (100, 380), (40, 70), ((), ("finger",), ("rag",))),
    Family("carrier", "stand", (OIL_PAN, FLOOR), ("inspection", "panel"), ("used", "blued"), (100, 420),
           (35, 68), (("pinion",), ("pinion_near",), ())),
    Family("cover", "housing", ((0.05, 0.05, 0.055), (0.20, 0.03, 0.02), (0.30, 0.30, 0.29)),
           ("ring", "inspection"), ("used", "lapped", "blued"), (110, 360), (45, 70),
           (("pinion",), ("pinion_near",))),
    Family("close", "bench", (BLACK, CARD, BRIGHT), ("ring", "panel"), ("lapped", "bright", "shot"),
           (700, 1000), (40, 60), close=True, off_centre=(0.04, 0.1)),
    Family("close_cut", "stand", (OIL_PAN, MAT), ("ring", "overcast"), ("used", "lapped"), (1180, 1330),
           (40, 60), close=True, off_centre=(0.01, 0.08)),
)  # fmt: skip

TEETH = (
    "41/11",
    "39/11",
    "37/9",
    "43/12",
    "41/10",
    "41/12",
    "43/14",
    "40/11",
    "38/13",
    "45/11",
    "44/13",
)


def trial_scenes() -> list[Scene]:
    """All scenes of the trial set, readable ones first."""
    good = [_readable(k) for k in range(READABLE)]
    return good + [_bad(k) for k in range(BAD)]


def _spec(rng: np.random.Generator) -> RingSpec:
    ring, pinion = (int(v) for v in rng.choice(TEETH).split("/"))
    uniform = bool(rng.random() < 0.35)
    return RingSpec(
        ring_teeth=ring,
        pinion_teeth=pinion,
        ring_diameter_in=float(rng.uniform(7.5, 10.5)),
        tooth_system="uniform" if uniform else "tapered",
        hand="left" if rng.random() < 0.25 else "right",
        spiral_deg=float(rng.uniform(29, 35) if uniform else rng.uniform(30, 38)),
        pressure_drive_deg=float(rng.uniform(17, 22)),
        pressure_coast_deg=float(rng.uniform(20, 24)),
        face_share=float(rng.uniform(0.150, 0.175)),
        cutter_ratio=float(rng.uniform(0.62, 0.78) if uniform else rng.uniform(0.82, 1.12)),
        blade_groups=int(rng.choice([11, 13, 16])),
        addendum_factor=float(rng.uniform(0.2, 0.3)),
        thickness_share=float(rng.uniform(0.35, 0.42)),
        dedendum_angle_deg=float(rng.uniform(3.2, 5.2)),
    )


def _mark(kind: int, rng: np.random.Generator) -> Mark:
    """Kinds: 0 to 3 anywhere, 4 two bands, 5 diagonal, 6 cut by an end, 7 cut by tip or root, 8 faint."""
    free = Mark(
        lengthwise=float(rng.uniform(0.27, 0.73)),
        profile=float(rng.uniform(0.3, 0.7)),
        length=float(rng.uniform(0.28, 0.62)),
        width=float(rng.uniform(0.35, 0.7)),
        tilt_deg=float(rng.normal(0, 5)),
        squareness=float(rng.uniform(1.9, 3.2)),
        wiped=float(rng.uniform(0.86, 0.98)),
        taper=float(rng.normal(0, 0.15)),
    )
    if kind == 4:
        return replace(free, kind="two_band", profile=0.5, width=0.85, length=0.5, tilt_deg=0.0,
                       gap=float(rng.uniform(0.42, 0.52)))  # fmt: skip
    if kind == 5:
        tilt = float(rng.choice([-1, 1]) * rng.uniform(13, 24))
        return replace(free, kind="diagonal", tilt_deg=tilt, width=0.32, length=0.62)
    if kind == 6:
        return replace(free, lengthwise=float(rng.choice([0.1, 0.9]) + rng.normal(0, 0.04)))
    if kind == 7:
        return replace(free, profile=float(rng.choice([0.12, 0.9]) + rng.normal(0, 0.04)))
    if kind == 8:
        return replace(free, kind="faint", wiped=float(rng.uniform(0.55, 0.72)))
    return free


def _light(kinds: tuple[LightKind, ...], rng: np.random.Generator) -> Light:
    kind = kinds[int(rng.integers(len(kinds)))]
    lamp = (
        float(rng.uniform(1.5, 3.5))
        if kind in ("ring", "inspection")
        else float(rng.uniform(0, 0.8))
    )
    return Light(kind, float(rng.uniform(2900, 7000)), float(rng.uniform(0.12, 0.5)), lamp,
                 int(rng.integers(1_000_000)))  # fmt: skip


def _look(rng: np.random.Generator) -> Development:
    return Development(
        ev=float(rng.normal(0.0, 0.35)),
        cast=(float(rng.uniform(0.92, 1.1)), 1.0, float(rng.uniform(0.9, 1.12))),
        contrast=float(rng.uniform(0.9, 1.18)),
        saturation=float(rng.uniform(0.9, 1.25)),
        vignette=float(rng.uniform(0.05, 0.4)),
        bloom=float(rng.uniform(0.02, 0.1)),
        grain=float(rng.uniform(0.004, 0.018)),
        sharpen=float(rng.uniform(0.2, 1.1)),
        quality=int(rng.integers(70, 92)),
    )


def _brush(rng: np.random.Generator) -> Brush:
    names = list(COLOURS)
    return Brush(
        colour=str(names[int(rng.integers(len(names)))]),
        thickness_um=float(rng.uniform(38, 90)),
        streak=float(rng.uniform(0.2, 0.48)),
        across=bool(rng.random() < 0.6),
        start=float(rng.uniform(-0.1, 0.03)),
        end=float(rng.uniform(0.97, 1.1)),
        root_pool=float(rng.uniform(0.5, 1.6)),
        land=float(rng.uniform(0.0, 0.8)),
        hiding_um=float(rng.uniform(9, 19)),
        wet=float(rng.uniform(0.1, 0.9)),
        tint=(
            float(rng.uniform(0.8, 1.15)),
            float(rng.uniform(0.8, 1.15)),
            float(rng.uniform(0.7, 1.3)),
        ),
    )


def _scene(name: str, seed: int, side: Side, family: Family, kind: int) -> Scene:
    rng = np.random.default_rng(seed)
    other: Side = "coast" if side == "drive" else "drive"
    marks: dict[Side, Mark] = {side: _mark(kind, rng), other: _mark(int(rng.integers(4)), rng)}
    upright = rng.random() < 0.55
    roll = float(rng.normal(0, 20)) if upright else float(rng.uniform(-180, 180))
    if family.close:
        # A close-up is framed along the tooth.
        roll = float(rng.normal(0, 7) + rng.choice([0, 0, 180]))
    return Scene(
        name=name,
        seed=seed,
        side=side,
        spec=_spec(rng),
        marks=marks,
        brush=_brush(rng),
        finish=family.finishes[int(rng.integers(len(family.finishes)))],
        case=tuple(float(v) for v in rng.uniform(0.05, 0.25) * rng.uniform(0.9, 1.1, 3)),  # type: ignore[arg-type]
        light=_light(family.lights, rng),
        setting=family.setting,
        background=family.backgrounds[int(rng.integers(len(family.backgrounds)))],
        props=family.props[int(rng.integers(len(family.props)))],
        painted=int(rng.integers(1, 4)) if family.close else int(rng.integers(2, 6)),
        smear=float(rng.uniform(0.0, 0.6)),
        drift=(float(rng.uniform(0, 0.012)), float(rng.uniform(0, 0.016))),
        wish=ViewWish(
            tooth_px=float(np.exp(rng.uniform(*np.log(family.tooth_px)))),
            fov_deg=float(rng.uniform(*family.fov_deg)),
            raise_deg=(18.0, 60.0),
            yaw_deg=(-15.0, 15.0) if family.close else (-35.0, 35.0),
            roll_deg=(roll, roll),
            visible=0.88,
            off_centre=family.off_centre,
        ),
        aperture_mm=float(rng.uniform(0.5, 1.3)),
        look=_look(rng),
        close=family.close,
        pair=family.name,
    )


def _readable(number: int) -> Scene:
    family = FAMILIES[number % len(FAMILIES)]
    kind = (number // len(FAMILIES) + number) % 9
    return _scene(
        f"t{number:03d}_{family.name}", 50_000 + 17 * number, SIDES[(number // 2) % 2], family, kind
    )


def _bad(number: int) -> Scene:
    """A photo to decline: a family's photo with one fault, the faults in turn."""
    family = FAMILIES[number % 5]
    scene = _scene("", 90_000 + 17 * number, SIDES[number % 2], family, number % 4)
    fault = ("blurred", "not_rolled", "no_compound", "blown_out", "dark", "glare", "hidden",
             "too_far", "cut_off", "not_rolled", "no_compound")[number % 11]  # fmt: skip
    rng = np.random.default_rng(95_000 + number)
    name = f"t{READABLE + number:03d}_bad_{fault}"
    scene = replace(scene, name=name, fault=fault, pair="bad")  # type: ignore[arg-type]
    if fault == "blurred":
        blur = {"motion_px": float(rng.uniform(26, 50)), "motion_deg": float(rng.uniform(0, 180))}
        if number % 2:
            blur = {"defocus_px": float(rng.uniform(11, 20))}
        return replace(scene, look=replace(scene.look, **blur))  # type: ignore[arg-type]
    if fault == "not_rolled":
        return replace(scene, rolled=False)
    if fault == "no_compound":
        return replace(scene, painted=0, marks={}, smear=0.0)
    if fault == "blown_out":
        return replace(scene, look=replace(scene.look, ev=float(rng.uniform(3.8, 4.6))))
    if fault == "dark":
        return replace(
            scene, look=replace(scene.look, ev=float(rng.uniform(-6.2, -5.2)), grain=0.03)
        )
    if fault == "glare":
        return replace(scene, look=replace(scene.look, ev=float(rng.uniform(2.2, 3.0))))
    if fault == "hidden":
        return replace(scene, props=(str(rng.choice(["finger_over", "rag_over"])),), painted=1)
    if fault == "too_far":
        far = replace(scene.wish, tooth_px=float(rng.uniform(22, 36)))
        return replace(scene, wish=far, setting="bench", props=())
    end = float(rng.choice([-1, 1]) * rng.uniform(0.5, 0.62))
    return replace(
        scene,
        painted=1,
        smear=0.1,
        close=True,
        wish=replace(
            scene.wish,
            tooth_px=1700.0,
            nearest_mm=60.0,
            shift_lengthwise=end,
            roll_deg=(-15.0, 15.0),
        ),
    )
