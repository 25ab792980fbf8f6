"""Do any of the groups differ: classic and Welch analysis of variance, Kruskal-Wallis."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analysis.statistics.summary import as_groups, mean_and_squares


@dataclass(frozen=True, slots=True)
class OneWay:
    """Classic one-way analysis of variance."""

    f: float
    p: float
    df_between: int
    df_within: int
    ss_between: float
    ss_within: float

    @property
    def ms_within(self) -> float:
        """Variance of like values."""
        return self.ss_within / self.df_within

    @property
    def residual_sd(self) -> float:
        """Scatter of like values."""
        return math.sqrt(self.ms_within)

    @property
    def eta_squared(self) -> float:
        """Share of the squares between groups (R squared); biased up."""
        return share_explained(self.ss_between, 0, 0.0, self.ss_between + self.ss_within)

    @property
    def omega_squared(self) -> float:
        """Share of variance that the grouping explains; 0 where the estimate is negative."""
        total = self.ss_between + self.ss_within
        return share_explained(self.ss_between, self.df_between, self.ms_within, total)


@dataclass(frozen=True, slots=True)
class Welch:
    """Welch's analysis of variance: groups of unequal spread."""

    f: float
    p: float
    df_between: float
    df_within: float


@dataclass(frozen=True, slots=True)
class KruskalWallis:
    """Ranks instead of values. ``h`` is corrected for ties, ``h_uncorrected`` is not."""

    h: float
    p: float
    df: int
    h_uncorrected: float
    tied: int  # values that share a rank with another


def share_explained(ss: float, df: float, ms_rest: float, ss_total: float) -> float:
    """Return omega squared, not below 0 (Hays); 0 where nothing varies."""
    below = ss_total + ms_rest
    return max(0.0, (ss - df * ms_rest) / below) if below > 0 else 0.0


def one_way(groups: Sequence[ArrayLike]) -> OneWay:
    """Return the classic analysis of variance (NIST e-Handbook 7.4.3.3), sums in two passes.

    Raises ValueError with fewer than two groups or no degrees of freedom inside them.
    """
    arrays = as_groups(groups)
    n = sum(x.size for x in arrays)
    between, within = len(arrays) - 1, n - len(arrays)
    if between < 1 or within < 1 or min(x.size for x in arrays) < 1:
        raise ValueError("an analysis of variance needs two groups and a repeat")
    offset = float(arrays[0][0])  # group means are compared after it is taken off
    parts = [mean_and_squares(x - offset) for x in arrays]
    centre = math.fsum(mean * x.size for (mean, _), x in zip(parts, arrays, strict=True)) / n
    ss_between = math.fsum(
        x.size * (mean - centre) ** 2 for (mean, _), x in zip(parts, arrays, strict=True)
    )
    ss_within = math.fsum(squares for _, squares in parts)
    f = _ratio(ss_between / between, ss_within / within)
    return OneWay(f, f_tail(f, between, within), between, within, ss_between, ss_within)


def welch(groups: Sequence[ArrayLike]) -> Welch:
    """Return Welch's test of equal means (Biometrika 38 (1951) 330). Two values a group at least.

    Raises ValueError when a group has fewer than two values or no spread at all.
    """
    arrays = as_groups(groups)
    k = len(arrays)
    if k < 2 or min(x.size for x in arrays) < 2:
        raise ValueError("Welch's test needs two groups of two values")
    n = np.array([x.size for x in arrays], dtype=np.float64)
    parts = [mean_and_squares(x) for x in arrays]
    means = np.array([mean for mean, _ in parts])
    variances = np.array([squares for _, squares in parts]) / (n - 1)
    if np.any(variances <= 0):
        raise ValueError("Welch's test needs some spread in every group")
    weights = n / variances
    total = weights.sum()
    centre = (weights * means).sum() / total
    slack = (((1 - weights / total) ** 2) / (n - 1)).sum()
    f = ((weights * (means - centre) ** 2).sum() / (k - 1)) / (1 + 2 * (k - 2) / (k**2 - 1) * slack)
    df = (k**2 - 1) / (3 * slack)
    return Welch(float(f), f_tail(float(f), k - 1, float(df)), k - 1, float(df))


def kruskal_wallis(groups: Sequence[ArrayLike]) -> KruskalWallis:
    """Return the Kruskal-Wallis test (NIST e-Handbook 7.4.1), with and without the tie correction.

    Raises ValueError when all values are the same or there are fewer than two groups.
    """
    from scipy import special

    arrays = as_groups(groups)
    values = np.concatenate(arrays)
    if len(arrays) < 2 or np.all(values == values[0]):
        raise ValueError("Kruskal-Wallis needs two groups and values that differ")
    n = values.size
    ranks, counts = _mid_ranks(values)
    edges = np.cumsum([x.size for x in arrays])[:-1]
    sums = math.fsum(part.sum() ** 2 / part.size for part in np.split(ranks, edges))
    plain = 12 / (n * (n + 1)) * sums - 3 * (n + 1)
    correction = 1 - float((counts**3 - counts).sum()) / (n**3 - n)
    h = plain / correction
    df = len(arrays) - 1
    tied = int(counts[counts > 1].sum())
    return KruskalWallis(h, float(special.chdtrc(df, h)), df, plain, tied)


def f_tail(f: float, df1: float, df2: float) -> float:
    """Return the chance of a larger F; 0 for infinite F."""
    from scipy import special

    return float(special.fdtrc(df1, df2, f)) if math.isfinite(f) else 0.0 if f > 0 else math.nan


def _ratio(above: float, below: float) -> float:
    if below > 0:
        return above / below
    return math.inf if above > 0 else math.nan


def _mid_ranks(values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    _, places, counts = np.unique(values, return_inverse=True, return_counts=True)
    last = np.cumsum(counts)
    return (last - (counts - 1) / 2)[places], counts
