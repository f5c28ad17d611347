"""Small real pictures, with and without a place in them."""

from __future__ import annotations

import io

import numpy as np
from PIL import Image

GPS = {1: "N", 2: (48.0, 12.0, 30.5), 3: "E", 4: (11.0, 34.0, 12.25), 29: "2026:05:04"}
XMP = (
    b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
    b'<rdf:Description xmlns:exif="http://ns.adobe.com/exif/1.0/" '
    b'xmlns:photoshop="http://ns.adobe.com/photoshop/1.0/" exif:GPSLatitude="48,12.508N" '
    b'photoshop:City="Hometown" exif:FNumber="18/10"><exif:GPSLongitude>11,34.204E</exif:GPSLongitude>'
    b"</rdf:Description></rdf:RDF></x:xmpmeta>"
)


def pixels(seed: int = 0, size: tuple[int, int] = (96, 64)) -> Image.Image:
    chance = np.random.default_rng(seed)
    return Image.fromarray(chance.integers(0, 255, (size[1], size[0], 3), np.uint8))


def exif(*, gps: bool = True, orientation: int = 1) -> Image.Exif:
    block = Image.Exif()
    block[0x010F], block[0x0110] = "Nobody", "A phone"
    block[0x0112] = orientation
    block.get_ifd(0x8769)[0x9003] = "2026:05:04 10:11:12"
    if gps:
        block.get_ifd(0x8825).update(GPS)
    return block


def jpeg(seed: int = 0, *, gps: bool = False, xmp: bool = False, orientation: int = 1) -> bytes:
    return encoded("JPEG", seed, gps=gps, xmp=xmp, orientation=orientation)


def encoded(
    kind: str, seed: int = 0, *, gps: bool = True, xmp: bool = False, orientation: int = 1
) -> bytes:
    out = io.BytesIO()
    block = exif(gps=gps, orientation=orientation)
    if kind == "HEIF":
        import pillow_heif

        pillow_heif.register_heif_opener()
        pixels(seed).save(out, "HEIF", exif=block.tobytes(), **({"xmp": XMP} if xmp else {}))
        return out.getvalue()
    if kind == "PNG":
        from PIL.PngImagePlugin import PngInfo

        info = PngInfo()
        if xmp:
            info.add_itxt("XML:com.adobe.xmp", XMP.decode())
        pixels(seed).save(out, "PNG", exif=block, pnginfo=info)
        return out.getvalue()
    pixels(seed).save(out, kind, exif=block.tobytes(), **({"xmp": XMP} if xmp else {}))
    return out.getvalue()


def place(data: bytes) -> dict[int, object]:
    """The GPS directory as Pillow reads it."""
    with Image.open(io.BytesIO(data)) as image:
        return dict(image.getexif().get_ifd(0x8825))
