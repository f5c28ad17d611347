"""The form of a ring gear's teeth: lengthwise curve, tooth sides, section with fillets.

Frame (mm): origin at the pitch apex, z along the ring gear's axis from the teeth to the mounting
back, so teeth point toward -z and outward. Right-hand teeth turn toward +phi (about +z) from toe to
heel: seen from the teeth's side the outer half inclines clockwise, the definition of a right-hand
spiral in ANSI/AGMA 1012-G05 (from memory). The convex side, drive, then faces -phi. A left-hand
ring gear is the mirror image, y -> -y.

Section coordinate: once around a tooth's section from the middle of the root before the drive side
to the middle of the root after the coast side, 0 to 1, with the knots of `SECTION`. It and the
lengthwise coordinate are the texture coordinates of a tooth.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pattern.records import Side
from pattern.synthetic.ring_spec import Proportions, RingSpec, proportions

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Section:
    """Knots of the section coordinate: where root, fillet, tooth side, chamfer and top land begin."""

    drive_fillet: float = 0.06
    drive_root: float = 0.13
    drive_tip: float = 0.43
    top_start: float = 0.455
    top_end: float = 0.545
    coast_tip: float = 0.57
    coast_root: float = 0.87
    coast_fillet: float = 0.94

    def of_profile(self, side: Side, profile: Floats) -> Floats:
        """Section coordinate of a profile position on a tooth side."""
        if side == "drive":
            return self.drive_root + profile * (self.drive_tip - self.drive_root)
        return self.coast_root + profile * (self.coast_tip - self.coast_root)


SECTION = Section()


# --- lengthwise curve ------------------------------------------------------------------------------


def trace_angle_rad(spec: RingSpec, shape: Proportions, cone_mm: Floats) -> Floats:
    """Polar angle of the tooth's middle line in the unrolled pitch cone, 0 at the mean point.

    Face-milled: a circle of the cutter radius that meets the mean spiral angle. Face-hobbed: the
    extended epicycloid of a cutter with `blade_groups` rolling on the crown gear, its lead angle
    nu from sin nu = z0*mmn/(2*rc) and the cutter's own spiral beta - nu (ISO 23509:2016 clause 6,
    formulae for face hobbing; checked with Annex F samples 3 and 4 in the tests).
    """
    radius, mean = shape.cutter_radius_mm, shape.mean_cone_mm
    if not spec.is_uniform:
        start, roll = shape.spiral_rad, 0.0
    else:
        lead = np.arcsin(spec.blade_groups * shape.mean_module_mm / (2.0 * radius))
        start = shape.spiral_rad - lead
        crown_teeth = spec.ring_teeth / np.sin(shape.pitch_angle_rad)
        roll = spec.blade_groups / crown_teeth
    # The cutter's centre lies square to the blade's path, on the side the tooth bends to.
    centre = np.array([mean - radius * np.sin(start), radius * np.cos(start)])
    turn = np.linspace(-1.4, 1.4, 4001)
    blade = start - np.pi / 2.0 + turn
    x = centre[0] + radius * np.cos(blade)
    y = centre[1] + radius * np.sin(blade)
    distance = np.hypot(x, y)
    angle = np.unwrap(np.arctan2(y, x)) + roll * turn
    rising = np.flatnonzero(np.diff(distance) > 0)
    middle = len(turn) // 2
    gaps = np.flatnonzero(np.diff(rising) > 1)
    runs = np.split(rising, gaps + 1)
    run = next(r for r in runs if r[0] <= middle <= r[-1])
    angle = np.interp(cone_mm, distance[run], angle[run])
    return angle - np.interp(mean, distance[run], (np.unwrap(np.arctan2(y, x)) + roll * turn)[run])


def spiral_rad(spec: RingSpec, shape: Proportions, cone_mm: Floats) -> Floats:
    """Spiral angle along the tooth: tan(beta) = R * dtheta/dR."""
    step = 0.5
    slope = (
        trace_angle_rad(spec, shape, cone_mm + step) - trace_angle_rad(spec, shape, cone_mm - step)
    ) / (2.0 * step)
    return np.arctan(cone_mm * slope)


# --- tooth section -----------------------------------------------------------------------------------


def _half_thickness_mm(spec: RingSpec, shape: Proportions, cone_mm: Floats) -> Floats:
    """Half the normal tooth thickness on the pitch cone.

    Tapered: the slot's width at its root is the same from toe to heel (one spread-blade cut), so
    the tooth takes what is left of the pitch. Uniform: a fixed share of the normal pitch.
    """
    beta = spiral_rad(spec, shape, cone_mm)
    pitch = 2.0 * np.pi * cone_mm * np.sin(shape.pitch_angle_rad) * np.cos(beta) / spec.ring_teeth
    if spec.is_uniform:
        return 0.5 * spec.thickness_share * pitch
    tangents = np.tan(np.radians(spec.pressure_drive_deg)) + np.tan(
        np.radians(spec.pressure_coast_deg)
    )
    mean_pitch = np.pi * shape.mean_module_mm
    root_width = mean_pitch - shape.thickness_mm - shape.dedendum_mm * tangents
    dedendum = shape.dedendum_mm + (cone_mm - shape.mean_cone_mm) * np.tan(shape.dedendum_angle_rad)
    return 0.5 * (pitch - root_width - dedendum * tangents)


def place(
    spec: RingSpec, shape: Proportions, cone_mm: Floats, height_mm: Floats, across_mm: Floats
) -> Floats:
    """Points (..., 3) from cone distance, height over the pitch cone and normal offset (+ to coast)."""
    sine, cosine = np.sin(shape.pitch_angle_rad), np.cos(shape.pitch_angle_rad)
    radius = cone_mm * sine + height_mm * cosine
    z = cone_mm * cosine - height_mm * sine
    middle = trace_angle_rad(spec, shape, cone_mm) / sine
    phi = middle + across_mm / (np.cos(spiral_rad(spec, shape, cone_mm)) * radius)
    phi = phi if spec.hand == "right" else -phi
    return np.stack([radius * np.cos(phi), radius * np.sin(phi), z], axis=-1)


def _fillet_mm(spec: RingSpec, shape: Proportions, cone_mm: Floats) -> Floats:
    """Fillet radius, no larger than half the slot's root allows.

    A fillet of radius r between the root line and a side at pressure angle a takes
    r * (1/cos a - tan a) of the root's width.
    """
    beta = spiral_rad(spec, shape, cone_mm)
    radius = cone_mm * np.sin(shape.pitch_angle_rad)
    dedendum = shape.dedendum_mm + (cone_mm - shape.mean_cone_mm) * np.tan(shape.dedendum_angle_rad)
    shrink = 1.0 - dedendum * np.cos(shape.pitch_angle_rad) / radius
    pitch = shrink * 2.0 * np.pi * radius * np.cos(beta) / spec.ring_teeth
    half = _half_thickness_mm(spec, shape, cone_mm)
    angle = np.radians([spec.pressure_drive_deg, spec.pressure_coast_deg])
    root_half = 0.5 * pitch - half - dedendum * np.tan(angle.max())
    widest = root_half / (1.0 / np.cos(angle.min()) - np.tan(angle.min()))
    return np.clip(0.98 * widest, 0.02, shape.fillet_mm)


def flank_limits_mm(
    spec: RingSpec, shape: Proportions, side: Side, cone_mm: Floats
) -> tuple[Floats, Floats]:
    """Heights over the pitch cone where the working flank starts (fillet) and ends (chamfer)."""
    angle = np.radians(spec.pressure_drive_deg if side == "drive" else spec.pressure_coast_deg)
    offset = cone_mm - shape.mean_cone_mm
    dedendum = shape.dedendum_mm + offset * np.tan(shape.dedendum_angle_rad)
    addendum = shape.addendum_mm + offset * np.tan(shape.addendum_angle_rad)
    fillet = _fillet_mm(spec, shape, cone_mm)
    return -dedendum + fillet * (1.0 - np.sin(angle)), addendum - shape.chamfer_mm


def flank_points(
    spec: RingSpec, side: Side, lengthwise: Floats, profile: Floats, tooth: int = 0
) -> Floats:
    """Points (..., 3) mm of a tooth side at tooth coordinates; values outside 0 to 1 extrapolate."""
    shape = proportions(spec)
    cone = shape.inner_cone_mm + np.asarray(lengthwise, float) * shape.face_width_mm
    low, high = flank_limits_mm(spec, shape, side, cone)
    height = low + np.asarray(profile, float) * (high - low)
    points = place(spec, shape, cone, height, _side_offset_mm(spec, shape, side, cone, height))
    return turn_about_axis(points, tooth_angle_rad(spec, tooth))


def _side_offset_mm(
    spec: RingSpec, shape: Proportions, side: Side, cone_mm: Floats, height_mm: Floats
) -> Floats:
    angle = np.radians(spec.pressure_drive_deg if side == "drive" else spec.pressure_coast_deg)
    half = _half_thickness_mm(spec, shape, cone_mm) - height_mm * np.tan(angle)
    return -half if side == "drive" else half


def tooth_angle_rad(spec: RingSpec, tooth: int | Floats) -> Floats:
    """Rotation about +z that brings tooth 0 to the given tooth."""
    return np.asarray(2.0 * np.pi * np.asarray(tooth) / spec.ring_teeth)


def turn_about_axis(points: Floats, angle_rad: float | Floats) -> Floats:
    """Points (..., 3) turned about the ring gear's axis."""
    cosine, sine = np.cos(angle_rad), np.sin(angle_rad)
    x, y, z = np.moveaxis(points, -1, 0)
    return np.stack([cosine * x - sine * y, sine * x + cosine * y, z], axis=-1)


def section_rows(
    spec: RingSpec, shape: Proportions, cone_mm: Floats, profile_steps: int
) -> tuple[Floats, Floats, Floats, Floats]:
    """One tooth's section at each cone distance: heights and offsets (stations, rows), section
    coordinate (rows,), profile (rows,) with NaN off the tooth sides."""
    sides = [_half_section(spec, shape, "drive", cone_mm, profile_steps)]
    sides.append(_half_section(spec, shape, "coast", cone_mm, profile_steps))
    (h_d, a_d, s_d, p_d), (h_c, a_c, s_c, p_c) = sides
    height = np.concatenate([h_d, h_c[:, ::-1]], axis=1)
    across = np.concatenate([a_d, a_c[:, ::-1]], axis=1)
    section = np.concatenate([s_d, s_c[::-1]])
    profile = np.concatenate([p_d, p_c[::-1]])
    return height, across, section, profile


def _half_section(
    spec: RingSpec, shape: Proportions, side: Side, cone_mm: Floats, profile_steps: int
) -> tuple[Floats, Floats, Floats, Floats]:
    """From the middle of the root up to the middle of the top land, one side of a tooth."""
    sign = -1.0 if side == "drive" else 1.0
    angle = np.radians(spec.pressure_drive_deg if side == "drive" else spec.pressure_coast_deg)
    cone = cone_mm[:, None]
    low, high = flank_limits_mm(spec, shape, side, cone)
    fillet = _fillet_mm(spec, shape, cone)
    beta = spiral_rad(spec, shape, cone)
    pitch = 2.0 * np.pi * cone * np.sin(shape.pitch_angle_rad) * np.cos(beta) / spec.ring_teeth
    flank_profile = np.linspace(0.0, 1.0, profile_steps + 1)[None, :]
    flank_h = low + flank_profile * (high - low)
    flank_a = sign * _side_offset_mm(spec, shape, side, cone, flank_h)
    swing = np.linspace(np.pi / 2.0, angle, 5)[None, :-1]
    centre_a = flank_a[:, :1] + fillet * np.cos(angle)
    fillet_h = low + fillet * np.sin(angle) - fillet * np.sin(swing)
    fillet_a = centre_a - fillet * np.cos(swing)
    root_h = fillet_h[:, :1]
    # Radii differ between root and pitch cone, the angular pitch does not.
    sine, cosine = np.sin(shape.pitch_angle_rad), np.cos(shape.pitch_angle_rad)
    root_a = 0.5 * pitch * (cone * sine + root_h * cosine) / (cone * sine)
    chamfer = shape.chamfer_mm
    edge_h, edge_a = (
        high + chamfer,
        np.maximum(flank_a[:, -1:] - 0.8 * chamfer, 0.3 * flank_a[:, -1:]),
    )
    height = np.concatenate([root_h, fillet_h, flank_h, edge_h, edge_h], axis=1)
    across = np.concatenate([root_a, fillet_a, flank_a, edge_a, 0.0 * edge_a], axis=1)
    knots = [
        [0.0],
        np.linspace(SECTION.drive_fillet, SECTION.drive_root, 5)[:-1],
        SECTION.of_profile("drive", flank_profile[0]),
        [SECTION.top_start, 0.5],
    ]
    section = np.concatenate([np.asarray(k, float) for k in knots])
    profile = np.full(section.shape, np.nan)
    profile[5 : 5 + profile_steps + 1] = flank_profile[0]
    return height, sign * across, section if side == "drive" else 1.0 - section, profile
