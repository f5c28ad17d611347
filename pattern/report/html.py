"""The record as one HTML file that needs nothing else: pictures and drawings are inside it."""

from __future__ import annotations

import base64
from html import escape

from pattern.jobs import FiledPhoto, Job
from pattern.report.content import RollBlock, Sheet, job_content
from pattern.report.look import COAST, DRIVE, GROUND, INK, LINE, SOFT, WARN
from pattern.report.measures import Measures, Units
from pattern.report.pictures import Original, picture

_STYLE = f"""
:root {{ color-scheme: light; }}
body {{ font: 15px/1.45 "DejaVu Sans", "Segoe UI", Roboto, Helvetica, Arial, sans-serif;
  color: {INK}; background: #fff; margin: 0 auto; padding: 1.2rem; max-width: 62rem; }}
h1 {{ font-size: 1.7rem; margin: 0; }}
h2 {{ font-size: 1.05rem; margin: 0 0 .3rem; }}
header p, footer {{ color: {SOFT}; margin: .1rem 0 1rem; }}
header {{ border-bottom: 1px solid {LINE}; margin-bottom: 1rem; }}
.columns {{ display: grid; grid-template-columns: repeat(auto-fit, minmax(20rem, 1fr)); gap: 1.2rem; }}
dl {{ display: grid; grid-template-columns: 38% 1fr; gap: .1rem .6rem; margin: 0; }}
dt {{ color: {SOFT}; }} dd {{ margin: 0; overflow-wrap: anywhere; }}
svg {{ width: 100%; height: auto; }}
.roll {{ margin-top: 1.4rem; break-inside: avoid; }}
.roll h2 {{ background: {GROUND}; padding: .3rem .5rem; }}
.roll .columns {{ grid-template-columns: repeat(auto-fit, minmax(16rem, 1fr)); }}
figure {{ margin: 0; }} img {{ max-width: 100%; display: block; }}
figcaption {{ font-weight: 600; font-size: .85rem; }}
.drive {{ color: {DRIVE}; }} .coast {{ color: {COAST}; }}
.struck {{ color: {WARN}; font-weight: 700; }}
.advice p {{ margin: .15rem 0; }} .advice p:first-child {{ font-weight: 700; margin-top: .5rem; }}
.caution {{ border: 2px solid {WARN}; padding: .6rem .9rem; margin: 1.4rem 0; }}
.caution h2 {{ color: {WARN}; }} .caution p {{ margin: .2rem 0; }}
table {{ border-collapse: collapse; font-size: .8rem; width: 100%; }}
th, td {{ text-align: left; padding: .1rem .6rem .1rem 0; vertical-align: top; }}
td:last-child {{ font-family: "DejaVu Sans Mono", Menlo, Consolas, monospace; overflow-wrap: anywhere; }}
"""


def job_html(job: Job, original: Original, *, units: Units = "in") -> str:
    """The job's record as HTML. `original` gives a photo's bytes by its SHA-256."""
    content = job_content(job, Measures(units))
    sheets = [_sheet(sheet) for sheet in content.sheets]
    if content.backlash:
        sheets.append(f"<section>{content.backlash}</section>")
    return "\n".join(
        (
            "<!doctype html>",
            '<html lang="en"><head><meta charset="utf-8">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            f"<title>{escape(content.title)}</title><style>{_STYLE}</style></head><body>",
            f"<header><h1>{escape(content.title)}</h1><p>{escape(content.subtitle)}</p></header>",
            f'<div class="columns">{"".join(sheets)}</div>',
            f'<div class="columns">{"".join(content.teeth)}</div>',
            *(_roll(block, original) for block in content.rolls),
            f'<div class="columns roll">{"".join(map(_sheet, content.closing))}</div>',
            '<section class="caution"><h2>Caution</h2>',
            *(f"<p>{escape(line)}</p>" for line in content.cautions),
            "</section>",
            _hashes(content.hashes),
            f"<footer><p>{escape(content.footer)}</p></footer></body></html>",
        )
    )


def _sheet(sheet: Sheet) -> str:
    notes = f"<p>{escape(sheet.notes)}</p>" if sheet.notes else ""
    return f"<section><h2>{escape(sheet.title)}</h2>{_facts(sheet.rows)}{notes}</section>"


def _facts(rows: tuple[tuple[str, str], ...]) -> str:
    told = "".join(f"<dt>{escape(label)}</dt><dd>{escape(value)}</dd>" for label, value in rows)
    return f"<dl>{told}</dl>"


def _roll(block: RollBlock, original: Original) -> str:
    struck = f'<p class="struck">Struck out: {escape(block.struck)}</p>' if block.struck else ""
    advice = "".join(f"<p>{escape(line)}</p>" for line in block.advice)
    figures = "".join(_figure(photo, original) for photo in block.photos)
    return (
        f'<section class="roll"><h2>{escape(block.title)}</h2><div class="columns">'
        f'<div>{struck}{_facts(block.rows)}<div class="advice">{advice}</div></div>'
        f"{figures}</div></section>"
    )


def _figure(photo: FiledPhoto, original: Original) -> str:
    data = picture(photo, original)
    if data is None:
        shown = f'<p class="struck">cannot be shown ({photo.sha256[:12]})</p>'
    else:
        words = f"{photo.side} side, {photo.name}, with its reading drawn on"
        encoded = base64.b64encode(data).decode()
        shown = f'<img alt="{escape(words)}" src="data:image/jpeg;base64,{encoded}">'
    by_hand = ", corrected by hand" if photo.corrected else ""
    return (
        f'<figure>{shown}<figcaption class="{photo.side}">{photo.side}{by_hand} · '
        f"{escape(photo.name)}</figcaption></figure>"
    )


def _hashes(hashes: tuple[tuple[str, str, str, str], ...]) -> str:
    if not hashes:
        return ""
    rows = "".join(
        "<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in row) + "</tr>" for row in hashes
    )
    head = "<tr><th>Roll</th><th>Side</th><th>Photo</th><th>SHA-256</th></tr>"
    return f"<section><h2>Photos on record</h2><table>{head}{rows}</table></section>"
