""" "As good as": a difference shown to lie inside a bound that was stated beforehand."""

import math
from dataclasses import dataclass

from analysis.statistics.pairwise import Difference, range_tail


@dataclass(frozen=True, slots=True)
class Equivalence:
    """Two one-sided tests: p above 5 % means "not shown", never "different"."""

    p: float
    t_lower: float
    t_upper: float
    df: float


def of_estimate(difference: float, standard_error: float, df: float, bound: float) -> Equivalence:
    """Return the two one-sided tests of a difference inside -+ ``bound`` (same unit).

    Source: Schuirmann, J. Pharmacokin. Biopharm. 15 (1987) 657.
    """
    from scipy import special

    lower = (difference + bound) / standard_error
    upper = (difference - bound) / standard_error
    p = max(float(special.stdtr(df, -lower)), float(special.stdtr(df, upper)))
    return Equivalence(p, lower, upper, df)


def of_pair(pair: Difference, bound: float) -> float:
    """Return p of the tests for one of several pairs, allowing for their number.

    It is below 5 % when the simultaneous 90 % interval lies inside -+ ``bound``; for two levels
    that is the plain pair of one-sided tests.
    """
    nearest = min(pair.t_against(-bound), -pair.t_against(bound))
    if math.isnan(nearest):
        return math.nan
    beyond = range_tail(abs(nearest) * math.sqrt(2), pair.levels, pair.df) / 2
    return beyond if nearest > 0 else 1 - beyond
