"""One group of values: mean, spread and interval, summed so that large offsets cost no digits."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Interval = tuple[float, float]
NO_INTERVAL: Interval = (math.nan, math.nan)


@dataclass(frozen=True, slots=True)
class Summary:
    """A group of ``n`` values; what ``n`` does not allow is NaN."""

    n: int
    mean: float
    sd: float  # n - 1
    cov: float  # sd / mean
    ci95: Interval  # of the mean, Student's t
    geometric_mean: float  # NaN unless every value is above zero


def summarise(values: ArrayLike) -> Summary:
    """Return mean, SD, COV, 95 % t interval and geometric mean of ``values`` (n,), any unit."""
    x = np.asarray(values, dtype=np.float64)
    if not x.size:
        return Summary(0, math.nan, math.nan, math.nan, NO_INTERVAL, math.nan)
    mean, squares = mean_and_squares(x)
    sd = math.sqrt(squares / (x.size - 1)) if x.size > 1 else math.nan
    return Summary(
        n=int(x.size),
        mean=mean,
        sd=sd,
        cov=sd / mean if mean else math.nan,
        ci95=t_interval(mean, sd / math.sqrt(x.size), x.size - 1),
        geometric_mean=math.exp(math.fsum(np.log(x)) / x.size) if np.all(x > 0) else math.nan,
    )


def mean_and_squares(x: Floats) -> tuple[float, float]:
    """Return the mean and the sum of squared deviations of ``x`` (n,), in two passes.

    The first value is taken off before summing: deviations of values such as 1e12 + 0.3 keep the
    digits that the values themselves hold.
    """
    first = float(x[0])
    shifted = x - first
    centre = math.fsum(shifted) / x.size
    deviations = shifted - centre
    slip = math.fsum(deviations)
    return first + centre, math.fsum(deviations * deviations) - slip * slip / x.size


def t_interval(estimate: float, standard_error: float, df: float, level: float = 0.95) -> Interval:
    """Return ``estimate`` -+ t x ``standard_error``; NaN without degrees of freedom."""
    half = t_quantile(df, level) * standard_error
    return estimate - half, estimate + half


def t_quantile(df: float, level: float = 0.95) -> float:
    """Return the two-sided Student quantile of ``level``; NaN without degrees of freedom."""
    from scipy import special

    return float(special.stdtrit(df, 0.5 + level / 2)) if df > 0 else math.nan


def as_groups(groups: Sequence[ArrayLike]) -> list[Floats]:
    """Return every group as float64 (n,)."""
    return [np.asarray(group, dtype=np.float64) for group in groups]
