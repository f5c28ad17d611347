"""The record as a PDF: A4 or Letter, one to three pages for a usual job, fonts included.

The same job makes the same bytes: the document carries the job's last change as its date.
"""

from __future__ import annotations

import io
import logging
from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any, Literal

from fpdf import FPDF
from fpdf.enums import XPos, YPos

from pattern.errors import InvalidInput
from pattern.jobs import FiledPhoto, Job
from pattern.report.content import Content, RollBlock, Row, Sheet, job_content
from pattern.report.look import FONT, GROUND, INK, LINE, SIDE_COLOUR, SOFT, WARN, rgb
from pattern.report.measures import Measures, Units
from pattern.report.pictures import Original, picture

Paper = Literal["A4", "Letter"]
_FONTS = Path(__file__).with_name("fonts")
_MARGIN = 14.0
_GAP = 6.0
_BODY, _SMALL, _TINY = 8.6, 6.8, 5.9
_LINE = 4.0
_PHOTO_HEIGHTS = (36.0, 44.0)
_LONGEST_FACT, _LONGEST_NOTE = 400, 1200
_CHART_SHAPE = 176 / 360

logging.getLogger("fontTools").setLevel(logging.ERROR)  # it reports each table it subsets


def job_pdf(job: Job, original: Original, *, paper: Paper = "A4", units: Units = "in") -> bytes:
    """The job's record as PDF bytes. `original` gives a photo's bytes by its SHA-256.

    A photo that cannot be shown is named with its hash in its place. Raises InvalidInput for an
    unknown paper or unit.
    """
    if paper not in ("A4", "Letter"):
        raise InvalidInput(f"{paper!r} is not known", subject="paper", remedy="A4 or Letter")
    content = job_content(job, Measures(units))
    pages = _Pages(paper, content)
    pages.set_creation_date(datetime.fromisoformat(job.changed_at))
    pages.add_page()
    _head(pages, content)
    _sheets(pages, content.sheets, content.backlash)
    _teeth(pages, content.teeth)
    for block in content.rolls:
        _roll(pages, block, lambda photo: picture(photo, original))
    _sheets(pages, content.closing)
    _cautions(pages, content.cautions)
    _hashes(pages, content)
    return bytes(pages.output())


class _Pages(FPDF):
    """Paper, fonts and the footer; text helpers that measure before they draw."""

    def __init__(self, paper: Paper, content: Content) -> None:
        super().__init__(format=paper)
        self._content = content
        self._heights: dict[tuple[object, ...], float] = {}
        self.set_margins(_MARGIN, _MARGIN, _MARGIN)
        self.set_auto_page_break(False)
        self.add_font(FONT, "", _FONTS / "DejaVuSansCondensed.ttf")
        self.add_font(FONT, "B", _FONTS / "DejaVuSansCondensed-Bold.ttf")
        self.set_title(f"{content.title} {content.subtitle}".strip())
        self.set_lang("en")

    def footer(self) -> None:
        """The job's identity, the program's version and the page number."""
        self.set_y(-10)
        self.ink(SOFT, _SMALL)
        self.cell(self.epw - 20, 4, self.fitted(self._content.footer, self.epw - 21))
        self.cell(20, 4, f"{self.page_no()} / {{nb}}", align="R")

    def ink(self, colour: str, size: float, *, bold: bool = False) -> None:
        """Set colour, size and weight of the text that follows."""
        self.set_font(FONT, "B" if bold else "", size)
        self.set_text_color(*rgb(colour))

    def height_of(self, width: float, text: str, line: float = _LINE) -> float:
        """How tall `text` becomes at this width, in the font that is set.

        Kept: each text is asked for before a page is begun and again where it is drawn.
        """
        key = (text, width, line, self.font_style, self.font_size_pt)
        if key not in self._heights:
            measured: Any = self.multi_cell(
                width, line, text, dry_run=True, output="HEIGHT", align="L"
            )
            self._heights[key] = float(measured)
        return self._heights[key]

    def fitted(self, text: str, width: float) -> str:
        """As much of one line as fits, with dots where it was cut."""
        if self.get_string_width(text) <= width:
            return text
        while text and self.get_string_width(text + "…") > width:
            text = text[:-1]
        return text + "…"

    def block(self, x: float, y: float, width: float, text: str, line: float = _LINE) -> float:
        """Write text that wraps; returns the y below it."""
        self.set_xy(x, y)
        self.multi_cell(width, line, text, align="L", new_x=XPos.LEFT, new_y=YPos.NEXT)
        return float(self.get_y())

    @property
    def bottom(self) -> float:
        """The lowest y that text may reach."""
        return float(self.h) - 11.5

    def room(self, height: float) -> None:
        """Go to a new page unless `height` is left on this one."""
        if self.get_y() + height > self.bottom:
            self.add_page()

    def rule(self, y: float) -> None:
        """A thin line across the page."""
        self.set_draw_color(*rgb(LINE))
        self.set_line_width(0.25)
        self.line(_MARGIN, y, self.w - _MARGIN, y)


def _head(pages: _Pages, content: Content) -> None:
    pages.ink(INK, 17, bold=True)
    pages.cell(pages.epw, 8, content.title, new_x=XPos.LMARGIN, new_y=YPos.NEXT)
    if content.subtitle:
        pages.ink(SOFT, 10.5)
        y = pages.block(_MARGIN, pages.get_y(), pages.epw, _brief(content.subtitle), 5)
        pages.set_y(y)
    pages.rule(pages.get_y() + 1.5)
    pages.set_y(pages.get_y() + 4)


def _sheets(pages: _Pages, sheets: Sequence[Sheet], chart: str | None = None) -> None:
    """Sheets in two columns, each put where there is more room, and a chart as the last of them."""
    width = (pages.epw - _GAP) / 2
    tops = [pages.get_y(), pages.get_y()]

    def place(height: float) -> tuple[float, float]:
        column = 0 if tops[0] <= tops[1] else 1
        if tops[column] + height > pages.bottom:
            pages.add_page()
            tops[:], column = [pages.get_y(), pages.get_y()], 0
        at = _MARGIN + column * (width + _GAP), tops[column]
        tops[column] += height + 3
        return at

    for sheet in sheets:
        x, y = place(_sheet(pages, sheet, 0, 0, width, draw=False))
        _sheet(pages, sheet, x, y, width, draw=True)
    if chart:
        x, y = place(width * _CHART_SHAPE)
        pages.image(io.BytesIO(chart.encode()), x=x, y=y, w=width, h=width * _CHART_SHAPE)
    pages.set_y(max(tops))


def _sheet(pages: _Pages, sheet: Sheet, x: float, y: float, width: float, *, draw: bool) -> float:
    top, label_width = y, width * 0.36
    if draw:
        pages.ink(INK, 10, bold=True)
        pages.set_xy(x, y)
        pages.cell(width, 5, sheet.title)
    y += 5.6
    for label, value in sheet.rows:
        y += _fact(pages, (label, value), x, y, (label_width, width), draw=draw) + 0.4
    if sheet.notes:
        pages.ink(INK, _BODY)
        notes = _brief(sheet.notes, _LONGEST_NOTE)
        height = pages.height_of(width, notes)
        if draw:
            pages.block(x, y + 0.6, width, notes)
        y += height + 1
    return y - top


def _fact(
    pages: _Pages, row: Row, x: float, y: float, widths: tuple[float, float], *, draw: bool
) -> float:
    """A label and its value beside it; returns the height of the taller one."""
    (label, value), (label_width, width) = row, widths
    value = _brief(value)
    pages.ink(INK, _BODY)
    if draw:
        pages.block(x + label_width, y, width - label_width, value)
        pages.ink(SOFT, _BODY)
        pages.block(x, y, label_width, label)
    return max(pages.height_of(label_width, label), pages.height_of(width - label_width, value))


def _teeth(pages: _Pages, charts: Sequence[str]) -> None:
    width = (pages.epw - _GAP) / 2
    height = width * _CHART_SHAPE
    pages.room(height + 4)
    y = pages.get_y()
    for index, chart in enumerate(charts):
        x = _MARGIN + index * (width + _GAP)
        pages.image(io.BytesIO(chart.encode()), x=x, y=y, w=width, h=height)
    pages.set_y(y + height + 2)


def _roll(pages: _Pages, block: RollBlock, show: Callable[[FiledPhoto], bytes | None]) -> None:
    text_width = pages.epw * 0.45
    shown = [(photo, show(photo)) for photo in block.photos]
    text_height = _roll_text(pages, block, 0, text_width, draw=False)
    photo_height = min(max(text_height - 4, _PHOTO_HEIGHTS[0]), _PHOTO_HEIGHTS[1])
    first_row = photo_height + 4 if shown else 0.0
    pages.room(min(9 + max(text_height, first_row), pages.bottom - _MARGIN))
    y = pages.get_y()
    pages.set_fill_color(*rgb(GROUND))
    pages.rect(_MARGIN, y, pages.epw, 5.6, style="F")
    pages.ink(INK, 9.2, bold=True)
    pages.set_xy(_MARGIN + 1.5, y)
    pages.cell(pages.epw - 3, 5.6, pages.fitted(block.title, pages.epw - 4))
    page = pages.page_no()
    _roll_text(pages, block, y + 7, text_width, draw=True)
    below = _photos(pages, shown, y + 7, _MARGIN + text_width + 4, photo_height)
    text_below = y + 7 + text_height if pages.page_no() == page else 0.0
    pages.set_y(max(text_below, below) + 2)


def _roll_text(pages: _Pages, block: RollBlock, y: float, width: float, *, draw: bool) -> float:
    top, label_width = y, width * 0.3
    if block.struck:
        pages.ink(WARN, _BODY, bold=True)
        text = _brief(f"Struck out: {block.struck}")
        y = pages.block(_MARGIN, y, width, text) if draw else y + pages.height_of(width, text)
    for label, value in block.rows:
        y += _fact(pages, (label, value), _MARGIN, y, (label_width, width), draw=draw)
    for index, line in enumerate(map(_brief, block.advice)):
        pages.ink(INK, _BODY, bold=index == 0)
        y += 1.0 if index == 0 else 0.0
        y = pages.block(_MARGIN, y, width, line) if draw else y + pages.height_of(width, line)
    return y - top


def _photos(
    pages: _Pages,
    shown: Sequence[tuple[FiledPhoto, bytes | None]],
    y: float,
    x: float,
    height: float,
) -> float:
    """Two photos a row, further rows on further pages; returns the y below them."""
    width = (pages.w - _MARGIN - x - 3) / 2
    for index, (photo, data) in enumerate(shown):
        if index and index % 2 == 0:
            y += height + 4
            if y + height + 4 > pages.bottom:
                pages.add_page()
                y = pages.get_y()
        left = x + (index % 2) * (width + 3)
        if data is None:
            pages.ink(WARN, _SMALL)
            lost = f"{photo.name[:60]} cannot be shown ({photo.sha256[:12]})"
            pages.block(left, y, width, lost, 3.2)
        else:
            pages.image(io.BytesIO(data), x=left, y=y, w=width, h=height, keep_aspect_ratio=True)
        pages.ink(SIDE_COLOUR[photo.side], _SMALL, bold=True)
        pages.set_xy(left, y + height)
        by_hand = ", corrected by hand" if photo.corrected else ""
        state = "" if photo.best.status == "read" else ", not read"
        caption = f"{photo.side}{state}{by_hand} · {photo.name}"
        pages.cell(width, 3.4, pages.fitted(caption, width - 1))
    return y + height + 4 if shown else y


def _brief(text: str, longest: int = _LONGEST_FACT) -> str:
    """Short enough for a page; the HTML record has the whole."""
    return text if len(text) <= longest else text[:longest] + " … (the whole is in the HTML record)"


def _cautions(pages: _Pages, cautions: Sequence[str]) -> None:
    text = "  ".join(cautions)
    pages.ink(INK, _BODY)
    height = pages.height_of(pages.epw - 6, text) + 9
    pages.room(height)
    y = pages.get_y()
    pages.set_draw_color(*rgb(WARN))
    pages.set_line_width(0.4)
    pages.rect(_MARGIN, y, pages.epw, height - 2)
    pages.ink(WARN, _BODY, bold=True)
    pages.set_xy(_MARGIN + 3, y + 1)
    pages.cell(pages.epw - 6, 4.4, "Caution")
    pages.ink(INK, _BODY)
    pages.block(_MARGIN + 3, y + 5.4, pages.epw - 6, text)
    pages.set_y(y + height + 1)


def _hashes(pages: _Pages, content: Content) -> None:
    if not content.hashes:
        return
    pages.room(8.5)
    pages.ink(INK, _BODY, bold=True)
    pages.cell(pages.epw, 5, "Photos on record, by SHA-256", new_x=XPos.LMARGIN, new_y=YPos.NEXT)
    width = (pages.epw - _GAP) / 2
    for index, (roll, side, _name, sha256) in enumerate(content.hashes):
        if index % 2 == 0:
            pages.room(3.6)
            y = pages.get_y()
        pages.ink(SOFT, _TINY)
        pages.set_xy(_MARGIN + (index % 2) * (width + _GAP), y)
        pages.cell(width, 3.2, f"roll {roll} {side}  {sha256}")
        pages.set_y(y + 3.2 if index % 2 else y)
    pages.set_y(y + 3.2)
