"""The low-end value of a group: 5 % of pulls are weaker, said with 75 % confidence (EN 14358)."""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from analysis.statistics.summary import summarise

#: EN 14358:2016 Table 1, k_s for the 5 % point at 75 % confidence (looked up second-hand).
TABLE_1 = {
    3: 3.15,
    5: 2.46,
    10: 2.10,
    15: 1.99,
    20: 1.93,
    30: 1.87,
    50: 1.81,
    100: 1.76,
    500: 1.69,
}
#: EN 14358:2016 3.2.2: the spread is not taken smaller than this share of the mean.
LEAST_COV = 0.05
FEWEST = 3
FEW = 10  # below this a low-end value says little
Z_5_PERCENT = 1.6448536269514722

Rule = Literal["table", "exact"]


@dataclass(frozen=True, slots=True)
class Characteristic:
    """A characteristic value, in the unit of the values, and how it was had."""

    value: float
    k_s: float
    rule: str  # which k_s, in words
    floored: bool  # the spread was raised to the least that the standard allows


def lognormal(values: ArrayLike, rule: Rule = "table") -> Characteristic:
    """Return exp(mean ln x - k_s s_y), s_y at least 0.05 (EN 14358:2016 3.2.2).

    ``rule``: "table" takes k_s of Table 1, for other n the next larger k_s, as the standard says;
    "exact" computes it. Raises ValueError below three values or at a value of zero or less.
    """
    x = _enough(values)
    if np.any(x <= 0):
        raise ValueError("a lognormal characteristic value needs values above zero")
    logs = summarise(np.log(x))
    spread = max(logs.sd, LEAST_COV)
    k_s, words = _factor(logs.n, rule)
    return Characteristic(math.exp(logs.mean - k_s * spread), k_s, words, logs.sd < LEAST_COV)


def table_factor(n: int) -> tuple[float, int]:
    """Return k_s of EN 14358:2016 Table 1 and the n of its row: the next larger k_s."""
    if n < FEWEST:
        raise ValueError("a characteristic value needs three pulls")
    row = max(size for size in TABLE_1 if size <= n)
    return TABLE_1[row], row


def exact_factor(n: int, confidence: float = 0.75) -> float:
    """Return the one-sided tolerance factor of the 5 % point (noncentral t, n - 1)."""
    from scipy import stats

    root = math.sqrt(n)
    return float(stats.nct.ppf(confidence, n - 1, Z_5_PERCENT * root)) / root


def rank_limit(values: ArrayLike, at_least: ArrayLike, confidence: float = 0.75) -> float | None:
    """Return a lower limit of the 5 % point that needs no distribution, or None.

    It is the r-th smallest value for the largest r with P(Bin(n, 0.05) <= r - 1) <= 1 - confidence
    (ASTM D2915, from memory). Pulls that ended whole (``at_least``, bool) may be in ``values`` as
    long as none of them is among the r smallest.
    """
    from scipy import special

    x = np.asarray(values, dtype=np.float64)
    whole = np.asarray(at_least, dtype=bool)
    rank = 0
    while rank < x.size and float(special.bdtr(rank, x.size, 0.05)) <= 1 - confidence:
        rank += 1
    order = np.argsort(x, kind="stable")[:rank]
    if not rank or whole[order].any():
        return None
    return float(x[order[-1]])


def _factor(n: int, rule: Rule) -> tuple[float, str]:
    if rule == "exact":
        return exact_factor(n), f"computed for n = {n}"
    k_s, row = table_factor(n)
    return k_s, f"EN 14358 Table 1, row n = {row}"


def _enough(values: ArrayLike) -> np.ndarray:
    x = np.asarray(values, dtype=np.float64)
    if x.size < FEWEST:
        raise ValueError("a characteristic value needs three pulls")
    return x
