"""Which model fits the table of pulls: plain groups, boards taken out, or boards averaged first."""

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from analysis.groups import Level, Pull, level_at, level_words
from analysis.statistics import censored, linear_model, one_way, pairwise
from analysis.statistics.linear_model import BLOCK, CONSTANT, FACTOR, ConfoundedError, Design
from analysis.statistics.pairwise import Difference

#: Entries that name a pull, describe the board or repeat another one: never a factor of the plan.
NOT_FACTORS = frozenset(
    {"label", "series", "hole", "run", "order", "note", "notes", "drill"}
    | {"board", "density_kg_m3", "moisture_pct"}
)
MOST_LEVELS = 6
FEWEST_A_CELL = 2
LEAST_REST = 0.5  # of the pulls must be left to judge the scatter by


@dataclass(frozen=True, slots=True)
class EffectTest:
    """An F test of one term."""

    f: float
    p: float
    df_between: float
    df_within: float


@dataclass(frozen=True, slots=True)
class VarianceShare:
    """Omega squared: shares of the variance among the pulls."""

    factor: float
    block: float
    other: float
    rest: float


@dataclass(frozen=True, slots=True, eq=False)
class GroupModel:
    """What the chosen model says. ``levels`` are those it could judge; forces in N."""

    name: str  # in words
    levels: tuple[Level, ...]
    means_n: tuple[float, ...]
    rest_sd_n: float
    factor: EffectTest
    block: EffectTest | None
    others: Mapping[str, EffectTest]
    differences: tuple[Difference, ...]
    ratios: tuple[Difference, ...]  # the same pairs of natural logarithms
    share: VarianceShare
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class _Terms:
    """A model's tests and differences, from least squares or from the censored likelihood."""

    means: tuple[float, ...]
    sd: float
    tests: Mapping[str, EffectTest]
    squares: Mapping[str, tuple[float, float]]  # term -> (sum of squares, df)
    rest_df: float
    total: float
    differences: tuple[Difference, ...]
    ratios: tuple[Difference, ...] = field(default=())


def build(
    pulls: Sequence[Pull], levels: Sequence[Level], by: str, block: str | None
) -> GroupModel | None:
    """Return the model for ``pulls`` of ``levels`` (each with repeats), or None if none fits.

    Other factors of the plan that are crossed with ``by`` are taken out with their interaction.
    With a ``block``, boards are taken out; where each level has boards of its own, boards are
    averaged first and count as one each.
    """
    kept = [pull for pull in pulls if pull.level in levels]
    notes: tuple[str, ...] = ()
    if len(levels) < 2 or len(kept) <= len(levels):
        return None
    if block is not None and len({pull.block for pull in kept}) > 1:
        if not linear_model.estimable(_design(kept, levels, block, {}).columns):
            return _boards_apart(kept, levels, by, block)
        kept, notes = _informative(kept, block)
    if len({pull.block for pull in kept}) < 2:
        block = None
    others = other_factors(kept, levels, by, block)
    if block is None and not others and not any(pull.at_least for pull in kept):
        return _plain(kept, levels)
    try:
        return _modelled(kept, levels, others, block, notes)
    except ConfoundedError:
        return None


def _informative(pulls: list[Pull], block: str) -> tuple[list[Pull], tuple[str, ...]]:
    """Leave out boards that held in every pull: with an effect of their own they fit anything."""
    failed = {pull.block for pull in pulls if not pull.at_least}
    silent = sorted({level_words(pull.block or "") for pull in pulls if pull.block not in failed})
    if not silent:
        return pulls, ()
    note = (
        f"Every pull from {block} {', '.join(silent)} ended whole: counted in the groups, but "
        "saying nothing about the differences."
    )
    return [pull for pull in pulls if pull.block in failed], (note,)


def other_factors(
    pulls: Sequence[Pull], levels: Sequence[Level], by: str, block: str | None
) -> dict[str, list[Hashable]]:
    """Return further entries that the plan varied: crossed with every level, repeated, estimable.

    Their effect would else count as scatter.
    """
    found: dict[str, list[Hashable]] = {}
    for key in sorted({key for pull in pulls for key in pull.result.specimen}):
        if key in NOT_FACTORS or key in (by, block):
            continue
        labels: list[Hashable] = [level_at(pull.result, key) for pull in pulls]
        if None in labels or not 2 <= len(set(labels)) <= MOST_LEVELS:
            continue
        cells = [(pull.level, label) for pull, label in zip(pulls, labels, strict=True)]
        full = len(set(cells)) == len(levels) * len(set(labels))
        if not full or min(map(cells.count, cells)) < FEWEST_A_CELL:
            continue
        columns = _design(pulls, levels, block, {**found, key: labels}).columns
        enough = len(pulls) - columns.shape[1] >= LEAST_REST * len(pulls)
        if enough and linear_model.estimable(columns[[not pull.at_least for pull in pulls]]):
            found[key] = labels
    return found


def _design(
    pulls: Sequence[Pull],
    levels: Sequence[Level],
    block: str | None,
    others: Mapping[str, Sequence[Hashable]],
) -> Design:
    blocks = [pull.block for pull in pulls] if block else None
    return linear_model.design([pull.level for pull in pulls], list(levels), blocks, others)


def _plain(pulls: Sequence[Pull], levels: Sequence[Level]) -> GroupModel | None:
    """Groups with a spread of their own: Welch, Games-Howell."""
    groups = [[pull.force_n for pull in pulls if pull.level == level] for level in levels]
    return _of_groups(groups, levels, "groups, each with its own scatter (Games-Howell)")


def _of_groups(
    groups: Sequence[Sequence[float]], levels: Sequence[Level], name: str
) -> GroupModel | None:
    if min(map(len, groups)) < 2:
        return None
    classic = one_way.one_way(groups)
    logs = [np.log(group) for group in groups] if min(map(min, groups)) > 0 else None
    share = classic.omega_squared
    return GroupModel(
        name=name,
        levels=tuple(levels),
        means_n=tuple(math.fsum(group) / len(group) for group in groups),
        rest_sd_n=classic.residual_sd,
        factor=EffectTest(classic.f, classic.p, classic.df_between, classic.df_within),
        block=None,
        others={},
        differences=pairwise.games_howell(groups),
        ratios=pairwise.games_howell(logs) if logs else (),
        share=VarianceShare(share, 0.0, 0.0, 1 - share),
    )


def _boards_apart(
    pulls: Sequence[Pull], levels: Sequence[Level], by: str, block: str | None
) -> GroupModel | None:
    """Boards nested in levels: a board is one trial of its level, however many holes it has."""
    boards: dict[tuple[Level, Level | None], list[Pull]] = {}
    for pull in pulls:
        boards.setdefault((pull.level, pull.block), []).append(pull)
    if max(map(len, boards.values())) == 1:
        return build(pulls, levels, by, None)
    if any(pull.at_least for pull in pulls):
        return None
    groups = [
        [
            math.fsum(pull.force_n for pull in found) / len(found)
            for (at, _), found in boards.items()
            if at == level
        ]
        for level in levels
    ]
    return _of_groups(groups, levels, f"means of each {block}, which counts once (Games-Howell)")


def _modelled(
    pulls: Sequence[Pull],
    levels: Sequence[Level],
    others: Mapping[str, Sequence[Hashable]],
    block: str | None,
    notes: tuple[str, ...],
) -> GroupModel:
    plan = _design(pulls, levels, block, others)
    forces = np.array([pull.force_n for pull in pulls])
    whole = np.array([pull.at_least for pull in pulls])
    terms = _terms(forces, whole, plan)
    ratios: tuple[Difference, ...] = ()
    if forces.min() > 0:
        ratios = _terms(np.log(forces), whole, plan).differences
    side = {name: terms.tests[name] for name in terms.tests if name not in (FACTOR, BLOCK)}
    return GroupModel(
        name=_name(block, others, bool(whole.any())),
        levels=tuple(levels),
        means_n=terms.means,
        rest_sd_n=terms.sd,
        factor=terms.tests[FACTOR],
        block=terms.tests.get(BLOCK),
        others=side,
        differences=terms.differences,
        ratios=ratios,
        share=_shares(terms),
        notes=(*notes, *_interactions(side)),
    )


def _name(block: str | None, others: Mapping[str, object], whole: bool) -> str:
    out = [*(["the " + block] if block else []), *others]
    head = "one scatter for all pulls"
    head += f", {' and '.join(out)} taken out" if out else ""
    return head + (", likelihood for pulls that ended whole" if whole else "")


def _terms(values: np.ndarray, whole: np.ndarray, plan: Design) -> _Terms:
    return _censored_terms(values, whole, plan) if whole.any() else _least_squares(values, plan)


def _least_squares(values: np.ndarray, plan: Design) -> _Terms:
    fitted = linear_model.fit(values, plan)
    found = {term: linear_model.term_test(fitted, term) for term in plan.terms if term != CONSTANT}
    return _Terms(
        means=tuple(map(float, fitted.level_means)),
        sd=fitted.rest_sd,
        tests=_tests(found),
        squares={name: (each.ss, each.df) for name, each in found.items()},
        rest_df=fitted.df,
        total=fitted.total_ss,
        differences=pairwise.from_estimates(fitted.level_means, fitted.level_covariance, fitted.df),
    )


def _censored_terms(values: np.ndarray, whole: np.ndarray, plan: Design) -> _Terms:
    fitted = censored.fit(values, whole, plan.columns)
    found = {
        term: censored.term_test(fitted, plan, term) for term in plan.terms if term != CONSTANT
    }
    squares = {name: (each.f * each.df * fitted.sd**2, each.df) for name, each in found.items()}
    total = sum(ss for ss, _ in squares.values()) + fitted.df * fitted.sd**2
    return _Terms(
        means=tuple(map(float, plan.level_rows @ fitted.coefficients)),
        sd=fitted.sd,
        tests=_tests(found),
        squares=squares,
        rest_df=fitted.df,
        total=total,
        differences=censored.level_differences(fitted, plan),
    )


def _tests(found: Mapping[str, linear_model.TermTest | censored.TermTest]) -> dict[str, EffectTest]:
    return {name: EffectTest(each.f, each.p, each.df, each.df_rest) for name, each in found.items()}


def _shares(terms: _Terms) -> VarianceShare:
    variance = terms.sd**2
    if terms.total + variance <= 0:
        return VarianceShare(math.nan, math.nan, math.nan, math.nan)
    part = {
        name: one_way.share_explained(ss, df, variance, terms.total)
        for name, (ss, df) in terms.squares.items()
    }
    factor, block = part.pop(FACTOR), part.pop(BLOCK, 0.0)
    other = sum(part.values())
    return VarianceShare(factor, block, other, max(0.0, 1 - factor - block - other))


def _interactions(side: Mapping[str, EffectTest]) -> tuple[str, ...]:
    return tuple(
        f"The effect depends on {name.removesuffix(' x factor')} (p = {test.p:.2g}): differences"
        " are averages over its settings; compare each setting by itself with --where."
        for name, test in side.items()
        if name.endswith(" x factor") and test.p < 0.05
    )
