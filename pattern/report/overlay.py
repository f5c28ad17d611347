"""Draw a reading on its photo: outlines, tooth grid, contact patch, centre with its spread, words."""

from __future__ import annotations

import io
import math
from functools import lru_cache
from importlib import resources

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from pattern.photo.levels import factor_for, reduced
from pattern.records import Photo, Reading, ToothReading, ToothSide
from pattern.teeth.surface import ToothSurface

Floats = NDArray[np.float64]
Colour = tuple[int, int, int]

OUTLINE: Colour = (86, 180, 233)
PATCH: Colour = (240, 228, 66)
CENTRE: Colour = (213, 94, 0)
INK: Colour = (255, 255, 255)
SHADE: Colour = (16, 20, 24)
"""Sky blue, yellow and vermilion of the eight colours that stay apart for colour-blind eyes (Okabe
and Ito 2008, from memory); each line also has a dark rim, so it stands on any background."""


_LEAST_WIDTH = 900
_FONT = "DejaVuSansCondensed-Bold.ttf"


def draw_overlay(photo: Photo, reading: Reading, *, long_side: int = 1600) -> bytes:
    """PNG bytes of the photo with its reading drawn on it, at most `long_side` pixels long.

    Where the teeth are small in the photo, the part around them is shown.
    Every measured tooth has its outline (dashed where it was laid from a drawn one), a grid of quarters and the patch's rim; the tooth with the
    highest confidence carries the words toe, heel, tip and root and the centre of the whole reading
    as a cross within an ellipse of two standard deviations. A strip below states the numbers, or why
    the photo was declined. Sizes follow the picture's width, so that the words can be read when it
    is shown at the width of a phone. On a declined photo the teeth that the reasons speak of are
    outlined, where any were seen.
    """
    return as_png(overlay_image(photo, reading, long_side=long_side))


def as_png(image: Image.Image) -> bytes:
    """The picture as PNG bytes."""
    out = io.BytesIO()
    image.save(out, "PNG", compress_level=6)
    return out.getvalue()


def overlay_image(
    photo: Photo, reading: Reading, *, long_side: int = 1600, caption: bool = True
) -> Image.Image:
    """As `draw_overlay`, as a picture; without the strip of words if they stand beside it."""
    x0, y0, x1, y1 = _shown_part(photo, reading)
    factor = factor_for(photo, max(x1 - x0, y1 - y0) / long_side)
    x0, y0, x1, y1 = (edge // factor * factor for edge in (x0, y0, x1, y1))
    part = reduced(photo, factor)[y0 // factor : y1 // factor, x0 // factor : x1 // factor]
    width, height = x1 - x0, y1 - y0
    scale = min(long_side / max(width, height), max(1.0, _LEAST_WIDTH / width))
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    small = cv2.resize(part, size, interpolation=cv2.INTER_AREA if scale < 1 else cv2.INTER_LINEAR)
    image = Image.fromarray(np.asarray(small, np.uint8))
    pen = _Pen(image, scale, np.array([x0, y0], float))
    for polygon in reading.marked:
        pen.line(polygon, CENTRE, 2.0, closed=True)
    for tooth in reading.teeth:
        _draw_tooth(pen, tooth)
    if reading.teeth:
        best = max(reading.teeth, key=lambda t: t.confidence * t.area)
        _draw_centre(pen, reading, best)
        _name_edges(pen, best)
    return _with_caption(pen, reading) if caption else image


def _shown_part(photo: Photo, reading: Reading) -> tuple[int, int, int, int]:
    """The whole photo, or the part around the teeth where they are small in it: x0, y0, x1, y1."""
    whole = (0, 0, photo.width_px, photo.height_px)
    outlines = [tooth.outline for tooth in reading.teeth] or list(reading.marked)
    if not outlines:
        return whole
    points = np.concatenate(outlines)
    length = max(float(np.ptp(outline, axis=0).max()) for outline in outlines)
    low = np.clip(points.min(axis=0) - 0.7 * length, 0, None).astype(int)
    high = np.minimum(points.max(axis=0) + 0.7 * length, [photo.width_px, photo.height_px])
    width, height = (int(v) for v in high - low)
    if width * height > 0.55 * photo.width_px * photo.height_px:
        return whole
    return int(low[0]), int(low[1]), int(low[0]) + width, int(low[1]) + height


class _Pen:
    """Lines and words with a dark rim; takes photo pixels and draws on the reduced picture."""

    def __init__(self, image: Image.Image, scale: float, origin: Floats) -> None:
        self.image = image
        self.scale = scale
        self.origin = origin
        self.draw = ImageDraw.Draw(image)
        self.unit = max(1.0, image.width / 500.0)

    def at(self, points: Floats) -> list[tuple[float, float]]:
        """Photo pixels (n, 2) on the reduced picture."""
        moved = (np.atleast_2d(points) - self.origin + 0.5) * self.scale - 0.5
        return [(float(x), float(y)) for x, y in moved]

    def line(self, points: Floats, colour: Colour, width: float, closed: bool = False) -> None:
        """A line with a dark rim, `width` in five-hundredths of the picture's width."""
        path = self.at(points)
        if closed and len(path) > 2:
            path.append(path[0])
        thin = max(1, round(width * self.unit))
        self.draw.line(path, fill=SHADE, width=thin + max(2, round(self.unit)), joint="curve")
        self.draw.line(path, fill=colour, width=thin, joint="curve")

    def dashed(self, points: Floats, colour: Colour, width: float) -> None:
        """A closed line in dashes of even length on the picture."""
        path = np.array(self.at(np.concatenate([points, points[:1]])))
        way = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1))])
        count = max(2 * round(way[-1] / (16.0 * self.unit)), 4)
        ends = np.linspace(0.0, way[-1], count + 1)
        for start, end in zip(ends[:-1:2], ends[1::2], strict=True):
            at = np.unique(np.concatenate([[start], way[(way > start) & (way < end)], [end]]))
            dash = np.stack([np.interp(at, way, path[:, k]) for k in (0, 1)], axis=1)
            self.line((dash + 0.5) / self.scale - 0.5 + self.origin, colour, width)

    def word(self, text: str, place: Floats, size: float, angle_deg: float = 0.0) -> None:
        """A word centred on a photo pixel, turned to run along the tooth, kept in the picture."""
        font = _font(max(9, round(size * self.unit)))
        rim = max(2, round(0.9 * self.unit))
        left, top, right, bottom = font.getbbox(text, stroke_width=rim)
        label = Image.new("RGBA", (int(right - left) + 4, int(bottom - top) + 4))
        ImageDraw.Draw(label).text(
            (2 - left, 2 - top), text, font=font, fill=INK, stroke_width=rim, stroke_fill=SHADE
        )
        label = label.rotate(angle_deg, expand=True, resample=Image.Resampling.BICUBIC)
        x, y = self.at(place)[0]
        x = min(max(x - label.width / 2, 0), max(self.image.width - label.width, 0))
        y = min(max(y - label.height / 2, 0), max(self.image.height - label.height, 0))
        self.image.paste(label, (round(x), round(y)), label)


def _surface(tooth: ToothReading) -> ToothSurface:
    return ToothSurface.of(
        ToothSide(
            tooth.outline,
            tooth.tip_edge,
            tooth.root_edge,
            corner_sd_px=1.0,
            confidence=tooth.confidence,
        )
    )


def _draw_tooth(pen: _Pen, tooth: ToothReading) -> None:
    surface = _surface(tooth)
    share = np.linspace(0.0, 1.0, 25)
    for part in (0.25, 0.5, 0.75):
        across = surface.to_photo(np.full(25, part), share)
        along = surface.to_photo(share, np.full(25, part))
        pen.draw.line(pen.at(across), fill=OUTLINE, width=1)
        if part == 0.5:
            pen.draw.line(pen.at(along), fill=OUTLINE, width=1)
    if "followed" in tooth.flags:
        pen.dashed(surface.polygon, OUTLINE, 1.2)
    else:
        pen.line(surface.polygon, OUTLINE, 1.2, closed=True)
    if len(tooth.contact) > 2:
        pen.line(tooth.contact, PATCH, 1.2, closed=True)


def _draw_centre(pen: _Pen, reading: Reading, tooth: ToothReading) -> None:
    """The reading's centre on the clearest tooth, with an ellipse of two standard deviations."""
    if reading.lengthwise is None or reading.profile is None:
        return
    surface = _surface(tooth)
    turn = np.linspace(0.0, 2.0 * np.pi, 49)
    spread_l, spread_p = reading.lengthwise_sd or 0.0, reading.profile_sd or 0.0
    slant = float(np.clip(reading.correlation, -0.99, 0.99))
    along = reading.lengthwise + 2 * spread_l * np.cos(turn)
    up = reading.profile + 2 * spread_p * (
        slant * np.cos(turn) + math.sqrt(1 - slant**2) * np.sin(turn)
    )
    pen.line(surface.to_photo(along, up), CENTRE, 1.0, closed=True)
    here = surface.to_photo(np.array([reading.lengthwise]), np.array([reading.profile]))[0]
    arm = 5.0 * pen.unit / pen.scale
    for step in (np.array([arm, 0.0]), np.array([0.0, arm])):
        pen.line(np.array([here - step, here + step]), CENTRE, 1.3)


def _name_edges(pen: _Pen, tooth: ToothReading) -> None:
    """The words toe, heel, tip, root just outside the four edges, running along the tooth."""
    surface = _surface(tooth)
    gap = 9.0 * pen.unit / pen.scale
    off_l = (gap + 6.0 * pen.unit / pen.scale) / max(surface.length_px, 1.0)
    off_p = gap / max(surface.depth_px, 1.0)
    along = surface.to_photo(np.array([1.0]), np.array([0.5])) - surface.to_photo(
        np.array([0.0]), np.array([0.5])
    )
    angle = -math.degrees(math.atan2(along[0, 1], along[0, 0]))
    angle = (angle + 90.0) % 180.0 - 90.0
    places = {
        "TOE": (-off_l, 0.5),
        "HEEL": (1.0 + off_l, 0.5),
        "TIP": (0.5, 1.0 + off_p),
        "ROOT": (0.5, -off_p),
    }
    for text, (at_l, at_p) in places.items():
        pen.word(text, surface.to_photo(np.array([at_l]), np.array([at_p]))[0], 15.0, angle)


def _with_caption(pen: _Pen, reading: Reading) -> Image.Image:
    """The picture with a strip of words below."""
    font = _font(max(11, round(15.0 * pen.unit)))
    pad = round(8 * pen.unit)
    lines = _wrapped(caption(reading), font, pen.image.width - 2 * pad)
    step = round(20 * pen.unit)
    out = Image.new("RGB", (pen.image.width, pen.image.height + 2 * pad + step * len(lines)), SHADE)
    out.paste(pen.image, (0, 0))
    draw = ImageDraw.Draw(out)
    for number, text in enumerate(lines):
        draw.text((pad, pen.image.height + pad + number * step), text, font=font, fill=INK)
    return out


def caption(reading: Reading) -> str:
    """What the strip of words below the picture says."""
    if reading.status == "declined":
        return "Not read. " + " ".join(reason.message for reason in reading.reasons)
    numbers = (reading.lengthwise, reading.lengthwise_sd, reading.profile, reading.profile_sd)
    along, along_sd, up, up_sd = (100.0 * (n or 0.0) for n in numbers)
    count = len(reading.teeth)
    laid = sum("followed" in tooth.flags for tooth in reading.teeth)
    of_them = f", {laid} of them laid from those drawn by hand (dashed)" if laid else ""
    return (
        f"{reading.side} side, {count} {'tooth' if count == 1 else 'teeth'}{of_them}: "
        f"{along:.0f} ± {along_sd:.0f} % from toe to heel, "
        f"{up:.0f} ± {up_sd:.0f} % from root to tip"
    )


def _wrapped(text: str, font: ImageFont.FreeTypeFont, width: int) -> list[str]:
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and font.getlength(longer) <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


@lru_cache(maxsize=8)
def _font(size: int) -> ImageFont.FreeTypeFont:
    with resources.as_file(resources.files("pattern.report") / "fonts" / _FONT) as file:
        return ImageFont.truetype(str(file), size)
