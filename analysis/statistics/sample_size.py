"""How many pulls would settle it: for a mean, for a difference, for "as good as"."""

import math
from collections.abc import Callable

import numpy as np

ALPHA = 0.05
POWER = 0.80
MOST = 100_000.0
PLAIN_TO_SEE = 30.0  # SDs: beyond it two pulls a group suffice


def for_mean(cov: float, half_width: float) -> float:
    """Return the n at which the 95 % interval of a mean is -+ ``half_width`` (a share of the mean).

    Iterated n = (t COV / alpha)^2 (ASTM D2915, from memory); not rounded. NaN when out of reach.
    """
    from scipy import special

    return _smallest(
        lambda n: half_width - float(special.stdtrit(n - 1, 0.975)) * cov / math.sqrt(n)
    )


def power_of_difference(effect: float, n: float, alpha: float = ALPHA) -> float:
    """Return the chance that a two-sided t test of two groups of ``n`` sees ``effect`` (in SDs)."""
    from scipy import special, stats

    df = 2 * n - 2
    edge = float(special.stdtrit(df, 1 - alpha / 2))
    shift = min(abs(effect), PLAIN_TO_SEE) * math.sqrt(n / 2)
    # From 7.75 on SciPy's lower tail is NaN here and there; it is below 1e-12 from 5 on.
    wrong_way = float(stats.nct.cdf(-edge, df, shift)) if shift < 5 else 0.0
    return float(stats.nct.sf(edge, df, shift)) + wrong_way


def for_difference(effect: float, power: float = POWER, alpha: float = ALPHA) -> float:
    """Return n per group, not rounded, to see ``effect`` (in SDs); NaN when out of reach."""
    if not effect:
        return math.nan
    return _smallest(lambda n: power_of_difference(effect, n, alpha) - power)


def power_of_equivalence(bound: float, effect: float, n: float, alpha: float = ALPHA) -> float:
    """Return the chance that both one-sided t tests show a difference inside -+ ``bound``.

    ``bound`` and the true difference ``effect`` in SDs, two groups of ``n``; integrated over the
    spread that the pulls may happen to show.
    """
    from scipy import special

    df = 2 * n - 2
    share = (np.arange(400) + 0.5) / 400
    spread = np.sqrt(2 * special.gammaincinv(df / 2, share) / df)  # s / sigma
    root = math.sqrt(n / 2)
    slack = float(special.stdtrit(df, 1 - alpha)) * spread
    room = special.ndtr((bound - effect) * root - slack) - special.ndtr(
        (-bound - effect) * root + slack
    )
    return float(np.maximum(room, 0.0).mean())


def for_equivalence(bound: float, effect: float = 0.0, power: float = POWER) -> float:
    """Return n per group, not rounded, to show "as good as"; NaN when out of reach."""
    if abs(effect) >= bound:
        return math.nan
    return _smallest(lambda n: power_of_equivalence(bound, effect, n) - power)


def whole_pulls(n: float) -> int | None:
    """Return ``n`` rounded up to whole pulls, two at least; None for NaN."""
    return max(2, math.ceil(n - 1e-9)) if math.isfinite(n) else None


def _smallest(gain: Callable[[float], float]) -> float:
    """Return the n from 2 on where the rising ``gain`` crosses zero; NaN when it never does."""
    from scipy import optimize

    low, high = 2.0, 4.0
    if gain(low) >= 0:
        return low
    while gain(high) < 0:
        low, high = high, high * 2
        if high > MOST:
            return math.nan
    return float(optimize.brentq(gain, low, high, xtol=1e-7))
