"""Tests of renderer and trainer want the `synthetic` extra, which a shop and CI do without."""

from __future__ import annotations

from importlib.util import find_spec

_WANTS = {
    "test_raster.py": ("numba",),
    "test_experience.py": ("torch",),
    "test_first_move.py": ("torch",),
    "test_flat.py": ("numba", "torch", "onnx"),
    "test_quick_train.py": ("torch",),
    "test_raster_feed.py": ("numba", "torch"),
    "test_raster_net.py": ("numba", "torch", "onnx"),
    "test_raster_photos.py": ("numba", "torch"),
    "test_restart.py": ("torch", "onnx", "numba"),
    "test_render.py": ("mitsuba",),
}

collect_ignore = [
    name for name, wants in _WANTS.items() if any(find_spec(package) is None for package in wants)
]


def pytest_report_header() -> str:
    left = f"not collected, want the synthetic extra: {', '.join(collect_ignore)}"
    return left if collect_ignore else "the synthetic extra is here: all its tests run"
