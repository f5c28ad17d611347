"""The rasteriser, against OpenCV's projection and polygons and against plain geometry."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from pattern.synthetic.geometry import ring_gear_mesh
from pattern.synthetic.raster import Surface, draw, empty_buffers, joined, light_depth, lit, moved
from pattern.synthetic.raster_views import gear_surface
from pattern.synthetic.ring_spec import RingSpec
from pattern.synthetic.solids import Part
from pattern.synthetic.tooth_form import SECTION, flank_points

FOCAL_PX, CENTRE_PX = 210.0, (79.5, 59.5)
SIZE = (120, 160)  # rows, columns


def quad(corners: np.ndarray, thing: int = 1) -> Surface:
    """A flat four-cornered plate with texture coordinates 0 to 1."""
    triangles = np.array([[0, 1, 2], [0, 2, 3]], np.int32)
    texture = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32)[triangles]
    normal = np.cross(corners[1] - corners[0], corners[3] - corners[0])
    normal = (normal / np.linalg.norm(normal)).astype(np.float32)
    return Surface(
        corners.astype(np.float32),
        triangles,
        np.broadcast_to(normal, (2, 3, 3)).copy(),
        texture,
        np.full(2, 7, np.uint8),
        np.full(2, thing, np.uint8),
    )


TILTED = np.array([[-30.0, -20, 100], [35, -22, 140], [30, 25, 180], [-28, 20, 120]])


def projected(points: np.ndarray) -> np.ndarray:
    inner = np.array([[FOCAL_PX, 0, CENTRE_PX[0]], [0, FOCAL_PX, CENTRE_PX[1]], [0, 0, 1.0]])
    zero = np.zeros(3)
    found, _ = cv2.projectPoints(points.astype(np.float64), zero, zero, inner, None)
    return found[:, 0]


def flat_plate() -> np.ndarray:
    """A true plane (the tilted corners above are warped): z = 120 + 0.6 x + 0.2 y."""
    xy = np.array([[-30.0, -20], [35, -22], [30, 25], [-28, 20]])
    return np.column_stack([xy, 120 + 0.6 * xy[:, 0] + 0.2 * xy[:, 1]])


def test_a_plate_covers_the_pixels_that_opencv_fills():
    buffers = empty_buffers(*SIZE)
    draw(quad(flat_plate()), buffers, FOCAL_PX, CENTRE_PX)
    expected = np.zeros(SIZE, np.uint8)
    cv2.fillConvexPoly(expected, np.round(projected(flat_plate()) * 256).astype(int), 1, shift=8)
    differ = (buffers.part == 7) != (expected > 0)
    rim = cv2.dilate(expected, np.ones((3, 3))) - cv2.erode(expected, np.ones((3, 3)))
    assert not np.any(differ & (rim == 0))
    assert expected.sum() > 3000


def test_depth_is_that_of_the_plane_along_each_ray():
    buffers = empty_buffers(*SIZE)
    draw(quad(flat_plate()), buffers, FOCAL_PX, CENTRE_PX)
    rows, columns = np.nonzero(buffers.part == 7)
    x, y = (columns - CENTRE_PX[0]) / FOCAL_PX, (rows - CENTRE_PX[1]) / FOCAL_PX
    np.testing.assert_allclose(
        buffers.depth[rows, columns], 120 / (1 - 0.6 * x - 0.2 * y), rtol=2e-5
    )


def test_texture_follows_the_perspective_homography():
    # cv2.getPerspectiveTransform of the four projected corners is the outside reference; it holds
    # for a plane whose texture is a homography of it, hence a parallelogram.
    corners = np.array([[-30.0, -20, 102], [30, -20, 138], [30, 20, 158], [-30, 20, 122]])
    buffers = empty_buffers(*SIZE)
    draw(quad(corners), buffers, FOCAL_PX, CENTRE_PX)
    unit = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32)
    back = cv2.getPerspectiveTransform(projected(corners).astype(np.float32), unit)
    rows, columns = np.nonzero(buffers.part == 7)
    pixels = np.stack([columns, rows], -1)[None].astype(np.float64)
    expected = cv2.perspectiveTransform(pixels, back)[0]
    np.testing.assert_allclose(buffers.texture[rows, columns], expected, atol=2e-3)


def test_the_nearer_of_two_plates_is_seen_whatever_the_order():
    near = quad(flat_plate() * 0.7, thing=2)
    far = quad(flat_plate() + np.array([0, 0, 60.0]), thing=3)
    seen = []
    for pair in ([near, far], [far, near]):
        buffers = empty_buffers(*SIZE)
        draw(joined(pair), buffers, FOCAL_PX, CENTRE_PX)
        seen.append(buffers.thing.copy())
    np.testing.assert_array_equal(seen[0], seen[1])
    assert set(np.unique(seen[0])) == {2, 255}  # the near plate hides the far one whole


def test_culling_leaves_out_what_is_turned_away():
    plate = quad(flat_plate())
    turned = Surface(
        plate.vertices, plate.triangles[:, ::-1].copy(), plate.normals, plate.texture,
        plate.part, plate.thing,
    )  # fmt: skip
    counts = []
    for surface in (plate, turned):
        buffers = empty_buffers(*SIZE)
        draw(surface, buffers, FOCAL_PX, CENTRE_PX, cull=True)
        counts.append(int((buffers.part == 7).sum()))
    assert sorted(counts)[0] == 0 and sorted(counts)[1] > 3000


def test_a_plate_throws_its_shadow_where_the_light_says():
    floor = quad(np.array([[-60.0, -45, 150], [60, -45, 150], [60, 45, 150], [-60, 45, 150]]), 1)
    shade = quad(np.array([[-10.0, -10, 110], [10, -10, 110], [10, 10, 110], [-10, 10, 110]]), 2)
    both = joined([floor, shade])
    buffers = empty_buffers(*SIZE)
    draw(both, buffers, FOCAL_PX, CENTRE_PX)
    towards = np.array([0.6, 0.0, -0.8])  # 40 mm above the floor throws 30 mm to the left
    share = lit(buffers, light_depth(both, towards, 256), FOCAL_PX, CENTRE_PX, bias_mm=1.0)
    middle = (
        projected(np.array([[-30.0, 0, 150], [0.0, 30, 150], [30, 0, 150]])).round().astype(int)
    )
    values = [float(share[y, x]) for x, y in middle]
    assert values == [0.0, 1.0, 1.0]


@pytest.mark.parametrize("system", ["tapered", "uniform"])
def test_tooth_coordinates_of_a_pixel_lead_back_to_it(system):
    spec = RingSpec(tooth_system=system)
    surface = gear_surface(ring_gear_mesh(spec, np.random.default_rng(3), 24, 10))
    aim = flank_points(spec, "drive", np.array(0.5), np.array(0.5), 4)
    forward = np.array([0.25, 0.55, 0.8]) / np.linalg.norm([0.25, 0.55, 0.8])
    right = np.cross(forward, [0.9, -0.4, 0.1])
    right /= np.linalg.norm(right)
    rotation = np.stack([right, np.cross(forward, right), forward])
    shift = np.array([0.0, 0.0, 170.0]) - rotation @ aim
    buffers = empty_buffers(240, 320)
    centre, focal = (159.5, 119.5), 520.0
    draw(moved(surface, rotation, shift), buffers, focal, centre, cull=True)
    checked = 0
    for part, side, root, tip in (
        (Part.DRIVE, "drive", SECTION.drive_root, SECTION.drive_tip),
        (Part.COAST, "coast", SECTION.coast_root, SECTION.coast_tip),
    ):
        rows, columns = np.nonzero(buffers.part == part)
        for row, column in list(zip(rows, columns, strict=True))[:: max(1, len(rows) // 150)]:
            lengthwise, section = buffers.texture[row, column].astype(float)
            profile = (section - root) / (tip - root)
            tooth = int(buffers.thing[row, column])
            point = flank_points(spec, side, np.array(lengthwise), np.array(profile), tooth)
            camera = rotation @ point + shift
            seen = focal * camera[:2] / camera[2] + centre
            assert np.hypot(*(seen - (column, row))) < 0.6
            checked += 1
    assert checked > 150
