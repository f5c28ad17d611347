"""The speed table: `python -m tests.benchmarks` measures and prints it; with `--write` it goes to
`tests/benchmarks/SPEED.md` with a plot of how the times grow.

Everything is processor time, best of several tries, and is given as a ratio to something simple
measured in the same run, so that the table of one machine can be held against that of another.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "sample_images"
sys.path.insert(0, str(ROOT))

from tests.benchmarks.measure import best_of_program_s, best_s, used_s  # noqa: E402


@dataclass(frozen=True)
class Row:
    """One line: what was measured, against what, both in seconds; `most` is the aim for the ratio."""

    what: str
    took_s: float
    against: str
    floor_s: float
    most: float | None = None

    @property
    def ratio(self) -> float:
        """How many floors it took."""
        return self.took_s / self.floor_s


@dataclass(frozen=True)
class Growth:
    """Seconds at several sizes of one thing."""

    what: str
    sizes: tuple[int, ...]
    took_s: tuple[float, ...]

    @property
    def order(self) -> float:
        """The power by which the time grows from the smallest size to the largest: 1 is in step."""
        span = np.log(self.sizes[-1] / self.sizes[0])
        return float(np.log(self.took_s[-1] / self.took_s[0]) / span)


# --- photos --------------------------------------------------------------------------------------------


@contextmanager
def _photos(name: str) -> Iterator[dict[int, Path]]:
    """One sample at 3, 12 and 48 megapixels, by its megapixels."""
    original = cv2.imread(str(SAMPLES / f"{name}.jpg"))
    with tempfile.TemporaryDirectory() as folder:
        found = {}
        for megapixels, size in ((3, (2000, 1500)), (12, (4000, 3000)), (48, (8000, 6000))):
            found[megapixels] = Path(folder, f"{megapixels}.jpg")
            pixels = cv2.resize(original, size, interpolation=cv2.INTER_CUBIC)
            cv2.imwrite(str(found[megapixels]), pixels, [cv2.IMWRITE_JPEG_QUALITY, 90])
        yield found


def _sample() -> str:
    """A sample whose teeth are found without a hand; where there is none, the first readable one."""
    from pattern.workflow import read_photo

    readable = []
    for path in sorted(SAMPLES.glob("*.jpg")):
        known = json.loads(path.with_suffix(".json").read_text())
        if known["readable"] and known["size"] == [1600, 1200]:
            readable.append(path.stem)
            if read_photo(path, known["side"], hand=known["hand"]).status == "read":
                return path.stem
    return readable[0]


def photo_rows() -> list[Row]:
    from pattern.workflow import read_photo

    name = _sample()
    known = json.loads((SAMPLES / f"{name}.json").read_text())
    rows = []
    with _photos(name) as photos:
        for megapixels, path in photos.items():
            data = np.frombuffer(path.read_bytes(), np.uint8)
            width = {3: 2000, 12: 4000, 48: 8000}[megapixels]
            scale = width / known["size"][0]
            outlines = [
                (np.array(tooth["outline"]) * scale).tolist()
                for tooth in known["teeth"] if tooth["visible"] >= 0.6
            ]  # fmt: skip
            decode = best_s(lambda d=data: cv2.imdecode(d, cv2.IMREAD_COLOR))  # type: ignore[misc]
            for how, drawn in (("outlined", outlines), ("found by itself", None)):

                def read(path: Path = path, drawn: object = drawn) -> object:
                    return read_photo(path, known["side"], hand=known["hand"], outlines=drawn)  # type: ignore[arg-type]

                status = read().status  # type: ignore[attr-defined]
                rows.append(
                    Row(f"{megapixels} MP photo, {how} ({status})", best_s(read, 3),
                        "its decoding", decode, 4.0 if megapixels == 12 and drawn else None)
                )  # fmt: skip
    return rows


def photo_growth() -> Growth:
    from pattern.workflow import read_photo
    from tests.hard.cases import drive

    drawn, sizes = drive(), (1, 4, 16, 64)

    def read(count: int) -> None:
        for _ in range(count):
            read_photo(drawn.photo, "drive", outlines=drawn.outlines[:1])

    read(1)
    return Growth("photos read", sizes, tuple(best_s(lambda n=n: read(n), 2) for n in sizes))  # type: ignore[misc]


# --- physics and advice -----------------------------------------------------------------------------------


def physics_rows(floor_s: float) -> list[Row]:
    from pattern.gears.easeoff import EaseOff
    from pattern.gears.evaluate import evaluate
    from pattern.gears.kinematics import Moves
    from pattern.gears.lattice import tooth_lattice
    from pattern.gears.prior import _draw_blanks
    from pattern.gears.response import _response, response
    from pattern.records import Axle
    from tests.gears.sets import blank

    one, ease = blank("tapered"), EaseOff(0.03, 0.02, 0.004)
    evaluate(one, Moves(), ease, ease)

    def cold() -> object:
        for cache in (_response, _draw_blanks, tooth_lattice):
            cache.cache_clear()
        return response(Axle(41, 11, 8.5), "tapered")

    against = "decoding a 12 MP photo"
    return [
        Row("contact of both sides, one state", best_s(lambda: evaluate(one, Moves(0.06, -0.03), ease, ease), 20),
            against, floor_s),
        Row("response of a set never seen, with its spread", best_s(cold, 3), against, floor_s),
        Row("advice after five rolls", _advice_s(5), against, floor_s),
    ]  # fmt: skip


def _advice_s(rolls: int) -> float:
    from tests.advice.cases import advise, axle, roll

    known = axle(tooth_system="tapered")
    given = [roll((0.60, 0.66), (0.36, 0.64), 0.0080)] + [
        roll((0.55 - 0.005 * k, 0.60 - 0.01 * k), (0.40, 0.58), 0.0082, pinion_move_in=0.002, ring_move_in=0.001)
        for k in range(rolls - 1)
    ]  # fmt: skip
    advise(known, *given)
    return best_s(lambda: advise(known, *given), 3)


def advice_growth() -> Growth:
    sizes = (1, 2, 4, 8, 16)
    return Growth("rolls advised on", sizes, tuple(_advice_s(n) for n in sizes))


# --- archive -------------------------------------------------------------------------------------------------


def archive_rows_and_growth() -> tuple[list[Row], Growth]:
    from sqlalchemy import select

    from pattern.archive.database import Database
    from pattern.archive.schema import jobs
    from tests.archive.many import many_jobs

    sizes = (200, 2_000, 20_000)
    took: list[float] = []
    rows: list[Row] = []
    for size in sizes:
        with tempfile.TemporaryDirectory() as folder:
            archive = many_jobs(Path(folder, "shop"), size)
            database = Database(archive.location)

            def one_row(database: Database = database, number: int = size // 2) -> None:
                with database.reading() as connection:
                    connection.execute(select(jobs).where(jobs.c.number == number)).one()

            took.append(best_s(lambda a=archive: a.list_jobs(words="hana pickup"), 30))  # type: ignore[misc]
            if size == sizes[-1]:
                floor_s = best_s(one_row, 100)
                against = "one row by its number"
                rows.append(
                    Row(
                        "newest of 20,000 jobs",
                        best_s(archive.list_jobs, 30),
                        against,
                        floor_s,
                        20.0,
                    )
                )
                rows.append(Row("jobs with two words, of 20,000", took[-1], against, floor_s, 20.0))
            database.close()
            archive.close()
    return rows, Growth("jobs searched", sizes, tuple(took))


# --- starts -----------------------------------------------------------------------------------------------------


def start_rows() -> list[Row]:
    bare_s = best_of_program_s([sys.executable, "-c", "pass"])
    program = [sys.executable, "-m", "pattern.cli"]
    against = "a bare interpreter's start"
    return [
        Row("contact-pattern --help", best_of_program_s([*program, "--help"]), against, bare_s, 6.0),
        Row("contact-pattern read --help", best_of_program_s([*program, "read", "--help"]), against, bare_s),
        Row("the page, from start to its first answer", _page_s(), against, bare_s),
    ]  # fmt: skip


def _page_s() -> float:
    from tests.browser.conftest import running

    times = []
    for _ in range(3):
        with tempfile.TemporaryDirectory() as folder, running(Path(folder)) as server:
            times.append(used_s(server.process.pid))
    return min(times)


# --- the table ----------------------------------------------------------------------------------------------------


def measure() -> tuple[list[Row], list[Growth]]:
    """All rows and growths, in one run."""
    photos = photo_rows()
    decode_12_s = next(row.floor_s for row in photos if row.what.startswith("12 MP"))
    found, searched = archive_rows_and_growth()
    rows = [*photos, *physics_rows(decode_12_s), *found, *start_rows()]
    return rows, [photo_growth(), searched, advice_growth()]


def table(rows: Sequence[Row], growths: Sequence[Growth]) -> str:
    """The rows in Markdown."""
    lines = ["| what | ms | against | ms | ratio | aim |", "|---|---|---|---|---|---|"]
    for row in rows:
        aim = "" if row.most is None else f"at most {row.most:g}"
        lines.append(
            f"| {row.what} | {_ms(row.took_s)} | {row.against} | {_ms(row.floor_s)} | {row.ratio:.1f} | {aim} |"
        )
    lines += ["", "| growth | ms at each size | power |", "|---|---|---|"]
    for growth in growths:
        each = ", ".join(
            f"{n:,}: {_ms(s)}" for n, s in zip(growth.sizes, growth.took_s, strict=True)
        )
        lines.append(f"| {growth.what} | {each} | {growth.order:.2f} |")
    return "\n".join(lines)


def _ms(seconds: float) -> str:
    return f"{1000 * seconds:.3g}"


def plot(growths: Sequence[Growth], path: Path) -> None:
    """Time against size, both logarithmic, with a line in step for the eye."""
    import matplotlib as mpl

    mpl.use("Agg")
    from matplotlib import pyplot

    figure, panels = pyplot.subplots(1, len(growths), figsize=(10, 3.2), layout="constrained")
    for panel, growth in zip(panels, growths, strict=True):
        panel.loglog(growth.sizes, np.multiply(1000, growth.took_s), "o-", color="#2d4a86")
        panel.loglog(
            growth.sizes, 1000 * growth.took_s[0] * np.divide(growth.sizes, growth.sizes[0]), ":", color="#7f868d"
        )  # fmt: skip
        panel.set(title=growth.what, xlabel="how many", ylabel="processor time, ms")
        panel.grid(visible=True, alpha=0.3)
    figure.savefig(path, dpi=110)


HEAD = """# Speed

Made by `python -m tests.benchmarks --write` on {machine}, {day}. Processor time of all threads, best of several tries;
a ratio is against the simple thing named beside it, measured in the same run. The aims are those of the project's
issues; for photos whose teeth are found by themselves the aim is one of the clock on two cores, and
`pytest -m bench tests/benchmarks/test_reading_speed.py` holds it for six photos. Processor time
counts a second thread that only waits: an advice takes half of what stands here by the clock. A dotted line in the plot
grows in step with the size.

![How times grow](speed.png)

"""


def _machine() -> str:
    model = "a processor"
    with Path("/proc/cpuinfo").open(encoding="ascii", errors="replace") as lines:
        model = next(
            (x.partition(":")[2].strip() for x in lines if x.startswith("model name")), model
        )
    return f"{os.cpu_count()} cores of {model}, Python {platform.python_version()}"


def main() -> None:
    """Measure, print, and write if asked."""
    options = argparse.ArgumentParser(prog="python -m tests.benchmarks")
    options.add_argument(
        "--write",
        action="store_true",
        help="tests/benchmarks/SPEED.md and tests/benchmarks/speed.png",
    )
    write = options.parse_args().write
    rows, growths = measure()
    print(table(rows, growths))
    if write:
        text = HEAD.format(machine=_machine(), day=time.strftime("%Y-%m-%d")) + table(rows, growths)
        (ROOT / "tests" / "benchmarks" / "SPEED.md").write_text(text + "\n", encoding="utf-8")
        plot(growths, ROOT / "tests" / "benchmarks" / "speed.png")


if __name__ == "__main__":
    main()
