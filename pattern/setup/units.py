"""Units of the bench: inches and millimetres, pull-scale force and rotating torque.

Source: NIST SP 811, Appendix B. The inch, the pound-force and the kilogram-force are exact.
"""

from __future__ import annotations

import re
from typing import Literal

from pattern.records import MM_PER_IN

N_PER_LBF = 4.4482216152605
N_PER_KGF = 9.80665
NM_PER_LBF_IN = N_PER_LBF * MM_PER_IN / 1000.0
NM_PER_LBF_FT = NM_PER_LBF_IN * 12.0


def mm_from_in(length_in: float) -> float:
    """Inches to millimetres."""
    return length_in * MM_PER_IN


def in_from_mm(length_mm: float) -> float:
    """Millimetres to inches."""
    return length_mm / MM_PER_IN


def nm_from_lbf_in(torque_lbf_in: float) -> float:
    """Pound-force inches to newton metres."""
    return torque_lbf_in * NM_PER_LBF_IN


def lbf_in_from_nm(torque_nm: float) -> float:
    """Newton metres to pound-force inches."""
    return torque_nm / NM_PER_LBF_IN


# "0.006 to 0.010 in", "0.0083 in (± 0.0007)"; a field's name ends in _in without a space before it
_LENGTHS = re.compile(r"(?:(\d+\.\d+) to )?(\d+\.\d+) in\b(?: \(± (\d+\.\d+)\))?")


def told_in(sentence: str, units: Literal["in", "mm"]) -> str:
    """A sentence with lengths such as "0.004 in", told in `units`; what is kept stays in inches."""
    return sentence if units == "in" else _LENGTHS.sub(_in_mm, sentence)


def _in_mm(found: re.Match[str]) -> str:
    low, length, spread = (text and f"{mm_from_in(float(text)):.3f}" for text in found.groups())
    return f"{f'{low} to ' if low else ''}{length} mm{f' (± {spread})' if spread else ''}"
