"""A scene for the path tracer: meshes, textures, lights and camera as Mitsuba plugins.

Every photo has the same plugins, so that compiled kernels are reused from photo to photo.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pattern.records import SIDES, Side
from pattern.synthetic.atlas import CLOSE, USUAL, Painted, ToothAtlas, build_atlas, tooth_soup
from pattern.synthetic.camera_view import Camera, choose_view, side_size_mm, tooth_frame
from pattern.synthetic.geometry import ring_gear_mesh
from pattern.synthetic.light import room, white_of
from pattern.synthetic.marks import Mark, jittered
from pattern.synthetic.noise import Field
from pattern.synthetic.paint import SideMark
from pattern.synthetic.pair_marks import pair_marks
from pattern.synthetic.prop_choice import chosen_props
from pattern.synthetic.props import Prop
from pattern.synthetic.scene import Scene
from pattern.synthetic.steel import FINISHES
from pattern.synthetic.tooth_form import Floats


@dataclass(frozen=True, eq=False)
class Drawing:
    """All arrays of one photo, ready for the renderer; made without it, so in any process."""

    scene: Scene
    camera: Camera
    atlas: ToothAtlas
    soup: tuple[Field, Field, Field]
    props: Prop
    sky: Field
    up: Floats
    lamp: tuple[Floats, Floats, float, Field]
    focus_mm: float


def draw(scene: Scene) -> Drawing:
    """Geometry, textures, view and props of a scene; only numpy and OpenCV."""
    rng = np.random.default_rng(scene.seed)
    steps = (64, 20) if scene.close else (32, 12)
    mesh = ring_gear_mesh(scene.spec, rng, *steps)
    middle = int(rng.integers(0, scene.spec.ring_teeth))
    camera = choose_view(scene.spec, scene.side, middle, scene.wish, scene.size_px, rng)
    painted = _painted(scene, middle, rng)
    sizes = {side: side_size_mm(scene.spec, side) for side in SIDES}
    finish = FINISHES[scene.finish]
    layout = CLOSE if scene.close else USUAL
    atlas = build_atlas(mesh, painted, finish, layout, sizes, rng)
    frame = tooth_frame(scene.spec, scene.side, middle)
    up = _upward(scene, frame.middle)
    return Drawing(
        scene=scene,
        camera=camera,
        atlas=atlas,
        soup=tooth_soup(mesh, atlas),
        props=chosen_props(scene, mesh, camera, frame, up, rng),
        sky=room(scene.light),
        up=up,
        lamp=_lamp(scene, camera, frame.middle, rng),
        focus_mm=float((frame.middle - camera.origin) @ camera.forward),
    )


def _upward(scene: Scene, middle: Floats) -> Floats:
    """The world's up in the ring gear's frame: lying flat, or standing with the photographed tooth
    in the upper half."""
    if scene.setting == "bench":
        return np.array([0.0, 0.0, -1.0])
    radial = np.array([middle[0], middle[1], 0.0])
    return np.asarray(radial / np.linalg.norm(radial))


def _painted(scene: Scene, middle: int, rng: np.random.Generator) -> Painted:
    """Marks of every painted tooth, with scatter and the drift of a case that runs out."""
    count = scene.spec.ring_teeth
    first = middle - (scene.painted - 1) // 2
    marks: dict[int, dict[Side, SideMark]] = {}
    levels = pair_marks(scene.spec, scene.computed).levels if scene.computed else {}
    for tooth in range(first, first + scene.painted):
        phase = 2 * np.pi * tooth / count
        drift = (scene.drift[0] * np.sin(phase), scene.drift[1] * np.sin(phase))
        marks[tooth % count] = {
            side: _mark_on_tooth(mark, levels.get(side), drift, rng)
            for side, mark in scene.marks.items()
            if scene.rolled
        }
    return Painted(scene.brush, marks, scene.smear)


def _mark_on_tooth(
    mark: Mark, level: Floats | None, drift: tuple[float, float], rng: np.random.Generator
) -> SideMark:
    if level is None:
        return SideMark(jittered(mark, rng, drift))
    scatter = 0.008 * rng.standard_normal(2)
    return SideMark(mark, level, (drift[0] + scatter[0], drift[1] + scatter[1]))


def _lamp(
    scene: Scene, camera: Camera, middle: Floats, rng: np.random.Generator
) -> tuple[Floats, Floats, float, Field]:
    """The local lamp's place, target, half size and radiance: a phone's flash or a hand lamp."""
    white = white_of(scene.light.kelvin)
    distance = float(np.linalg.norm(middle - camera.origin))
    if scene.light.kind in ("flash", "ring"):
        place = camera.origin + 9.0 * camera.right * rng.choice([-1, 1]) - 2.0 * camera.forward
        size = 2.2 if scene.light.kind == "flash" else 11.0
    else:
        sideways = rng.normal(0, 1, 2)
        sideways = sideways / np.linalg.norm(sideways) * rng.uniform(0.8, 1.8) * distance
        place = camera.origin + sideways[0] * camera.right + sideways[1] * camera.up
        size = float(rng.uniform(12.0, 40.0))
    reach = float(np.linalg.norm(middle - place))
    radiance = scene.light.lamp * np.pi * reach**2 / (2.0 * size) ** 2 * white
    return place, middle, size, np.asarray(np.maximum(radiance, 1e-6), np.float32)


# --- plugins -----------------------------------------------------------------------------------------


def load(mi: Any, drawing: Drawing, spp: int) -> Any:
    """The Mitsuba scene of a drawing, for the variant in use."""
    camera, lamp = drawing.camera, drawing.lamp
    to = mi.ScalarTransform4f
    target = camera.origin + camera.forward
    place, aim, size, radiance = lamp
    return mi.load_dict(
        {
            "type": "scene",
            "integrator": {"type": "path", "max_depth": 6, "rr_depth": 4},
            "sensor": {
                "type": "thinlens",
                "fov": camera.fov_deg,
                "fov_axis": "x",
                "aperture_radius": drawing.scene.aperture_mm,
                "focus_distance": drawing.focus_mm,
                "near_clip": 1.0,
                "far_clip": 5000.0,
                "to_world": to().look_at(
                    origin=_floats(camera.origin), target=_floats(target), up=_floats(camera.up)
                ),
                "film": {
                    "type": "hdrfilm",
                    "width": camera.width_px,
                    "height": camera.height_px,
                    "pixel_format": "rgb",
                    "component_format": "float32",
                    "rfilter": {"type": "gaussian", "stddev": 0.45},
                },
                "sampler": {"type": "independent", "sample_count": spp},
            },
            "sky": {
                "type": "envmap",
                "bitmap": mi.Bitmap(drawing.sky),
                "to_world": to().look_at(
                    origin=[0, 0, 0], target=_across(drawing.up), up=_floats(drawing.up)
                ),
            },
            "lamp": {
                "type": "rectangle",
                "to_world": to().look_at(
                    origin=_floats(place), target=_floats(aim), up=_across(aim - place)
                )
                @ to().scale([size, size, 1.0]),
                "emitter": {
                    "type": "area",
                    "radiance": {"type": "rgb", "value": [float(v) for v in radiance]},
                },
            },
            "teeth": _tooth_mesh(mi, drawing),
            "props": _prop_mesh(mi, drawing.props),
        }
    )


def _floats(vector: NDArray[Any]) -> list[float]:
    return [float(v) for v in vector]


def _across(vector: NDArray[Any]) -> list[float]:
    helper = np.eye(3)[int(np.argmin(np.abs(vector)))]
    return _floats(np.cross(vector, helper))


def _mesh(mi: Any, name: str, points: Field, normals: Field, bsdf: Any, uv: Field | None) -> Any:
    properties = mi.Properties()
    properties["bsdf"] = bsdf
    mesh = mi.Mesh(
        name,
        vertex_count=len(points),
        face_count=len(points) // 3,
        has_vertex_normals=True,
        has_vertex_texcoords=uv is not None,
        props=properties,
    )
    values = mi.traverse(mesh)
    values["vertex_positions"] = np.ascontiguousarray(points, np.float32).ravel()
    values["vertex_normals"] = np.ascontiguousarray(normals, np.float32).ravel()
    values["faces"] = np.arange(len(points), dtype=np.uint32)
    if uv is not None:
        values["vertex_texcoords"] = np.ascontiguousarray(uv, np.float32).ravel()
    values.update()
    return mesh


def _texture(mi: Any, image: Field) -> dict[str, Any]:
    data = image if image.ndim == 3 else image[..., None]
    return {
        "type": "bitmap",
        "data": mi.TensorXf(np.ascontiguousarray(data, np.float32)),
        "raw": True,
        "filter_type": "bilinear",
        "wrap_mode": "clamp",
    }


def _tooth_mesh(mi: Any, drawing: Drawing) -> Any:
    fields = drawing.atlas.fields
    surface = {
        "type": "principled",
        "base_color": _texture(mi, fields.colour),
        "roughness": _texture(mi, fields.roughness),
        "metallic": _texture(mi, fields.metal),
        "clearcoat": _texture(mi, fields.wet),
        "clearcoat_gloss": 0.75,
        "specular": 0.45,
    }
    bsdf = mi.load_dict(
        {
            "type": "twosided",
            "inner": {
                "type": "bumpmap",
                "arbitrary": _texture(mi, fields.height_mm),
                "scale": 1.0,
                "inner": surface,
            },
        }
    )
    points, normals, uv = drawing.soup
    return _mesh(mi, "teeth", points, normals, bsdf, uv)


def _prop_mesh(mi: Any, props: Prop) -> Any:
    surface = {
        "type": "principled",
        "base_color": {"type": "mesh_attribute", "name": "vertex_color"},
        "roughness": {"type": "mesh_attribute", "name": "vertex_rough"},
        "metallic": {"type": "mesh_attribute", "name": "vertex_metal"},
        "specular": 0.4,
    }
    bsdf = mi.load_dict({"type": "twosided", "inner": surface})
    points = props.points.reshape(-1, 3).astype(np.float32)
    normals = props.normals.reshape(-1, 3).astype(np.float32)
    mesh = _mesh(mi, "props", points, normals, bsdf, None)
    colour = np.clip(props.colour, 0.0, 0.95).astype(np.float32)
    mesh.add_attribute("vertex_color", 3, colour.ravel())
    mesh.add_attribute("vertex_rough", 1, np.clip(props.rough, 0.1, 1).astype(np.float32).ravel())
    mesh.add_attribute("vertex_metal", 1, props.metal.astype(np.float32).ravel())
    return mesh


def hides(mi: Any, loaded: Any, camera: Camera, points: Floats) -> NDArray[np.bool_]:
    """Which points the renderer's own rays do not reach from the lens, 0.25 mm allowed."""
    offset = points - camera.origin
    length = np.linalg.norm(offset, axis=1)
    direction = offset / length[:, None]
    if "scalar" in mi.variant():
        rows = [
            loaded.ray_intersect_preliminary(mi.Ray3f(_floats(camera.origin), _floats(d))).t
            for d in direction
        ]
        reached = np.asarray(rows, float)
    else:
        count = len(points)
        origin = np.repeat(camera.origin[None], count, 0).astype(np.float32)
        ray = mi.Ray3f(mi.Point3f(origin.T), mi.Vector3f(direction.T.astype(np.float32)))
        reached = np.array(loaded.ray_intersect_preliminary(ray).t, float)
    return np.asarray(reached < length - 0.25)
