"""The table that judges the reader is itself judged on cases worked by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pattern.reading.score import Known, corner_errors, score
from tests.reading.made import declined, reading, tooth


def _table(cases: list[tuple[Known, object]]) -> dict[str, float | None]:
    return {row.name: row.value for row in score(cases)}  # type: ignore[arg-type]


def test_shares_and_errors_are_those_worked_by_hand() -> None:
    good = Known(True, 0.40, 0.60)
    table = _table(
        [
            (good, reading(0.42, 0.60)),
            (good, reading(0.46, 0.63)),
            (good, declined()),
            (Known(False), declined()),
            (Known(False), reading()),
        ]
    )
    assert table["readable photos read"] == pytest.approx(200 / 3)
    assert table["bad photos accepted"] == 1.0
    assert table["lengthwise error, median"] == pytest.approx(0.04)
    assert table["profile error, median"] == pytest.approx(0.015)
    # errors 0.02, 0.06 against 2 x 0.02; 0.00, 0.03 against 2 x 0.03
    assert table["errors within two sd"] == pytest.approx(75.0)


def test_a_direction_is_wrong_only_when_the_truth_has_one() -> None:
    table = _table(
        [
            (Known(True, 0.30, 0.5), reading(0.55, 0.5)),
            (Known(True, 0.45, 0.5), reading(0.55, 0.5)),
            (Known(True, 0.70, 0.5), reading(0.70, 0.5)),
        ]
    )
    assert table["wrong directions"] == 1.0


def test_corners_are_measured_against_the_nearest_tooth() -> None:
    outline = tooth().outline
    known = Known(True, 0.4, 0.6, (outline + np.array([0, 300.0]), outline))
    moved = replace(reading(), teeth=(replace(tooth(), outline=outline + np.array([4.0, 0.0])),))
    errors = corner_errors(known, moved)
    assert errors == pytest.approx(np.full(4, 0.01), rel=0.02)


def test_nothing_read_leaves_dashes_not_zeros() -> None:
    rows = score([(Known(True, 0.4, 0.6), declined())])
    errors = next(row for row in rows if row.name == "lengthwise error, median")
    assert errors.value is None
    assert "-" in str(errors)
