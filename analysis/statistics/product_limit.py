"""Pulls that ended whole, without a distribution: the share still holding at each force."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analysis.statistics.summary import Floats


@dataclass(frozen=True, slots=True, eq=False)
class ProductLimit:
    """Steps of the share that holds more than each failure force (Kaplan and Meier, 1958)."""

    force: Floats  # (m,) distinct failures, rising
    holding: Floats  # (m,) share that holds more
    at_risk: Floats  # (m,) pulls that reached this force
    failed: Floats  # (m,) pulls that failed at it

    @property
    def median(self) -> float:
        """Force that half of the pulls hold; NaN when fewer than half failed."""
        below = np.flatnonzero(self.holding <= 0.5 + 1e-12)
        return float(self.force[below[0]]) if below.size else math.nan


def product_limit(values: ArrayLike, at_least: ArrayLike) -> ProductLimit:
    """Return the product-limit estimate for ``values`` (n,), lower bounds marked in ``at_least``.

    A pull that ended whole at a failure force counts as having reached it.
    """
    y, whole = np.asarray(values, dtype=np.float64), np.asarray(at_least, dtype=bool)
    force, counts = np.unique(y[~whole], return_counts=True)
    at_risk = np.array([(y >= step).sum() for step in force], dtype=np.float64)
    failed = np.asarray(counts, dtype=np.float64)
    holding = np.asarray(np.cumprod(1 - failed / at_risk), dtype=np.float64)
    return ProductLimit(force, holding, at_risk, failed)
