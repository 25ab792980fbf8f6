"""Does the factor matter? One function from pull results to a frozen answer."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.cautions import cautions, one_board_apart
from analysis.group_model import EffectTest, GroupModel, VarianceShare, build
from analysis.groups import Group, Selection, group_of, level_at, sort_pulls
from analysis.pull_result import PullResult
from analysis.statistics import adjustment, linear_model, one_way, plateau
from analysis.statistics.censored import FEWEST_FAILURES
from analysis.statistics.one_way import KruskalWallis, Welch
from analysis.statistics.plateau import Plateau
from analysis.verdict import USUAL_BOUND, Bound, PairVerdict, judge, untold
from daq.faults import InputFault

PILOT = "pilot_mm"


@dataclass(frozen=True, slots=True, eq=False)
class Comparison:
    """The answer to "does it matter". Forces in N; None where the pulls do not carry the figure."""

    by: str
    block: str | None
    method: str
    groups: tuple[Group, ...]
    anova: EffectTest | None  # the factor, boards and other factors taken out
    block_test: EffectTest | None
    other_tests: tuple[tuple[str, EffectTest], ...]
    welch: Welch | None
    kruskal_wallis: KruskalWallis | None
    pairs: tuple[PairVerdict, ...]
    variance_share: VarianceShare | None
    rest_sd_n: float  # scatter of like pulls
    bound: Bound
    bound_n: float
    needed_per_group: int | None  # to settle the pair that needs most; None when all are told
    plateau: Plateau | None
    adjustments: tuple[str, ...]
    warnings: tuple[str, ...]


def compare(
    results: Sequence[PullResult],
    by: str,
    block: str | None = None,
    bound: Bound = USUAL_BOUND,
    adjust: Sequence[str] = (),
) -> Comparison:
    """Return the comparison of ``results`` by the specimen entry ``by``, with ``block`` as boards.

    ``adjust`` names rules of ``statistics.adjustment``. Raises InputFault when a key is not
    recorded, no valid pull remains, or a rule's entry is missing.
    """
    selection, adjustments = _adjusted(sort_pulls(results, by, block), adjust)
    if not selection.pulls:
        raise InputFault(f'No valid pull carries "{by}" and a force: there is nothing to compare.')
    groups = tuple(group_of(selection, level) for level in selection.levels)
    able = tuple(group.level for group in groups if _able(group))
    model = build(selection.pulls, able, by, block)
    bound_n = bound.newtons(_grand_mean(groups, model))
    pairs = _pairs(selection, groups, model, bound, bound_n)
    notes = model.notes if model else ()
    return Comparison(
        by=by,
        block=block,
        method=model.name if model else "none: too few pulls to judge a difference by",
        groups=groups,
        anova=model.factor if model else None,
        block_test=model.block if model else None,
        other_tests=_other_tests(model, by),
        welch=_welch(groups),
        kruskal_wallis=_kruskal_wallis(groups),
        pairs=pairs,
        variance_share=model.share if model else None,
        rest_sd_n=model.rest_sd_n if model else math.nan,
        bound=bound,
        bound_n=bound_n,
        needed_per_group=max((pair.needed for pair in pairs if pair.needed), default=None),
        plateau=_plateau(selection) if by == PILOT else None,
        adjustments=adjustments,
        warnings=(*cautions(selection, groups, model.others if model else ()), *notes),
    )


def _other_tests(model: GroupModel | None, by: str) -> tuple[tuple[str, EffectTest], ...]:
    tests = model.others if model else {}
    return tuple((name.replace("x factor", f"x {by}"), test) for name, test in tests.items())


def _able(group: Group) -> bool:
    """Whether a group can be judged: repeats, and three failures where pulls ended whole."""
    if group.censored:
        return group.failures >= FEWEST_FAILURES and math.isfinite(group.mean_n)
    return group.n > 1


def _grand_mean(groups: Sequence[Group], model: GroupModel | None) -> float:
    if model is not None:
        return math.fsum(model.means_n) / len(model.means_n)
    means = [group.mean_n for group in groups if math.isfinite(group.mean_n)]
    return math.fsum(means) / len(means) if means else math.nan


def _pairs(
    selection: Selection,
    groups: Sequence[Group],
    model: GroupModel | None,
    bound: Bound,
    bound_n: float,
) -> tuple[PairVerdict, ...]:
    judged = {}
    if model is not None:
        logs = model.ratios or (None,) * len(model.differences)
        for pair, log_pair in zip(model.differences, logs, strict=True):
            told = judge(
                pair,
                log_pair,
                model.levels,
                model.means_n,
                _fewest(groups, model, pair.a, pair.b),
                model.rest_sd_n,
                bound,
                bound_n,
            )
            judged[told.a, told.b] = told
    found = []
    for place, b in enumerate(groups):
        for a in groups[place + 1 :]:
            told_pair = judged.get((a.level, b.level))
            found.append(_safe(selection, a, b, told_pair))
    return tuple(found)


def _fewest(groups: Sequence[Group], model: GroupModel, a: int, b: int) -> int:
    numbers = {group.level: group.n for group in groups}
    return min(numbers[model.levels[a]], numbers[model.levels[b]])


def _safe(selection: Selection, a: Group, b: Group, told: PairVerdict | None) -> PairVerdict:
    """Return the pair as judged, or that it cannot be told and why."""
    key = selection.block or "board"
    if one_board_apart(selection, a.level, b.level):
        why = f"Level and {key} cannot be told apart: cut both levels from each {key}."
        return untold(a.level, b.level, a.mean_n - b.mean_n, why)
    if told is not None:
        return told
    for group in (a, b):
        if not _able(group):
            why = (
                "Pulls ended whole and fewer than three failed."
                if group.censored
                else ("One of them has fewer than two pulls that count.")
            )
            return untold(a.level, b.level, a.mean_n - b.mean_n, why)
    why = f"The pulls do not carry the model: too few, or level and {key} cannot be told apart."
    return untold(a.level, b.level, a.mean_n - b.mean_n, why)


def _welch(groups: Sequence[Group]) -> Welch | None:
    """Welch's test of the plain groups; not where a maximum is only a lower bound."""
    usable = [group for group in groups if group.n > 1 and group.sd_n > 0]
    if any(group.censored for group in groups) or len(usable) < 2:
        return None
    return one_way.welch([group.forces_n for group in usable])


def _kruskal_wallis(groups: Sequence[Group]) -> KruskalWallis | None:
    usable = [group.forces_n for group in groups if group.n]
    if any(group.censored for group in groups) or len(usable) < 2:
        return None
    if len({force for forces in usable for force in forces}) < 2:
        return None
    return one_way.kruskal_wallis(usable)


def _plateau(selection: Selection) -> Plateau | None:
    """The break of force against pilot; not attempted where pulls ended whole."""
    pulls = selection.pulls
    if any(isinstance(pull.level, str) or pull.at_least for pull in pulls):
        return None
    pilot = np.array([float(pull.level) for pull in pulls])
    force = np.array([pull.force_n for pull in pulls])
    boards = [pull.block for pull in pulls]
    distinct = linear_model.distinct(boards)
    if len(distinct) > 1 and np.unique(pilot).size > 1:
        columns = linear_model.deviation_columns(boards, distinct)
        if plateau.usable(columns, pilot):
            return plateau.fit(pilot, force, columns)
    return plateau.fit(pilot, force)


def _adjusted(selection: Selection, names: Sequence[str]) -> tuple[Selection, tuple[str, ...]]:
    told = []
    for name in names:
        rule = adjustment.RULES.get(name)
        if rule is None:
            known = ", ".join(adjustment.RULES)
            raise InputFault(f'--adjust: "{name}" is not a rule. Rules: {known}.')
        own = [level_at(pull.result, rule.key) for pull in selection.pulls]
        numbers = [at for at in own if isinstance(at, float) and at > 0]
        if len(numbers) < len(own) or not own:
            raise InputFault(
                f"--adjust {name}: every pull needs {rule.key}, and "
                f"{len(own) - len(numbers)} of {len(own)} carry none."
            )
        reference = math.fsum(numbers) / len(numbers)
        forces = adjustment.adjust(
            [pull.force_n for pull in selection.pulls], numbers, reference, rule
        )
        pulls = tuple(
            replace(pull, force_n=float(force))
            for pull, force in zip(selection.pulls, forces, strict=True)
        )
        selection = replace(selection, pulls=pulls)
        told.append(f"Forces brought to {rule.key} {reference:.4g} by {rule.source}.")
    return selection, tuple(told)
