"""Imports point one way; the contracts stand in pyproject.toml and design reasons beside them."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path


def test_the_import_layers_hold() -> None:
    lint = Path(sys.executable).with_name("lint-imports")
    run = subprocess.run(
        [lint, "--no-cache"], cwd=Path(__file__).parent.parent, capture_output=True, text=True
    )
    assert run.returncode == 0, run.stdout
