from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from pattern.archive.store import Archive


@pytest.fixture(scope="session")
def empty_archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A new archive, made once and copied: making one runs every migration."""
    folder = tmp_path_factory.mktemp("empty") / "shop"
    Archive.open(folder).close()
    return folder


@pytest.fixture
def archive(tmp_path: Path, empty_archive: Path) -> Iterator[Archive]:
    with Archive.open(shutil.copytree(empty_archive, tmp_path / "shop")) as opened:
        yield opened
