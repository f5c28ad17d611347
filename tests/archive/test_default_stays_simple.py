"""An archive in a folder needs nothing of what shared archives need, and never loads it."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

# What the extras `shared` and `cluster` bring, by the names that are imported.
EXTRAS = (
    "psycopg", "psycopg_binary", "s3fs", "aiobotocore", "botocore", "boto3", "aiohttp", "distributed",
    "dask", "moto",
)  # fmt: skip

WITHOUT = f"""
import sys

class Missing:
    def find_spec(self, name, path=None, target=None):
        if name.split(".")[0] in {EXTRAS!r}:
            raise ModuleNotFoundError(f"No module named {{name!r}}", name=name)

sys.meta_path.insert(0, Missing())
"""

A_SHOPS_DAY = (
    WITHOUT
    + """
from pathlib import Path
from tests.archive.pictures import jpeg
from tests.archive.samples import AXLE, advice, reading, roll
from pattern.archive.location import find_location
from pattern.archive.store import Archive
from pattern.archive.transfer import copy_archive

place = Path(sys.argv[1])
data = jpeg(1)
with Archive.open(place / "shop") as archive:
    job = archive.new_job(customer="A", axle=AXLE)
    archive.add_roll(job, roll(), [(data, reading(data))], advice())
    archive.edit(job, notes="zebra", seen=archive.job(job).version)
    assert archive.list_jobs(words="zeb").jobs
    archive.thumbnail(reading(data).sha256, 64)
    archive.export_job(job, place / "j.zip")
    archive.backup(place / "backup")
    assert archive.verify().is_clean
copy_archive(find_location(place / "shop"), find_location(place / "beside"))
"""
)


def run(code: str, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", code, *arguments], capture_output=True, text=True, check=False
    )


def test_a_shops_day_needs_no_extra(tmp_path: Path) -> None:
    done = run(A_SHOPS_DAY, str(tmp_path))
    assert (done.returncode, done.stderr) == (0, "")


def test_nor_is_one_loaded_where_it_is_installed(tmp_path: Path) -> None:
    code = A_SHOPS_DAY.replace("sys.meta_path.insert(0, Missing())", "")
    code += f"\nprint(sorted(set({EXTRAS!r}) & set(sys.modules)))"
    done = run(code, str(tmp_path))
    assert (done.returncode, done.stdout.strip()) == (0, "[]")


@pytest.mark.parametrize(
    ("ask", "extra"),
    [
        ("Archive.open('postgresql+psycopg://bench@127.0.0.1:1/jobs?photos=/tmp/x')", "shared"),
        ("PhotoStore('s3://shop/photos')", "shared"),
        ("read_again(archive, None, Settings())", "cluster"),
    ],
)
def test_where_an_extra_is_needed_it_is_named(tmp_path: Path, ask: str, extra: str) -> None:
    code = WITHOUT + (
        "from pattern.archive.cluster import read_again\n"
        "from pattern.archive.photos import PhotoStore\n"
        "from pattern.archive.store import Archive\n"
        "from pattern.errors import InvalidSettings\n"
        "from pattern.settings import Settings\n"
        "from tests.archive.samples import photo_bytes, reading, roll\n"
        "data = photo_bytes()\n"
        "archive = Archive.open(sys.argv[1])\n"
        "archive.add_roll(archive.new_job(), roll(), [(data, reading(data))])\n"
        f"try:\n    {ask}\nexcept InvalidSettings as fault:\n    print(fault.message)\n"
    )
    done = run(code, str(tmp_path / "shop"))
    assert (done.returncode, done.stderr) == (0, "")
    assert f"pip install 'gear-contact-pattern[{extra}]'" in done.stdout


def test_every_package_of_an_extra_is_known_to_this_test() -> None:
    import re
    import tomllib

    root = Path(__file__).parents[2]
    project = tomllib.loads((root / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = project["optional-dependencies"]
    names = {re.split(r"[\[>=]", line)[0] for e in ("shared", "cluster") for line in extras[e]}
    assert names <= set(EXTRAS)
    default = {re.split(r"[\[>=]", line)[0] for line in project["dependencies"]}
    assert not default & set(EXTRAS)
