"""The difference of every two levels, each with an interval of its own and one for all together."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from analysis.statistics.summary import (
    Floats,
    Interval,
    as_groups,
    mean_and_squares,
    t_quantile,
)


@dataclass(frozen=True, slots=True)
class Difference:
    """Level ``a`` minus level ``b`` (places in the list of levels)."""

    a: int
    b: int
    difference: float
    standard_error: float
    df: float
    levels: int  # how many levels were compared together

    @property
    def ci95(self) -> Interval:
        """Interval of this difference alone."""
        return self.reach(t_quantile(self.df))

    @property
    def ci95_together(self) -> Interval:
        """Interval that, with those of all other pairs, holds at once in 95 % of campaigns."""
        return self.together(0.95)

    @property
    def p(self) -> float:
        """Chance of so large a range among equal levels (studentized range)."""
        return range_tail(math.sqrt(2) * abs(self.t_against(0.0)), self.levels, self.df)

    def together(self, level: float) -> Interval:
        """Return the simultaneous interval at ``level``."""
        return self.reach(range_quantile(level, self.levels, self.df) / math.sqrt(2))

    def t_against(self, supposed: float) -> float:
        """Return how many standard errors the difference lies above a ``supposed`` one."""
        gap = self.difference - supposed
        if self.standard_error > 0:
            return gap / self.standard_error
        return math.copysign(math.inf, gap) if gap else 0.0

    def reach(self, t: float) -> Interval:
        """Return the differences that lie within ``t`` standard errors."""
        return self.difference - t * self.standard_error, self.difference + t * self.standard_error


def from_estimates(estimates: Floats, covariance: Floats, df: float) -> tuple[Difference, ...]:
    """Return the Tukey-Kramer differences of level means (k,) with covariance (k, k).

    The common spread has ``df`` degrees of freedom. Source: NIST e-Handbook 7.4.7.1; Kramer,
    Biometrics 12 (1956) 307 for unequal numbers. The later level stands first.
    """
    found = []
    for a, b in every_pair(len(estimates)):
        variance = float(covariance[a, a] + covariance[b, b] - 2 * covariance[a, b])
        error = math.sqrt(max(variance, 0.0))
        found.append(
            Difference(a, b, float(estimates[a] - estimates[b]), error, df, len(estimates))
        )
    return tuple(found)


def games_howell(groups: Sequence[ArrayLike]) -> tuple[Difference, ...]:
    """Return the differences of groups with a spread of their own (Welch's degrees of freedom).

    Source: Games and Howell, J. Educ. Stat. 1 (1976) 113. Raises ValueError for a group of one.
    """
    arrays = as_groups(groups)
    if min(x.size for x in arrays) < 2:
        raise ValueError("Games-Howell needs two values in every group")
    parts = [mean_and_squares(x) for x in arrays]
    shares = [
        squares / (x.size - 1) / x.size for (_, squares), x in zip(parts, arrays, strict=True)
    ]
    found = []
    for a, b in every_pair(len(arrays)):
        variance = shares[a] + shares[b]
        below = shares[a] ** 2 / (arrays[a].size - 1) + shares[b] ** 2 / (arrays[b].size - 1)
        df = variance**2 / below if below > 0 else arrays[a].size + arrays[b].size - 2.0
        gap = parts[a][0] - parts[b][0]
        found.append(Difference(a, b, gap, math.sqrt(variance), df, len(arrays)))
    return tuple(found)


@lru_cache(maxsize=4096)
def range_quantile(level: float, levels: int, df: float) -> float:
    """Return the studentized range quantile; with two levels it is sqrt(2) t."""
    from scipy import special

    if df <= 0:
        return math.nan
    if levels == 2:
        return math.sqrt(2) * float(special.stdtrit(df, 0.5 + level / 2))
    from scipy import stats

    return float(stats.studentized_range.ppf(level, levels, df))


@lru_cache(maxsize=4096)
def range_tail(q: float, levels: int, df: float) -> float:
    """Return the chance of a studentized range above ``q``."""
    from scipy import special

    if df <= 0 or math.isnan(q):
        return math.nan
    if math.isinf(q):
        return 0.0
    if levels == 2:
        return 2 * float(special.stdtr(df, -q / math.sqrt(2)))
    from scipy import stats

    return float(np.clip(stats.studentized_range.sf(q, levels, df), 0.0, 1.0))


def every_pair(levels: int) -> list[tuple[int, int]]:
    """Return every two places of ``levels``, the later one first."""
    return [(a, b) for b in range(levels) for a in range(b + 1, levels)]
