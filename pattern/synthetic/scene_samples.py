"""The sample photos: twelve jobs with a drive and a coast photo each, and photos to decline.

All invented. A job's two photos show the same set after the same moves.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from pattern.records import SIDES, Side, ToothSystem
from pattern.synthetic.camera_view import ViewWish
from pattern.synthetic.develop import Development
from pattern.synthetic.light import Light
from pattern.synthetic.marks import Mark
from pattern.synthetic.paint import Brush
from pattern.synthetic.ring_spec import RingSpec
from pattern.synthetic.scene import Moves, Scene, Setting
from pattern.synthetic.steel import Rgb

SIZE_PX = (1600, 1200)


@dataclass(frozen=True)
class Job:
    """A set on the bench and how it is photographed."""

    name: str
    spec: RingSpec
    moves: Moves
    colour: str
    finish: str
    light: Light
    setting: Setting = "bench"
    background: Rgb = (0.22, 0.19, 0.15)
    props: tuple[str, ...] = ()
    painted: int = 4
    tooth_px: float = 420.0
    fov_deg: float = 48.0
    roll_deg: tuple[float, float] = (-35.0, 35.0)
    thickness_um: float = 55.0
    look: Development = field(default_factory=Development)


def _spec(teeth: str, diameter: float, system: ToothSystem = "tapered", **more: object) -> RingSpec:
    ring, pinion = (int(v) for v in teeth.split("/"))
    usual: dict[str, object] = {"spiral_deg": 33.0 if system == "tapered" else 31.0}
    return RingSpec(ring, pinion, diameter, system, **(usual | more))  # type: ignore[arg-type]


WOOD, CLOTH, PAPER, STEEL, GREY = (
    (0.30, 0.19, 0.10), (0.03, 0.03, 0.035), (0.72, 0.71, 0.68), (0.30, 0.31, 0.32),
    (0.16, 0.17, 0.18),
)  # fmt: skip

JOBS = (
    Job("larch", _spec("41/11", 8.5), Moves(story="right as it stands"), "yellow", "machined",
        Light("tubes", 4800, 0.30, 0.4, 11), background=WOOD),
    Job("alder", _spec("39/11", 8.8), Moves(0.009, 0.0, story="pinion 0.009 in too deep"), "white",
        "phosphate", Light("flash", 5300, 0.12, 3.0, 12), "stand", GREY, ("pinion",)),
    Job("rowan", _spec("37/9", 7.5), Moves(-0.010, 0.0, story="pinion 0.010 in too shallow"),
        "orange-red", "machined", Light("window", 6200, 0.35, 0.0, 13), background=PAPER,
        roll_deg=(60.0, 120.0)),
    Job("hazel", _spec("43/12", 9.25), Moves(0.0, 0.012, story="ring gear 0.012 in too far out"),
        "blue", "machined", Light("tubes", 4200, 0.25, 1.0, 14), "stand", (0.25, 0.24, 0.22),
        ("finger",)),
    Job("maple", _spec("41/10", 9.5, hand="left"), Moves(0.006, -0.003, story="high pinion set, deep and tight"),
        "green", "oily", Light("side_lamp", 3400, 0.2, 3.0, 15), background=STEEL, tooth_px=470),
    Job("aspen", _spec("41/12", 8.0, "uniform", blade_groups=13),
        Moves(0.010, 0.0, story="uniform depth, 0.010 in too deep"), "yellow", "phosphate",
        Light("tubes", 5200, 0.3, 0.8, 16), background=CLOTH, painted=5),
    Job("cedar", _spec("43/14", 10.5), Moves(0.0, -0.008, story="ring gear 0.008 in too close"),
        "grey-white", "oily", Light("flash", 5000, 0.2, 2.2, 17), "housing", (0.06, 0.09, 0.16)),
    Job("birch", _spec("39/9", 9.75, "uniform", blade_groups=11), Moves(story="uniform depth, right as it stands"),
        "yellow", "machined", Light("tubes", 4000, 0.35, 0.3, 18), "stand", (0.10, 0.12, 0.10),
        roll_deg=(150.0, 210.0)),
    Job("linden", _spec("41/11", 8.6, spiral_deg=36.0), Moves(-0.006, 0.004, story="shallow and loose"),
        "orange-red", "phosphate", Light("window", 5600, 0.3, 1.2, 19), background=(0.45, 0.42, 0.36), painted=3,
        props=("rag",)),
    Job("elm", _spec("37/12", 8.25), Moves(0.014, 0.002, story="far too deep"), "yellow", "oily",
        Light("side_lamp", 3000, 0.15, 3.5, 20), "stand", (0.05, 0.05, 0.05), roll_deg=(-110.0, -70.0)),
    Job("willow", _spec("41/13", 7.75, hand="left"), Moves(-0.010, -0.004, story="high pinion set, shallow and close"),
        "blue", "oily", Light("flash", 5600, 0.25, 2.5, 21), "housing", (0.03, 0.03, 0.03)),
    Job("juniper", _spec("43/11", 9.0, spiral_deg=35.0), Moves(0.002, 0.001, story="close to right"),
        "green", "machined", Light("tubes", 5000, 0.4, 0.5, 22), background=PAPER, tooth_px=380,
        painted=5),
)  # fmt: skip

WIPED: dict[Side, Mark] = {"drive": Mark(), "coast": Mark(wiped=0.9)}

BIG = "linden"
"""The job whose two photos are 12 megapixels, as a phone's main camera gives them."""


def sample_scenes() -> list[Scene]:
    """All samples: the jobs' pairs, then the photos to decline."""
    scenes = []
    for number, job in enumerate(JOBS):
        for side in SIDES:
            scenes.append(_photo(job, side, 1000 + 10 * number + SIDES.index(side)))
    return scenes + _bad_scenes()


def _photo(job: Job, side: Side, seed: int) -> Scene:
    rng = np.random.default_rng(seed)
    size = (4000, 3000) if job.name == BIG else SIZE_PX
    scale = size[0] / SIZE_PX[0]
    return Scene(
        name=f"{job.name}_{side}",
        seed=seed,
        side=side,
        spec=job.spec,
        marks=WIPED,
        computed=job.moves,
        brush=Brush(
            job.colour,
            job.thickness_um,
            streak=0.36,
            across=bool(rng.integers(2)),
            hiding_um=15.0,
            wet=rng.uniform(0.2, 0.7),
        ),
        finish=job.finish,
        light=replace(job.light, seed=job.light.seed + 100 * SIDES.index(side)),
        setting=job.setting,
        background=job.background,
        props=job.props,
        painted=job.painted,
        drift=(0.006, 0.008),
        wish=ViewWish(job.tooth_px * scale, job.fov_deg, (28.0, 58.0), (-26.0, 26.0), job.roll_deg),
        look=replace(job.look, quality=int(rng.integers(80, 92))),
        size_px=size,
        close=job.name == BIG,
        pair=job.name,
    )


def _bad_scenes() -> list[Scene]:
    """Photos that must be declined, each a good photo with one thing wrong."""
    spec = _spec("41/11", 8.5)
    good = Scene(
        name="", seed=0, side="drive", spec=spec, marks=WIPED, computed=Moves(),
        light=Light("tubes", 4800, 0.3, 0.4, 31), background=WOOD, size_px=SIZE_PX,
        wish=ViewWish(420.0, 48.0, (28.0, 58.0), (-26.0, 26.0)),
    )  # fmt: skip
    plain = {"brush": Brush("white"), "finish": "oily", "background": GREY}
    return [
        replace(good, name="bad_blurred", seed=2001, fault="blurred",
                look=Development(motion_px=46.0, motion_deg=35.0)),
        replace(good, name="bad_out_of_focus", seed=2002, fault="blurred", side="coast",
                brush=Brush("blue"), look=Development(defocus_px=20.0)),
        replace(good, name="bad_blown_out", seed=2003, fault="blown_out", brush=Brush("white"),
                light=Light("flash", 5300, 0.3, 4.0, 32), look=Development(ev=4.2)),
        replace(good, name="bad_dark", seed=2004, fault="dark", side="coast", setting="stand",
                look=Development(ev=-5.6, grain=0.03)),
        replace(good, name="bad_no_compound", seed=2005, fault="no_compound", painted=0, marks={},
                smear=0.0, finish="oily"),
        replace(good, name="bad_no_compound_dark_steel", seed=2006, fault="no_compound", painted=0,
                marks={}, smear=0.0, finish="phosphate", side="coast", setting="stand",
                background=GREY),
        replace(good, name="bad_not_rolled", seed=2007, fault="not_rolled", rolled=False),
        replace(good, name="bad_not_rolled_white", seed=2008, fault="not_rolled", rolled=False,
                side="coast", **plain),  # type: ignore[arg-type]
        replace(good, name="bad_heel_cut_off", seed=2009, fault="cut_off", painted=1, smear=0.1,
                wish=ViewWish(2300.0, 48.0, (35.0, 55.0), (-15.0, 15.0), (-20.0, 20.0), nearest_mm=60.0,
                              shift_lengthwise=-0.55)),
        replace(good, name="bad_hand_over", seed=2010, fault="hidden", props=("finger_over",), painted=1),
        replace(good, name="bad_rag_over", seed=2011, fault="hidden", side="coast", props=("rag_over",),
                brush=Brush("green"), painted=2),
        replace(good, name="bad_too_far", seed=2012, fault="too_far",
                wish=ViewWish(34.0, 60.0, (28.0, 58.0), (-26.0, 26.0))),
    ]  # fmt: skip
