"""One comparison made ready to be read: verdicts, charts, groups, how it was worked out."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from analysis.cautions import ALARM
from analysis.comparison import Comparison, compare
from analysis.groups import Group, level_at, sort_pulls
from analysis.pull_result import PullResult
from analysis.questions import Question
from analysis.report import charts
from analysis.report.wording import (
    KILONEWTONS,
    NOTHING,
    ForceUnit,
    PairWords,
    headline,
    key_name,
    level_name,
    p_words,
    pair_words,
    percent,
)
from analysis.verdict import USUAL_BOUND, Bound, Verdict

#: Verdicts in the order of telling.
ORDER = (Verdict.MATTERS, Verdict.DOES_NOT, Verdict.CANNOT_TELL)


@dataclass(frozen=True, slots=True)
class Wish:
    """What a person asked for. ``bound``: the largest difference that does not matter."""

    by: tuple[str, ...] = ()
    block: str | None = None
    bound: Bound = USUAL_BOUND
    unit: ForceUnit = KILONEWTONS


@dataclass(frozen=True, slots=True, eq=False)
class Answer:
    """One comparison, ready to be set."""

    question: Question
    found: Comparison
    name: str  # of what is compared
    block: str
    title: str
    headline: str
    pairs: tuple[PairWords, ...]
    alarms: tuple[str, ...]
    cautions: tuple[str, ...]
    dots: str  # SVG
    differences: str  # SVG, "" where no pair could be judged
    groups: tuple[tuple[str, ...], ...]
    figures: tuple[str, ...]
    shares: tuple[tuple[str, float], ...]


def answer_to(ident: str, question: Question, results: Sequence[PullResult], wish: Wish) -> Answer:
    """Return the answer to a question. ``ident`` goes before the names in its charts.

    Raises InputFault where no valid pull carries a force.
    """
    found = compare(results, question.by, question.block, wish.bound)
    selection = sort_pulls(results, question.by, question.block)
    left_out = [
        (level, result.max_force_n)
        for result in results
        if not result.valid
        and math.isfinite(result.max_force_n)
        and (level := level_at(result, question.by)) is not None
    ]
    alarms = [words for words in found.warnings if words.startswith(ALARM)]
    return Answer(
        question=question,
        found=found,
        name=key_name(question.by),
        block=key_name(question.block or ""),
        title=key_name(question.by).capitalize(),
        headline=headline(found),
        pairs=tuple(
            pair_words(pair, found, wish.unit)
            for pair in sorted(found.pairs, key=lambda pair: ORDER.index(pair.verdict))
        ),
        alarms=tuple(words.removeprefix(ALARM) for words in alarms),
        cautions=tuple(words for words in found.warnings if words not in alarms),
        dots=charts.dots(found, selection.pulls, left_out, wish.unit, f"{ident}-dots"),
        differences=charts.differences(found, wish.unit, f"{ident}-differences"),
        groups=tuple(_group_row(found, group, wish.unit) for group in found.groups),
        figures=tuple(_figures(found, wish.unit)),
        shares=_shares(found),
    )


def _group_row(found: Comparison, group: Group, unit: ForceUnit) -> tuple[str, ...]:
    low, high = group.ci95_n
    spread = (high - low) / 2.0
    mean = unit.number(group.mean_n, spread)
    if math.isfinite(group.at_least_n):
        mean = f"≥\u202f{unit.number(group.at_least_n)}"
    ends = f"{unit.number(low, spread)} to {unit.number(high, spread)}"
    modes = ", ".join(
        f"{mode or 'not judged'} {count}" for mode, count in sorted(group.modes.items())
    )
    row = [
        level_name(found.by, group.level),
        str(group.n),
        str(group.n_at_least),
        str(group.n_invalid),
        mean,
        ends if math.isfinite(spread) else NOTHING,
        unit.number(group.sd_n, spread),
        percent(group.cov),
        unit.number(group.characteristic_n),
        str(group.needed_for_mean or NOTHING),
        modes or NOTHING,
    ]
    if unit.beside:
        row.insert(5, unit.own_number(group.mean_n, spread))
    return tuple(row)


def _figures(found: Comparison, unit: ForceUnit) -> list[str]:
    """Return how it was worked out, in sentences with the numbers a statistician asks for."""
    lines = [f"Model: {found.method}."]
    tests = [(key_name(found.by), found.anova), *found.other_tests]
    if found.block:
        tests.append((key_name(found.block), found.block_test))
    lines += [
        f"{name}: F = {test.f:.3g} on {test.df_between:g} and {test.df_within:.4g} degrees of "
        f"freedom, {p_words(test.p)}."
        for name, test in tests
        if test is not None
    ]
    if math.isfinite(found.rest_sd_n):
        lines.append(f"Scatter of like pulls (standard deviation): {unit.words(found.rest_sd_n)}.")
    if found.welch:
        lines.append(f"Welch: F = {found.welch.f:.3g}, {p_words(found.welch.p)}.")
    if found.kruskal_wallis:
        ranks = found.kruskal_wallis
        ties = f"{ranks.tied} values tied" if ranks.tied else "no ties"
        lines.append(f"By ranks (Kruskal-Wallis): H = {ranks.h:.3g}, {p_words(ranks.p)}, {ties}.")
    lines.append(_plateau(found, unit))
    rules = dict.fromkeys(group.characteristic_rule for group in found.groups)
    lines += [f"5 % low end: {rule}." for rule in rules]
    return [*filter(None, lines), *found.adjustments]


def _plateau(found: Comparison, unit: ForceUnit) -> str:
    broken = found.plateau
    if broken is None:
        return ""
    if not broken.identified:
        return f"Break of force against {key_name(found.by)}: {broken.words}."
    low, high = broken.break_ci95
    return (
        f"Break of force against {key_name(found.by)}: flat at {unit.words(broken.level)} up to "
        f"{broken.break_at:.2f} mm ({low:.2f} to {high:.2f}), then "
        f"{unit.words(broken.slope, sign=True)} per mm."
    )


def _shares(found: Comparison) -> tuple[tuple[str, float], ...]:
    share = found.variance_share
    if share is None:
        return ()
    parts = [(key_name(found.by), share.factor)]
    if found.block:
        parts.append((key_name(found.block), share.block))
    if share.other > 0:
        parts.append(("other factors", share.other))
    return (*parts, ("rest: like pulls", share.rest))
