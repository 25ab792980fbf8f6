"""From a difference and its interval to words: matters, does not, or cannot tell."""

import math
from dataclasses import dataclass
from enum import StrEnum

from analysis.groups import Level, level_words
from analysis.statistics.equivalence import of_pair
from analysis.statistics.pairwise import Difference
from analysis.statistics.sample_size import for_difference, for_equivalence, whole_pulls
from analysis.statistics.summary import NO_INTERVAL, Interval

ALPHA = 0.05
USUAL_PERCENT = 10.0  # taken, and said, when a person states no bound
NEARLY_NOTHING = 1 / 3  # of the bound: below this, "as good as" is the shorter way to an answer


class Verdict(StrEnum):
    """What a pair of levels comes to."""

    MATTERS = "matters"
    DOES_NOT = "does not"  # the difference lies within the bound
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, slots=True)
class Bound:
    """The largest difference that does not matter: a force, or a share of the mean."""

    force_n: float = math.nan
    percent: float = math.nan
    stated: bool = True  # by a person, before looking

    def newtons(self, mean_n: float) -> float:
        """Return the bound in N, where a percentage is of ``mean_n``."""
        return self.force_n if math.isfinite(self.force_n) else self.percent / 100 * abs(mean_n)

    @property
    def words(self) -> str:
        """As a person would state it."""
        if math.isfinite(self.force_n):
            return f"{self.force_n / 1000:.3g} kN"
        return f"{self.percent:g} %"


USUAL_BOUND = Bound(percent=USUAL_PERCENT, stated=False)


@dataclass(frozen=True, slots=True)
class PairVerdict:
    """Level ``a`` against level ``b``: difference a - b in N, and what it means."""

    a: Level
    b: Level
    difference_n: float
    ci95_n: Interval  # of this pair alone
    estimate: Difference | None  # None where no method may judge
    log_estimate: Difference | None  # the same pair of natural logarithms
    p_within_bound: float  # both one-sided tests against the bound
    share: float  # difference / mean of b
    verdict: Verdict
    sentence: str
    needed: int | None  # pulls per group in all that would settle it; None when settled
    more: int | None  # of which are still to be made

    @property
    def ci95_together_n(self) -> Interval:
        """Interval that holds, with those of all other pairs, at once."""
        return self.estimate.ci95_together if self.estimate else NO_INTERVAL

    @property
    def p(self) -> float:
        """Chance of so large a range among equal levels."""
        return self.estimate.p if self.estimate else math.nan

    @property
    def ratio(self) -> float:
        """Ratio a / b of typical forces (geometric means, boards and factors taken out)."""
        return math.exp(self.log_estimate.difference) if self.log_estimate else math.nan

    @property
    def ratio_ci95(self) -> Interval:
        """Interval of ``ratio``, this pair alone."""
        if self.log_estimate is None:
            return NO_INTERVAL
        low, high = self.log_estimate.ci95
        return math.exp(low), math.exp(high)


def judge(
    pair: Difference,
    log_pair: Difference | None,
    levels: tuple[Level, ...],
    means_n: tuple[float, ...],
    have: int,
    rest_sd_n: float,
    bound: Bound,
    bound_n: float,
) -> PairVerdict:
    """Return the verdict on ``pair``, whose smaller group has ``have`` pulls.

    It matters when zero lies outside the 95 % interval that holds for all pairs at once; it does
    not when the 90 % interval lies within the bound. A bound that a person stated comes first.
    """
    within = of_pair(pair, bound_n)
    apart, alike = pair.p < ALPHA, within < ALPHA
    if apart and not (alike and bound.stated):
        verdict = Verdict.MATTERS
    else:
        verdict = Verdict.DOES_NOT if alike else Verdict.CANNOT_TELL
    needed = more = None
    if verdict is Verdict.CANNOT_TELL:
        needed = pulls_to_settle(pair.difference, rest_sd_n, bound_n)
        needed = None if needed is None else max(needed, have + 1)
        more = None if needed is None else needed - have
    reference = means_n[pair.b]
    share = pair.difference / reference if reference else math.nan
    a, b = levels[pair.a], levels[pair.b]
    ci95 = pair.ci95
    size = _size(pair.difference, ci95, share)
    sentence = _sentence(a, b, size, verdict, bound, needed, more)
    return PairVerdict(
        a,
        b,
        pair.difference,
        ci95,
        pair,
        log_pair,
        within,
        share,
        verdict,
        sentence,
        needed,
        more,
    )


def untold(a: Level, b: Level, difference_n: float, why: str) -> PairVerdict:
    """Return a pair that no method may judge, and why."""
    words = f"{level_words(a)} against {level_words(b)}: cannot tell. {why}"
    verdict = Verdict.CANNOT_TELL
    return PairVerdict(
        a, b, difference_n, NO_INTERVAL, None, None, math.nan, math.nan, verdict, words, None, None
    )


def pulls_to_settle(difference: float, rest_sd: float, bound: float) -> int | None:
    """Return pulls per group with an 80 % chance of an answer (t tests at 5 %), or None.

    For a difference as large as the one seen, if it is real; where that is under a third of the
    bound, to show that it lies within the bound.
    """
    if not rest_sd > 0:
        return None
    if abs(difference) < bound * NEARLY_NOTHING:
        return whole_pulls(for_equivalence(bound / rest_sd, abs(difference) / rest_sd))
    return whole_pulls(for_difference(difference / rest_sd))


def _sentence(
    a: Level,
    b: Level,
    size: str,
    verdict: Verdict,
    bound: Bound,
    needed: int | None,
    more: int | None,
) -> str:
    head = f"{level_words(a)} against {level_words(b)}"
    if verdict is Verdict.MATTERS:
        return f"{head}: matters, {size}."
    if verdict is Verdict.DOES_NOT:
        source = "" if bound.stated else ", the usual bound as none was stated"
        return f"{head}: does not matter, {size}; within {bound.words}{source}."
    if needed is None:
        return f"{head}: cannot tell, {size}; no number of pulls in reach would settle it."
    return f"{head}: cannot tell, {size}; about {needed} per group would settle it ({more} more)."


def _size(difference_n: float, ci95_n: Interval, share: float) -> str:
    """The difference with its interval: as -+ where it is even, else by its ends."""
    low, high = (end / 1000 for end in ci95_n)
    gap = difference_n / 1000
    percent = f"{share:+.0%}" if abs(share) >= 0.005 else "0%"
    if abs(high + low - 2 * gap) < 0.02 * (high - low):
        return f"{gap:+.2f} \u00b1 {(high - low) / 2:.2f} kN ({percent})"
    return f"{gap:+.2f} kN, between {low:+.2f} and {high:+.2f} ({percent})"
