"""The path tracer: shapes with surfaces, lamps and a lens become linear light. Needs Mitsuba."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from pattern.synthetic.second.arrays import Array, unit
from pattern.synthetic.second.camera import Camera
from pattern.synthetic.second.light import Lamp, Light
from pattern.synthetic.second.solids import Shape
from pattern.synthetic.second.surfaces import Material

_LLVM = Path("/usr/lib/x86_64-linux-gnu/libLLVM-19.so")
PLAIN = Material(colour=(0.4, 0.4, 0.4), roughness=0.5, metal=0.0, bump_mm=0.0)
"""For scenes that are only probed, never seen."""


def usual_variant() -> str:
    """Mitsuba's variant for this machine: on an NVIDIA GPU where there is one."""
    return "cuda_ad_rgb" if Path("/dev/nvidia0").exists() else "llvm_ad_rgb"


class Tracer:
    """Mitsuba in one of its variants that trace many rays at once (``cuda_ad_rgb``, ``llvm_ad_rgb``)."""

    def __init__(self, variant: str) -> None:
        if variant.startswith("llvm") and _LLVM.exists():
            os.environ.setdefault("DRJIT_LIBLLVM_PATH", str(_LLVM))
        import mitsuba

        mitsuba.set_variant(variant)
        self._mi: Any = mitsuba

    def gear_alone(self, ring: Shape) -> Loaded:
        """A scene of nothing but the gear, to look where its sides can be seen from."""
        mesh = self._mesh(ring, self._surface(PLAIN))
        return Loaded(self._mi, self._mi.load_dict({"type": "scene", "ring": mesh}))

    def scene(self, parts: Sequence[tuple[Shape, Material]], light: Light, up: Array) -> Loaded:
        """Everything that is in a photo. A material that several parts share is loaded once."""
        mi = self._mi
        content: dict[str, Any] = {
            "type": "scene",
            "integrator": {"type": "path", "max_depth": 6, "rr_depth": 4},
            "env": {
                "type": "envmap",
                "bitmap": mi.Bitmap(np.ascontiguousarray(light.surroundings, np.float32)),
                "to_world": mi.ScalarTransform4f(_upright(up).tolist()),
            },
            "flash": self._lamp(light.flash),
            "work": self._lamp(light.work),
        }
        surfaces: dict[int, Any] = {}
        for number, (shape, material) in enumerate(parts):
            if id(material) not in surfaces:
                surfaces[id(material)] = self._surface(material)
            content[f"part{number}"] = self._mesh(shape, surfaces[id(material)])
        return Loaded(mi, mi.load_dict(content))

    def _lamp(self, lamp: Lamp) -> dict[str, Any]:
        transform = self._mi.ScalarTransform4f
        place = transform().look_at(
            origin=[float(v) for v in lamp.origin],
            target=[float(v) for v in lamp.target],
            up=[0.131, 0.41, 0.9],
        )
        radiance = {"type": "rgb", "value": [float(v) for v in lamp.radiance]}
        return {
            "type": "rectangle",
            "to_world": place @ transform().scale(float(lamp.half_mm)),
            "emitter": {"type": "area", "radiance": radiance},
        }

    def _surface(self, material: Material) -> Any:
        """A two-sided surface with bumps."""
        wrap = "clamp" if material.clamped else "mirror"
        inner = {
            "type": "principled",
            "base_color": self._texture(np.clip(material.colour, 0, 1), 3, wrap),
            "roughness": self._texture(np.clip(material.roughness, 0.04, 1), 1, wrap),
            "metallic": self._texture(np.clip(material.metal, 0, 1), 1, wrap),
            "specular": 0.5,
        }
        bump = self._texture(material.bump_mm, 1, wrap)
        bumpy = {"type": "bumpmap", "arbitrary": bump, "bsdf": inner, "scale": 1.0}
        return self._mi.load_dict({"type": "twosided", "bsdf": bumpy})

    def _texture(self, values: Any, channels: int, wrap: str) -> dict[str, Any]:
        texels = np.asarray(values, np.float32)
        if texels.ndim < 2:
            texels = np.broadcast_to(texels, (2, 2, 3) if channels == 3 else (2, 2)).copy()
        if texels.ndim == 2:
            texels = texels[..., None]
        return {
            "type": "bitmap",
            "bitmap": self._mi.Bitmap(np.ascontiguousarray(texels)),
            "raw": True,
            "filter_type": "bilinear",
            "wrap_mode": wrap,
        }

    def _mesh(self, shape: Shape, surface: Any) -> Any:
        mi = self._mi
        points, normals, places, faces = shape.outward()
        properties = mi.Properties()
        properties["mesh_bsdf"] = surface
        mesh = mi.Mesh(
            "m",
            len(points),
            len(faces),
            has_vertex_normals=True,
            has_vertex_texcoords=True,
            props=properties,
        )
        fields = mi.traverse(mesh)
        fields["vertex_positions"] = mi.Float(points.astype(np.float32).ravel())
        fields["vertex_normals"] = mi.Float(normals.astype(np.float32).ravel())
        fields["vertex_texcoords"] = mi.Float(places.astype(np.float32).ravel())
        fields["faces"] = mi.UInt32(faces.astype(np.uint32).ravel())
        fields.update()
        return mesh


class Loaded:
    """A scene that can be probed and photographed."""

    def __init__(self, mi: Any, scene: Any) -> None:
        self._mi, self._scene = mi, scene

    def blocked(self, points: Array, directions: Array, reach_mm: Array) -> Array:
        """Which rays meet something; see `views.Blocked`."""
        mi = self._mi
        origin = mi.Point3f(*[mi.Float(points[:, i].astype(np.float32)) for i in range(3)])
        way = mi.Vector3f(*[mi.Float(directions[:, i].astype(np.float32)) for i in range(3)])
        ray = mi.Ray3f(origin, way)
        ray.maxt = mi.Float(reach_mm.astype(np.float32))
        return np.array(self._scene.ray_test(ray)).astype(bool)

    def photographed(
        self, camera: Camera, aperture_mm: float, focus_mm: float, samples: int, seed: int
    ) -> Array:
        """Linear light (height, width, 3), each value finite and not negative."""
        sensor = self._sensor(camera, aperture_mm, focus_mm)
        picture = self._mi.render(self._scene, sensor=sensor, spp=samples, seed=seed)
        light = np.array(picture).astype(np.float32)[..., :3]
        return np.clip(np.nan_to_num(light, nan=0, posinf=0), 0, 1e4)

    def _sensor(self, camera: Camera, aperture_mm: float, focus_mm: float) -> Any:
        half_width = np.arctan(camera.width_px / 2 / camera.focal_px)
        place = self._mi.ScalarTransform4f().look_at(
            origin=[float(v) for v in camera.origin],
            target=[float(v) for v in camera.origin + camera.forward * 100],
            up=[float(v) for v in camera.up],
        )
        return self._mi.load_dict(
            {
                "type": "thinlens",
                "fov": float(np.degrees(2 * half_width)),
                "fov_axis": "x",
                "aperture_radius": float(aperture_mm),
                "focus_distance": float(focus_mm),
                "near_clip": 1.0,
                "far_clip": 20000.0,
                "to_world": place,
                "film": {
                    "type": "hdrfilm",
                    "width": camera.width_px,
                    "height": camera.height_px,
                    "rfilter": {"type": "gaussian"},
                    "pixel_format": "rgb",
                    "component_format": "float32",
                },
                "sampler": {"type": "independent"},
            }
        )


def _upright(up: Array) -> Array:
    """Matrix (4, 4) that turns the surroundings' y to `up`."""
    across = unit(np.cross(up, [0.2, 0.5, 0.83]))
    matrix = np.eye(4)
    matrix[:3, 0], matrix[:3, 1], matrix[:3, 2] = across, up, np.cross(across, up)
    return matrix
