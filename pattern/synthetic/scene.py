"""One synthetic photo, described in full: everything that is drawn follows from it and its seed."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from pattern.records import Side
from pattern.synthetic.camera_view import ViewWish
from pattern.synthetic.develop import Development
from pattern.synthetic.light import Light
from pattern.synthetic.marks import Mark
from pattern.synthetic.paint import Brush
from pattern.synthetic.ring_spec import RingSpec
from pattern.synthetic.steel import Rgb

Setting = Literal["bench", "stand", "housing"]
"""Lying on a bench with its teeth up; standing in a carrier; seen through a cover opening."""

Fault = Literal[
    "blurred",
    "blown_out",
    "dark",
    "no_compound",
    "not_rolled",
    "cut_off",
    "hidden",
    "too_far",
    "glare",
]
"""Why a photo must be declined."""


@dataclass(frozen=True)
class Moves:
    """A pair's scenario: how far the set stands from right, inches; signs as in `pattern.records`.

    `crowning_mm` is the pair's relief at its ends lengthwise and at tip and root."""

    pinion_move_in: float = 0.0
    ring_move_in: float = 0.0
    story: str = ""
    crowning_mm: tuple[float, float] = (0.03, 0.02)


@dataclass(frozen=True)
class Scene:
    """A photo to draw.

    `marks` are the same for all painted teeth but for scatter, and `drift` (lengthwise, profile)
    once around the ring. `computed` takes the marks from contact analysis instead: of the pair after
    its moves, with `marks` giving only how bare they are wiped. `view_side` is what the photographer looks at: the declared side. `painted`
    teeth in a row are centred on the photographed one; `rolled` False leaves the compound whole.
    """

    name: str
    seed: int
    side: Side
    spec: RingSpec = field(default_factory=RingSpec)
    marks: dict[Side, Mark] = field(default_factory=dict)
    computed: Moves | None = None
    brush: Brush = field(default_factory=Brush)
    finish: str = "machined"
    case: Rgb = (0.16, 0.15, 0.14)
    light: Light = field(default_factory=Light)
    setting: Setting = "bench"
    background: Rgb = (0.2, 0.17, 0.14)
    props: tuple[str, ...] = ()
    painted: int = 4
    smear: float = 0.35
    rolled: bool = True
    drift: tuple[float, float] = (0.0, 0.0)
    wish: ViewWish = field(default_factory=ViewWish)
    aperture_mm: float = 0.9
    look: Development = field(default_factory=Development)
    size_px: tuple[int, int] = (1280, 960)
    close: bool = False
    fault: Fault | None = None
    pair: str = ""
