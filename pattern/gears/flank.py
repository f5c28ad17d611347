"""The ring gear's tooth surfaces, as its cutter leaves them.

Frame of the ring gear (right-handed, mm)
    origin  where the line of shortest distance between the two shafts meets the ring gear's axis
    z       along the ring gear's axis, from the teeth toward the mounting back: teeth point to −z
            and outward
    x       through the middle of the tooth at mid-face (polar angle 0)
    y       so that a right-hand ring gear's tooth turns from x toward +y on its way to the heel; a
            left-hand ring gear is the mirror image in y
The convex side (drive) faces −y on a right-hand ring gear, the concave side (coast) +y.

Surface: a straight blade carried round by the cutter, the ring gear standing still (tapered, face
milled: a cone) or turning with it by blade groups over teeth (uniform, face hobbed: an extended
epicycloid). The cutter's axis is square to the root cone at mid-face. Both are cut without a
generating roll, which is how ring gears of these ratios are made (common practice, no source). The
mean point has the spiral and pressure angle of the blank exactly. Litvin & Fuentes, *Gear Geometry
and Applied Theory*, 2nd ed. (2004), ch. 21-22 for the method.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pattern.gears.blank import Blank
from pattern.gears.sweep import blade_sweep
from pattern.records import Side

Array = NDArray[np.float64]


def ring_flank(
    blank: Blank, side: Side, lengthwise: ArrayLike, profile: ArrayLike
) -> tuple[Array, Array]:
    """Points and outward unit normals of a tooth side of the tooth at polar angle 0.

    `lengthwise` and `profile` broadcast against each other; a little outside 0 to 1 is allowed, and
    profile down to `Blank.root_profile` (no fillet is drawn). Returns two arrays (..., 3) in mm and
    as unit vectors pointing out of the metal. Raises InvalidAxle where the cutter does not reach.
    """
    return flank_at_height(blank, side, lengthwise, blank.height_mm(lengthwise, profile))


def flank_at_height(
    blank: Blank, side: Side, lengthwise: ArrayLike, height_mm: ArrayLike
) -> tuple[Array, Array]:
    """Like `ring_flank`, with the height over the pitch cone instead of the profile position."""
    sweep = blade_sweep(blank, side)
    radius, axial = blank.section_mm(lengthwise, height_mm)
    points, normals = sweep.point_and_normal(*sweep.locate(radius, axial))
    return np.stack(points, axis=-1), np.stack(normals, axis=-1)


def tooth_thickness(blank: Blank, lengthwise: ArrayLike, profile: ArrayLike) -> Array:
    """Thickness of a ring gear tooth from side to side along the turning direction, mm (an arc).

    At profile 1 it is the top land, at `Blank.root_profile` the foot.
    """
    drive, _ = ring_flank(blank, "drive", lengthwise, profile)
    coast, _ = ring_flank(blank, "coast", lengthwise, profile)
    angle = np.arctan2(coast[..., 1], coast[..., 0]) - np.arctan2(drive[..., 1], drive[..., 0])
    return blank.sign * angle * np.hypot(drive[..., 0], drive[..., 1])
