"""The printed record: every fact in it, readable by others' tools, pictures looked at by pixels.

Outside checks: text by poppler's pdftotext and by pypdf, paper sizes of ISO 216 (A4 is 210 x 297 mm)
and ANSI/ASME Y14.1 (A is 8.5 x 11 in), conversions by NIST SP 811 (1 in = 25.4 mm exactly,
1 lbf.ft = 1.355 818 N.m, 1 lbf.in = 0.112 984 8 N.m).
"""

from __future__ import annotations

import base64
import html
import io
import re
import shutil
import subprocess
from collections.abc import Iterator
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pypdf
import pytest
from PIL import Image

from pattern.archive.store import Archive
from pattern.errors import InvalidInput
from pattern.jobs import FiledPhoto, FinalSheet, Job
from pattern.records import Axle, SideReading
from pattern.report.backlash_chart import Series, backlash_chart
from pattern.report.content import job_content
from pattern.report.html import job_html
from pattern.report.measures import Measures
from pattern.report.pdf import job_pdf
from pattern.report.pictures import picture, scaled
from pattern.report.tooth_chart import HEIGHT, WIDTH, tooth_chart
from tests.archive import samples
from tests.archive.pictures import jpeg, place


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Archive]:
    with Archive.open(tmp_path_factory.mktemp("record") / "shop") as archive:
        job_id = archive.new_job(
            customer="Öz & <Daughters>", vehicle="flat-bed “1987”", axle=samples.AXLE,
            as_found=samples.AS_FOUND, parts=samples.PARTS, notes="5 ≤ 6 → fine", tags=("rush",),
        )  # fmt: skip
        moves = ((None, None), (0.004, -0.002), (0.003, -0.002), (-0.001, 0.0), (0.0, 0.001))
        for number, (pinion, ring) in enumerate(moves):
            shots = [_shot(2 * number, "drive"), _shot(2 * number + 1, "coast")]
            archive.add_roll(
                job_id, samples.roll(0.3 + number / 20, 0.8 - number / 15, 0.0085, pinion, ring), shots,
                samples.advice() if number < 4 else None, kind="as_found" if number == 0 else "roll",
                note="light brake" if number == 1 else "", by="Sam",
            )  # fmt: skip
        archive.edit_roll(job_id, 3, struck="brake slipped")
        archive.edit_roll(job_id, 2, readings={1: _shot(2, "drive")[1]})
        archive.edit(job_id, final=samples.FINAL, status="done")
        yield archive


def _shot(number: int, side: str):  # type: ignore[no-untyped-def]
    data = jpeg(number, gps=True)
    return data, replace(samples.reading(data, side, f"IMG_{number}.jpg"), size_px=(96, 64))  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def job(shop: Archive) -> Job:
    return shop.job("J0001")


def text_of(data: bytes, folder: Path) -> str:
    """The PDF's text as poppler reads it, in one line."""
    if shutil.which("pdftotext") is None:
        pytest.fail("poppler-utils is needed: apt-get install poppler-utils")
    (folder / "x.pdf").write_bytes(data)
    ran = subprocess.run(
        ["pdftotext", "-layout", str(folder / "x.pdf"), "-"], capture_output=True, check=True
    )
    return " ".join(ran.stdout.decode().split())


FACTS = [
    "Job J0001", "Öz & <Daughters>", "flat-bed “1987”", "5 ≤ 6 → fine",
    "41 / 11 = 3.727", "8.5 in", "tapered depth, right-hand ring gear", "0.006 to 0.010 in",
    "thicker = deeper", "0.012, 0.013, 0.0125, 0.0115 in", "+2", "one punch left, two punches right",
    "42 lbf·ft", "Roll 1, as found", "Roll 5, test roll", "0.30 from the toe, 0.80 from the root",
    "deeper 0.004 in (advised: deeper 0.004 in)", "shallower 0.001 in", "toward the pinion 0.002 in",
    "away from the pinion 0.001 in", "Advice: adjust · good pattern after the move: 81% likely", "± 0.0011 in", "depth shim 0.034 in",
    "0.248 in / 0.267 in", "Struck out: brake slipped", "light brake", "corrected by hand",
    "Final sheet", "0.246 in / 0.269 in", "17 lbf·in", "77 lbf·ft (maker's sheet", "red, on clean dry threads",
    "Marta", "pinion bearing kit", "PB-88", "Caution", "hints for a trained mechanic", "contact-pattern 0.",
]  # fmt: skip


def test_the_pdf_tells_every_fact(shop: Archive, job: Job, tmp_path: Path) -> None:
    data = job_pdf(job, shop.thumbnail)
    text = text_of(data, tmp_path)
    reader = pypdf.PdfReader(io.BytesIO(data))
    other = " ".join(" ".join(page.extract_text() for page in reader.pages).split())
    for fact in FACTS:
        for word in fact.split():
            assert word in text, fact
    for filed in job.rolls:
        for photo in filed.photos:
            assert photo.sha256 in text
            assert photo.sha256 in other
    assert reader.metadata is not None
    assert reader.metadata.title == "Job J0001 Öz & <Daughters> · flat-bed “1987”"


def test_the_html_tells_every_fact_and_needs_nothing_else(shop: Archive, job: Job) -> None:
    page = job_html(job, shop.thumbnail)
    told = _Words()
    told.feed(page)
    text = " ".join(" ".join(told.words).split())
    for fact in FACTS:
        assert fact in text, fact
    assert "<Daughters>" not in page.replace("&lt;Daughters&gt;", "")
    links = re.findall(r"""(?:src|href|url\()\s*=?\s*["']?([^"')\s>]+)""", page)
    assert len(links) == 10
    assert all(link.startswith("data:image/jpeg;base64,") for link in links)
    assert "<script" not in page
    assert [tag for tag, count in told.open.items() if count] == []


class _Words(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.words: list[str] = []
        self.open: dict[str, int] = {}

    def handle_starttag(self, tag: str, attrs: object) -> None:
        if tag not in ("meta", "img", "path", "circle", "rect"):
            self.open[tag] = self.open.get(tag, 0) + 1

    def handle_endtag(self, tag: str) -> None:
        if tag in self.open:
            self.open[tag] -= 1

    def handle_data(self, data: str) -> None:
        self.words.append(data)


@pytest.mark.parametrize(
    ("paper", "width_mm", "height_mm"), [("A4", 210, 297), ("Letter", 215.9, 279.4)]
)
def test_a_five_roll_job_is_three_pages_of_the_asked_paper(
    shop: Archive, job: Job, paper: str, width_mm: float, height_mm: float, tmp_path: Path
) -> None:
    pages = pypdf.PdfReader(io.BytesIO(job_pdf(job, shop.thumbnail, paper=paper))).pages  # type: ignore[arg-type]
    assert len(pages) <= 3
    _nothing_below_the_footer(job_pdf(job, shop.thumbnail, paper=paper), tmp_path)  # type: ignore[arg-type]
    for page in pages:
        assert float(page.mediabox.width) == pytest.approx(width_mm / 25.4 * 72, abs=0.5)
        assert float(page.mediabox.height) == pytest.approx(height_mm / 25.4 * 72, abs=0.5)


def test_one_roll_with_one_photo_a_side_is_one_page(shop: Archive, job: Job) -> None:
    short = replace(job, rolls=job.rolls[:1], final=FinalSheet())
    assert len(pypdf.PdfReader(io.BytesIO(job_pdf(short, shop.thumbnail))).pages) == 1


def test_the_reasons_of_an_advice_are_told_in_the_chosen_units(job: Job) -> None:
    # 1 in = 25.4 mm exactly, NIST SP 811; the filed reasons stay in inches
    first = job.rolls[0]
    assert first.advice is not None
    why = replace(first.advice, reasons=("The pinion stands 0.004 in too shallow.",))
    told = replace(job, rolls=(replace(first, advice=why),))
    assert "stands 0.102 mm too shallow" in str(job_content(told, Measures("mm")))
    assert "stands 0.004 in too shallow" in str(job_content(told, Measures("in")))


def test_metric_units_are_the_exact_conversions(shop: Archive, job: Job, tmp_path: Path) -> None:
    text = text_of(job_pdf(job, shop.thumbnail, units="mm"), tmp_path)
    for inches in (0.034, 0.248, 0.002, 0.012):
        assert f"{inches * 25.4:.3f}" in text
    assert "215.9 mm" in text
    assert f"{77 * 1.3558179:.0f} N·m" in text
    assert f"{17 * 0.1129848:.2f} N·m" in text
    assert " in / " not in text
    assert "lbf" not in text


def test_the_same_job_makes_the_same_bytes(shop: Archive, job: Job) -> None:
    assert job_pdf(job, shop.thumbnail) == job_pdf(job, shop.thumbnail)


def test_no_picture_in_the_record_tells_where_it_was_taken(shop: Archive, job: Job) -> None:
    original = shop.photo(job.rolls[0].photos[0].sha256)
    assert place(original), "the original does"
    assert place(shop.thumbnail(job.rolls[0].photos[0].sha256)) == {}
    reader = pypdf.PdfReader(io.BytesIO(job_pdf(job, shop.photo)))
    printed = [image.data for page in reader.pages for image in page.images]
    encoded = re.findall(r"base64,([^\"]+)", job_html(job, shop.photo))
    for images in (printed, [base64.b64decode(image) for image in encoded]):
        assert len(images) == 10
        assert all(place(image) == {} and b"Exif" not in image for image in images)


def test_a_lost_photo_is_named_in_its_place(shop: Archive, job: Job, tmp_path: Path) -> None:
    def lost(sha256: str) -> bytes:
        from pattern.errors import ArchiveDamaged

        raise ArchiveDamaged("is missing", subject=sha256)

    assert "IMG_0.jpg cannot be shown" in text_of(job_pdf(job, lost), tmp_path)
    assert "cannot be shown" in job_html(job, lost)


def test_a_bare_job_prints_too(tmp_path: Path) -> None:
    with Archive.open(tmp_path / "a") as archive:
        bare = archive.job(archive.new_job())
        text = text_of(job_pdf(bare, archive.thumbnail), tmp_path)
        assert "no reading on record" in text
        assert "Caution" in text
        assert "None" not in text + job_html(bare, archive.thumbnail)


def test_backlash_limits_that_nobody_entered_are_not_said_to_be_entered(job: Job) -> None:
    untouched = replace(job, axle=Axle(41, 11, 8.5, tooth_system="tapered"), rolls=())
    words = " ".join(html.unescape(job_html(untouched, lambda _: b"")).split())
    assert "0.006 to 0.010 in, on file; the maker's limits decide" in words
    assert "as entered" not in words


@pytest.mark.parametrize(
    ("verdict", "chance", "words"),
    [
        ("accept", 0.9999, "Advice: accept · good pattern as it is: over 99% likely"),
        ("adjust", 0.0, "Advice: adjust · good pattern after the move: 0% likely"),
        ("undecided", None, "Advice: undecided"),
    ],
)
def test_how_sure_an_advice_is_stands_in_words(
    job: Job, verdict: str, chance: float | None, words: str
) -> None:
    told = replace(samples.advice(), verdict=verdict, chance=chance)  # type: ignore[arg-type]
    content = job_content(replace(job, rolls=(replace(job.rolls[0], advice=told),)), Measures("in"))
    assert content.rolls[0].advice[0] == words


def test_very_long_words_and_unknown_letters_do_not_break_it(
    shop: Archive, job: Job, tmp_path: Path
) -> None:
    odd = replace(
        job,
        customer="x" * 400,
        notes="漢字 🙂 \x00\x07 " + "word " * 900,
        vehicle="Ω" * 120,
        tags=("t" * 60,) * 30,
    )
    _nothing_below_the_footer(job_pdf(odd, shop.thumbnail), tmp_path)
    ElementTree.fromstring(tooth_chart("drive", [], None))


def test_a_roll_of_many_photos_and_long_words_runs_over_the_page_and_loses_none(
    shop: Archive, job: Job, tmp_path: Path
) -> None:
    shots = tuple(
        replace(job.rolls[0].photos[0], position=k, name=f"shot{k}.jpg") for k in range(21)
    )
    filed = replace(job.rolls[0], photos=shots, note="long " * 3000, by="b" * 300)
    after = replace(job.rolls[1], number=2)
    data = job_pdf(replace(job, rolls=(filed, after)), shop.thumbnail)
    text = text_of(data, tmp_path)
    assert all(f"shot{k}.jpg" in text for k in range(21))
    assert "the whole is in the HTML record" in text
    assert "Roll 2, test roll" in text
    _nothing_below_the_footer(data, tmp_path)


def _nothing_below_the_footer(data: bytes, folder: Path) -> None:
    """By pixels: between the lowest text line and the footer, and under it, the page is white."""
    (folder / "y.pdf").write_bytes(data)
    subprocess.run(
        ["pdftoppm", "-r", "50", "-gray", str(folder / "y.pdf"), str(folder / "y")], check=True
    )
    for page in folder.glob("y-*.pgm"):
        grey = np.asarray(Image.open(page))
        assert (grey[int(grey.shape[0] * 0.982) :] > 250).all(), page.name
        assert (grey[:, : int(grey.shape[1] * 0.05)] > 250).all(), page.name
        assert (grey[:, int(grey.shape[1] * 0.96) :] > 250).all(), page.name


def test_other_papers_and_units_are_refused(shop: Archive, job: Job) -> None:
    with pytest.raises(InvalidInput, match="paper"):
        job_pdf(job, shop.thumbnail, paper="A5")  # type: ignore[arg-type]
    with pytest.raises(InvalidInput, match="units"):
        job_html(job, shop.thumbnail, units="cm")  # type: ignore[arg-type]


# --- charts -----------------------------------------------------------------------------------------


def shapes(svg: str, tag: str) -> list[dict[str, str]]:
    return [
        dict(node.attrib) for node in ElementTree.fromstring(svg).iter() if node.tag.endswith(tag)
    ]


def test_toe_and_heel_root_and_tip_are_not_swapped_on_the_tooth() -> None:
    low_toe = SideReading(0.2, 0.25, 0.02, 0.03)
    high_heel = SideReading(0.8, 0.75, 0.02, 0.03)
    svg = tooth_chart(
        "drive", [(1, low_toe), (2, high_heel)], Axle(41, 11, 8.5, tooth_system="uniform")
    )
    first, second = shapes(svg, "circle")
    assert float(first["cx"]) < WIDTH / 2 < float(second["cx"])
    assert float(first["cy"]) > HEIGHT / 2 > float(second["cy"]), "the tip is up"
    words = {node.text: node.attrib for node in ElementTree.fromstring(svg).iter() if node.text}
    assert float(words["toe"]["x"]) < float(words["heel"]["x"])
    assert float(words["tip"]["y"]) < float(words["root"]["y"])


def test_drive_and_coast_differ_in_shape_not_in_colour_alone() -> None:
    step = [(1, SideReading(0.5, 0.5))]
    assert len(shapes(tooth_chart("drive", step, None), "circle")) == 1
    assert shapes(tooth_chart("coast", step, None), "circle") == []


def test_a_tapered_tooth_is_shallower_at_the_toe() -> None:
    outline = shapes(tooth_chart("drive", [], Axle(41, 11, 8.5, tooth_system="tapered")), "path")[
        0
    ]["d"]
    points = [tuple(map(float, p.split(","))) for p in re.findall(r"[\d.]+,[\d.]+", outline)]
    toe_tip, heel_tip, heel_root, toe_root = points
    assert heel_root[1] - heel_tip[1] > toe_root[1] - toe_tip[1] > 0


def test_backlash_readings_stand_in_order_and_in_scale() -> None:
    readings = (0.006, 0.008, 0.010, 0.008)
    svg = backlash_chart([Series("final", readings, is_final=True)], (0.006, 0.010), Measures("in"))
    marks = [(float(c["cx"]), float(c["cy"])) for c in shapes(svg, "circle")][:4]
    steps = np.diff([x for x, _ in marks])
    assert np.allclose(steps, steps[0], atol=0.2)
    heights = -np.array([y for _, y in marks])
    assert np.allclose(
        np.diff(heights), np.diff(readings) * (heights[2] - heights[0]) / 0.004, atol=0.2
    )


def test_a_reading_follows_its_photo_when_the_photo_is_reduced() -> None:
    reading = replace(samples.reading(b"x"), size_px=(400, 300))
    small = scaled(reading, 0.5)
    assert np.allclose(small.teeth[0].outline * 2, reading.teeth[0].outline)
    assert small.size_px == (200, 150)
    assert small.lengthwise == reading.lengthwise


@pytest.mark.parametrize("corner", [(60.0, 40.0), (1200.0, 600.0), (1700.0, 1000.0)])
def test_the_overlay_lies_on_the_teeth_of_the_cut_and_reduced_photo(
    job: Job, corner: tuple[float, float]
) -> None:
    x, y = corner
    outline = np.array([[x, y], [x + 600, y], [x + 600, y + 360], [x, y + 360]])
    whole = Image.new("RGB", (2400, 1600), (90, 90, 90))
    whole.paste((200, 30, 30), (int(x), int(y), int(x) + 600, int(y) + 360))
    out = io.BytesIO()
    whole.resize((1600, 1067)).save(out, "JPEG", quality=95)  # reduced, as from the cache
    tooth = replace(samples.tooth(), outline=outline, tip_edge=outline[:2], root_edge=outline[[3, 2]],
                    contact=outline * 0.5 + np.array(corner) * 0.5)  # fmt: skip
    reading = replace(job.rolls[0].photos[0].reading, teeth=(tooth,), size_px=(2400, 1600))
    shown = picture(
        FiledPhoto(1, "p.jpg", "a" * 64, "drive", 1, reading), lambda _: out.getvalue(), 900
    )
    assert shown is not None
    drawn = np.asarray(Image.open(io.BytesIO(shown)).convert("RGB"), int)
    red = _bounds((drawn[..., 0] > 150) & (drawn[..., 1] < 70) & (drawn[..., 2] < 70))
    blue = _bounds(drawn[..., 2] - drawn[..., 0] > 40)
    assert red[2] - red[0] > 0.5 * drawn.shape[1], "the tooth fills most of the picture"
    assert np.abs(red - blue).max() < 0.02 * drawn.shape[1]


def _bounds(mask: np.ndarray) -> np.ndarray:  # type: ignore[type-arg]
    rows, columns = np.nonzero(mask)
    return np.array([columns.min(), rows.min(), columns.max(), rows.max()])
