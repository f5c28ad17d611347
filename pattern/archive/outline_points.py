"""A measured tooth's outline as the six points that a user drags and that a drawn outline is given by."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pattern.records import ToothReading

Points = tuple[tuple[float, float], ...]


def six_points(tooth: ToothReading) -> Points:
    """Toe-tip, middle of the tip edge, heel-tip, heel-root, middle of the root edge, toe-root; (x, y) px.

    As `pattern.teeth.given` takes them: the middles keep the bend of the long edges.
    """
    toe_tip, heel_tip, heel_root, toe_root = tooth.outline
    six = (
        toe_tip, _half_way(tooth.tip_edge), heel_tip,
        heel_root, _half_way(tooth.root_edge), toe_root,
    )  # fmt: skip
    return tuple((float(x), float(y)) for x, y in six)


def _half_way(edge: NDArray[np.float64]) -> NDArray[np.float64]:
    """The point of an edge, (n, 2) px from toe to heel, half way along the tooth."""
    at = np.linspace(0.0, 1.0, len(edge))
    return np.array([np.interp(0.5, at, edge[:, 0]), np.interp(0.5, at, edge[:, 1])])
