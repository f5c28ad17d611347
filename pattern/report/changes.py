"""How readings changed between two readers: a page with the numbers and the largest changes as pictures."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from html import escape

from pattern.jobs import ChangedReading, FiledPhoto, ReadingChanges
from pattern.records import Reading
from pattern.report.look import INK, LINE, SOFT, WARN
from pattern.report.pictures import Original, picture

_STYLE = f"""
:root {{ color-scheme: light; }}
body {{ font: 15px/1.45 "DejaVu Sans", "Segoe UI", Roboto, Helvetica, Arial, sans-serif;
  color: {INK}; background: #fff; margin: 0 auto; padding: 1.2rem; max-width: 70rem; }}
h1 {{ font-size: 1.5rem; margin: 0 0 .3rem; }} h2 {{ font-size: 1.05rem; margin: 1.6rem 0 .3rem; }}
p {{ color: {SOFT}; margin: .1rem 0 1rem; }}
table {{ border-collapse: collapse; }}
td {{ border-bottom: 1px solid {LINE}; padding: .2rem 1.2rem .2rem 0; vertical-align: top; }}
td:last-child {{ font-variant-numeric: tabular-nums; white-space: nowrap; }}
.pair {{ display: grid; grid-template-columns: repeat(auto-fit, minmax(20rem, 1fr)); gap: .8rem; }}
section {{ break-inside: avoid; }} figure {{ margin: 0; }} img {{ width: 100%; display: block; }}
figcaption {{ font-weight: 600; font-size: .85rem; }} .lost {{ color: {WARN}; }}
"""


def changes_lines(changes: ReadingChanges) -> list[tuple[str, str]]:
    """The numbers in words, as (what, value). Changes are in shares of the tooth."""
    lines = [
        ("photos that both readers looked at", str(changes.photos)),
        ("read by both", str(changes.both_read)),
        ("read now, declined before", str(changes.gained)),
        ("declined now, read before", str(changes.lost)),
    ]
    for name, spread in (("toe to heel", changes.lengthwise), ("root to tip", changes.profile)):
        if spread is not None:
            value = f"{spread[0]:.3f} / {spread[1]:.3f}"
            lines.append((f"change {name}, median / 95th percentile", value))
    if changes.both_read:
        lines += [
            ("changed by more than two stated spreads", str(changes.beyond_spread)),
            ("now on the other half of the tooth, off its middle", str(changes.turned)),
        ]
    if changes.hand_before is not None and changes.hand_after is not None:
        value = f"{changes.hand_before:.3f} / {changes.hand_after:.3f}"
        what = f"distance from the reading by hand, median of {changes.by_hand}, before / now"
        lines.append((what, value))
    return lines


def changes_html(changes: ReadingChanges, original: Original) -> str:
    """The page as one HTML file. `original` gives a photo's bytes by its SHA-256."""
    rows = "".join(
        f"<tr><td>{escape(what)}</td><td>{escape(value)}</td></tr>"
        for what, value in changes_lines(changes)
    )
    return "\n".join(
        (
            "<!doctype html>",
            '<html lang="en"><head><meta charset="utf-8">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            f"<title>Readings that changed</title><style>{_STYLE}</style></head><body>",
            "<h1>Readings that changed</h1>",
            f"<p>From {escape(changes.before)} to {escape(changes.after)}. "
            "Changes are in shares of the tooth.</p>",
            f"<table>{rows}</table>",
            *_pairs(changes.largest, original),
            "</body></html>",
        )
    )


def _pairs(largest: Sequence[ChangedReading], original: Original) -> list[str]:
    return [_pair(number, change, original) for number, change in enumerate(largest, start=1)]


def _pair(number: int, change: ChangedReading, original: Original) -> str:
    title = (
        f"{number}. {change.job_id}, roll {change.roll}, {change.after.side} side, {change.name}"
    )
    shots = [("before", change.before), ("now", change.after)]
    if change.by_hand is not None:
        shots.append(("by hand", change.by_hand))
    figures = "".join(_figure(change, name, reading, original) for name, reading in shots)
    return (
        f"<section><h2>{escape(title)}</h2><p>{escape(change_in_words(change))}</p>"
        f'<div class="pair">{figures}</div></section>'
    )


def change_in_words(change: ChangedReading) -> str:
    """What became of one photo, in a line."""
    if change.distance is None:
        now_read = change.after.status == "read"
        reasons = (change.before if now_read else change.after).reasons
        why = ", ".join(reason.code for reason in reasons)
        return f"read now, declined before ({why})" if now_read else f"declined now ({why})"
    parts = [
        f"{name} {getattr(change.before, axis):.2f} → {getattr(change.after, axis):.2f}"
        for name, axis in (("toe to heel", "lengthwise"), ("root to tip", "profile"))
    ]
    return f"moved by {change.distance:.2f}: " + ", ".join(parts)


def _figure(change: ChangedReading, name: str, reading: Reading, original: Original) -> str:
    shot = FiledPhoto(
        change.position, change.name, change.sha256, reading.side, change.size_bytes, reading
    )
    data = picture(shot, original, long_side_px=760)
    if data is None:
        return f'<p class="lost">{escape(name)}: cannot be shown ({change.sha256[:12]})</p>'
    words = f"{change.name}, {name}, with its reading drawn on"
    encoded = base64.b64encode(data).decode()
    return (
        f"<figure><figcaption>{escape(name)}</figcaption>"
        f'<img alt="{escape(words)}" src="data:image/jpeg;base64,{encoded}"></figure>'
    )
