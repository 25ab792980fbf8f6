"""Pulls sorted into groups by what was written down about the specimen, nothing lost on the way."""

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches

import numpy as np

from analysis.pull_result import Kind, PullResult
from analysis.statistics import censored, characteristic
from analysis.statistics.linear_model import ConfoundedError
from analysis.statistics.product_limit import product_limit
from analysis.statistics.sample_size import for_mean, whole_pulls
from analysis.statistics.summary import NO_INTERVAL, Interval, Summary, summarise
from daq.faults import InputFault

Level = str | float
USUAL_HALF_WIDTH = 0.10  # of the mean: what "well enough known" is taken to be


@dataclass(frozen=True, slots=True)
class Pull:
    """A pull that may count, with its level and board."""

    result: PullResult
    level: Level
    block: Level | None
    force_n: float  # adjusted when a rule was named

    @property
    def at_least(self) -> bool:
        """Whether the force is only a lower bound."""
        return self.result.censored


@dataclass(frozen=True, slots=True)
class Selection:
    """What came of sorting: pulls that may count, and everything that may not, counted."""

    by: str
    block: str | None
    levels: tuple[Level, ...]  # rising numbers, or names in order
    pulls: tuple[Pull, ...]
    invalid: Mapping[Level, int]
    no_level: int  # valid pulls without the key
    no_block: int  # valid pulls without the block key
    no_force: int  # pulls whose maximum could not be had

    def of(self, level: Level) -> list[Pull]:
        """Return the pulls of one level."""
        return [pull for pull in self.pulls if pull.level == level]


@dataclass(frozen=True, slots=True)
class Group:
    """One row of the table; forces in N, NaN where the pulls do not carry the figure."""

    level: Level
    n: int  # pulls that count: failures and those that ended whole
    n_at_least: int
    n_invalid: int
    n_partial: int
    mean_n: float  # with pulls that ended whole: of the censored normal fit
    sd_n: float
    cov: float
    ci95_n: Interval
    geometric_mean_n: float
    characteristic_n: float
    characteristic_rule: str  # or why there is none
    at_least_n: float  # with under three failures: the mean is at least this; else NaN
    median_n: float  # product limit; only where pulls ended whole
    needed_for_mean: int | None  # pulls to know the mean within 10 %
    modes: Mapping[str, int]
    forces_n: tuple[float, ...]
    whole: tuple[bool, ...]  # beside forces_n: ended whole

    @property
    def failures(self) -> int:
        """Pulls whose strength was seen."""
        return self.n - self.n_at_least

    @property
    def censored(self) -> bool:
        """Whether a pull of the group ended whole."""
        return self.n_at_least > 0


def sort_pulls(results: Sequence[PullResult], by: str, block: str | None = None) -> Selection:
    """Return the pulls sorted by the specimen entry ``by`` (and ``block``).

    Raises InputFault when no pull carries the key, naming the nearest one that is there.
    """
    for key in (by, block):
        if key is not None:
            _require_key(results, key)
    if block == by:
        raise InputFault(f'--block: "{by}" is what is compared; name another key, such as board.')
    valid = [result for result in results if result.valid]
    level_of = {id(result): level_at(result, by) for result in results}
    block_of = {id(result): level_at(result, block) if block else None for result in results}
    with_level = [result for result in valid if level_of[id(result)] is not None]
    with_force = [result for result in with_level if math.isfinite(result.max_force_n)]
    pulls = []
    for result in with_force:
        level = level_of[id(result)]
        if level is not None and (block is None or block_of[id(result)] is not None):
            pulls.append(Pull(result, level, block_of[id(result)], result.max_force_n))
    invalid = Counter(
        level
        for result in results
        if not result.valid and (level := level_of[id(result)]) is not None
    )
    seen = {pull.level for pull in pulls} | set(invalid)
    return Selection(
        by=by,
        block=block,
        levels=tuple(in_order(seen)),
        pulls=tuple(pulls),
        invalid=invalid,
        no_level=len(valid) - len(with_level),
        no_block=len(with_force) - len(pulls),
        no_force=len(with_level) - len(with_force),
    )


def level_at(result: PullResult, key: str) -> Level | None:
    """Return the entry ``key`` of a specimen: a number where it reads as one, None when empty."""
    entry = result.specimen.get(key)
    if entry is None or entry == "":
        return None
    try:
        number = float(entry)
    except ValueError:
        return str(entry).strip() or None
    return number if math.isfinite(number) else str(entry)


def in_order(levels: set[Level]) -> list[Level]:
    """Return numbers rising, then names in alphabetical order."""
    return sorted(
        levels,
        key=lambda at: (
            isinstance(at, str),
            at if isinstance(at, str) else "",
            0.0 if isinstance(at, str) else at,
        ),
    )


def level_words(level: Level) -> str:
    """Return a level as it is shown: 8.5 as "8.5", 8.0 as "8"."""
    return level if isinstance(level, str) else f"{level:.6g}"


def group_of(selection: Selection, level: Level) -> Group:
    """Return the row of one level."""
    pulls = selection.of(level)
    forces = tuple(pull.force_n for pull in pulls)
    whole = tuple(pull.at_least for pull in pulls)
    failures = len(pulls) - sum(whole)
    figures, lower = _figures(forces, whole)
    low_end, rule = _low_end(forces, whole)
    median = float("nan")
    if any(whole) and failures >= censored.FEWEST_FAILURES:
        median = product_limit(forces, whole).median
    modes = Counter(pull.result.mode for pull in pulls if pull.result.mode and not pull.at_least)
    needed = whole_pulls(for_mean(figures.cov, USUAL_HALF_WIDTH)) if figures.cov > 0 else None
    return Group(
        level=level,
        n=len(pulls),
        n_at_least=sum(whole),
        n_invalid=selection.invalid.get(level, 0),
        n_partial=sum(pull.result.kind is Kind.PARTIAL for pull in pulls),
        mean_n=figures.mean,
        sd_n=figures.sd,
        cov=figures.cov,
        ci95_n=figures.ci95,
        geometric_mean_n=figures.geometric_mean,
        characteristic_n=low_end,
        characteristic_rule=rule,
        at_least_n=lower,
        median_n=median,
        needed_for_mean=needed,
        modes=dict(modes),
        forces_n=forces,
        whole=whole,
    )


def _figures(forces: Sequence[float], whole: Sequence[bool]) -> tuple[Summary, float]:
    """Mean and spread, and the lower bound that stands in their place under three failures."""
    if not any(whole):
        return summarise(forces), math.nan
    unknown = Summary(len(forces), math.nan, math.nan, math.nan, NO_INTERVAL, math.nan)
    bound = math.fsum(forces) / len(forces)
    if len(forces) - sum(whole) < censored.FEWEST_FAILURES:
        return unknown, bound
    try:
        fitted = censored.fit(forces, whole)
        mean = float(fitted.coefficients[0])
        middle = math.nan
        if min(forces) > 0:
            middle = float(censored.fit(np.log(forces), whole).coefficients[0])
    except ConfoundedError:
        return unknown, bound
    return (
        Summary(
            len(forces),
            mean,
            fitted.sd,
            fitted.sd / mean,
            censored.mean_interval(fitted),
            math.exp(middle),
        ),
        math.nan,
    )


def _low_end(forces: Sequence[float], whole: Sequence[bool]) -> tuple[float, str]:
    if any(whole):
        ranked = characteristic.rank_limit(forces, whole)
        if ranked is None:
            return math.nan, "none: pulls ended whole, and too few failed for a limit by rank"
        return ranked, "by rank, no distribution, 75 % confidence"
    if len(forces) < characteristic.FEWEST:
        return math.nan, "none: fewer than three pulls"
    if min(forces) <= 0:
        return math.nan, "none: a maximum of zero or less"
    found = characteristic.lognormal(forces)
    floor = ", scatter raised to 5 %" if found.floored else ""
    return found.value, f"lognormal, k_s {found.k_s:g}, {found.rule}{floor}"


def _require_key(results: Sequence[PullResult], key: str) -> None:
    known = {name for result in results for name in result.specimen if name}
    if any(level_at(result, key) is not None for result in results):
        return
    near = get_close_matches(key, known, n=1)
    hint = f' The nearest key there is: "{near[0]}".' if near else ""
    there = ", ".join(sorted(known)) or "none at all"
    raise InputFault(f'No pull carries the specimen key "{key}".{hint} Keys recorded: {there}.')
