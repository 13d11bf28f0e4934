"""The discard rules over many cells at once, in numpy: rows are cells, columns passes.

Which pass of each row stands out by a rule, or -1. That they are the same rules is checked in
``discards``: there the package's own are asked about some of the rows.
"""

from __future__ import annotations

from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from harness.rules.critical_values import MODIFIED_Z, TUKEY, critical
from harness.rules.dixon import dixon_critical
from harness.rules.outliers import grubbs_critical

Cells = NDArray[np.float64]
Places = NDArray[np.intp]


class Look(Protocol):
    """A rule: the place of the outlier in each row, or -1."""

    def __call__(self, cells: Cells, /, *, alpha: float = 0.05) -> Places:
        """Return the places."""


def _where(distances: Cells, allowed: float) -> Places:
    places: Places = distances.argmax(axis=1)
    most = np.take_along_axis(distances, places[:, np.newaxis], axis=1)[:, 0]
    return np.where(most > allowed, places, -1)


def grubbs(cells: Cells, *, alpha: float = 0.05, sides: int = 2) -> Places:
    """Return the place of the outlier in each row by Grubbs' test."""
    away = cells - cells.mean(axis=1, keepdims=True)
    distances = (np.abs(away) if sides == 2 else away) / cells.std(axis=1, ddof=1, keepdims=True)
    return _where(distances, grubbs_critical(cells.shape[1], alpha=alpha, sides=sides))


def dixon(cells: Cells, *, alpha: float = 0.05) -> Places:
    """Return the place of the outlier in each row by Dixon's ratio r10."""
    order = np.argsort(cells, axis=1)
    ordered = np.take_along_axis(cells, order, axis=1)
    width = ordered[:, -1] - ordered[:, 0]
    low = (ordered[:, 1] - ordered[:, 0]) / width
    high = (ordered[:, -1] - ordered[:, -2]) / width
    place = np.where(high > low, order[:, -1], order[:, 0])
    found = np.maximum(low, high) > dixon_critical(cells.shape[1], alpha=alpha)
    return np.where(found, place, -1)


def modified_z(cells: Cells, *, alpha: float = 0.05) -> Places:
    """Return the place of the outlier in each row by the modified z score."""
    away = np.abs(cells - np.median(cells, axis=1, keepdims=True))
    scores = 0.6745 * away / np.median(away, axis=1, keepdims=True)
    return _where(scores, critical(MODIFIED_Z, cells.shape[1], alpha=alpha))


def tukey(cells: Cells, *, alpha: float = 0.05) -> Places:
    """Return the place of the outlier in each row by quartile distances."""
    low, high = np.quantile(cells, [0.25, 0.75], axis=1)[:, :, np.newaxis]
    beyond = np.maximum(low - cells, cells - high) / (high - low)
    return _where(beyond, critical(TUKEY, cells.shape[1], alpha=alpha))


def spread(cells: Cells, *, more_than: float = 0.03) -> Places:
    """Return the place of the pass of each row too far from the median of the others."""
    n = cells.shape[1]
    shares = np.empty_like(cells)
    for place in range(n):
        middle = np.median(np.delete(cells, place, axis=1), axis=1)
        shares[:, place] = np.abs(cells[:, place] / middle - 1.0)
    return _where(shares, more_than)


def esd_any(cells: Cells, *, most: int, alpha: float = 0.05) -> NDArray[np.bool_]:
    """Return for each row whether Rosner's test finds any outlier, at alpha over its tests."""
    left = cells
    found = np.zeros(len(cells), dtype=bool)
    for _ in range(min(most, cells.shape[1] - 3)):
        n = left.shape[1]
        distances = np.abs(left - left.mean(axis=1, keepdims=True))
        distances /= left.std(axis=1, ddof=1, keepdims=True)
        places = distances.argmax(axis=1)
        found |= distances.max(axis=1) > grubbs_critical(n, alpha=alpha / most)
        keep = np.ones(left.shape, dtype=bool)
        keep[np.arange(len(left)), places] = False
        left = left[keep].reshape(len(left), n - 1)
    return found


#: The statistical rules that single out one pass, by the name a plan gives them.
LOOKS: dict[str, Look] = {
    "grubbs": grubbs,
    "dixon": dixon,
    "modified-z": modified_z,
    "tukey": tukey,
}
