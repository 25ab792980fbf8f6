"""What to compare by: as a person asked, as the plan says, or as the pulls themselves differ."""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from analysis.campaign_plan import Factor, Plan
from analysis.group_model import NOT_FACTORS
from analysis.groups import Level, level_at
from analysis.pull_result import PullResult

BOARD = "board"
MOST_LEVELS = 6
FEWEST_A_LEVEL = 2
#: Looked at first, in this order, where neither a person nor a plan says what was varied.
USUAL_FACTORS = ("pilot_mm", "coating", "fastener", "species", "penetration_mm", "head_mm")
#: Entries that no one varies for their own sake.
NEVER = NOT_FACTORS | {"replicate", "data", "operator", "morning", "date"}


@dataclass(frozen=True, slots=True)
class Question:
    """One comparison to make, and why this one."""

    by: str
    block: str | None
    why: str


def questions(
    results: Sequence[PullResult],
    plan: Plan | None = None,
    by: Sequence[str] = (),
    block: str | None = None,
) -> tuple[Question, ...]:
    """Return the comparisons for one series of pulls; none where nothing was varied.

    Keys asked for that no pull of this series carries are passed over.
    """
    asked = [key for key in by if _levels(results, key)]
    if by:
        why = "as asked for"
    elif planned := [key for key in _planned(plan, results) if len(_levels(results, key)) > 1]:
        asked, why = planned, "the plan's factor"
    else:
        asked, why = _chosen(results)
    if block is not None and not _levels(results, block):
        block = None
    return tuple(Question(key, block or shared_board(results, key), why) for key in asked)


def belongs(plan: Plan, results: Sequence[PullResult]) -> bool:
    """Whether a plan speaks of these pulls: everything it holds fixed is what they carry."""
    fixed = plan.design.fixed
    carried = [key for key in fixed if any(key in result.specimen for result in results)]
    return bool(plan.design.factors) and all(
        result.specimen.get(key) == fixed[key] for key in carried for result in results
    )


def _planned(plan: Plan | None, results: Sequence[PullResult]) -> list[str]:
    if plan is None or not belongs(plan, results):
        return []
    return [key for factor in plan.design.factors if (key := _key(factor)) is not None]


def _key(factor: Factor) -> str | None:
    """Return the specimen entry that tells a factor's levels apart: a number before a name."""
    varied = [
        key
        for key in factor.levels[0].values
        if len({str(level.values.get(key)) for level in factor.levels}) == len(factor.levels)
    ]
    return min(varied, key=lambda key: isinstance(factor.levels[0].values[key], str), default=None)


def _levels(results: Sequence[PullResult], key: str) -> Counter[Level]:
    """Return how many pulls that count each level of a key has."""
    counting = (r for r in results if r.valid and math.isfinite(r.max_force_n))
    found = (level_at(result, key) for result in counting)
    return Counter(level for level in found if level is not None)


def varied(results: Sequence[PullResult]) -> list[list[str]]:
    """Return the entries in which the pulls differ, the usual ones first.

    Entries that sort the pulls alike stand together: nothing tells them apart.
    """
    carried = {key for result in results for key in result.specimen} - NEVER
    order = [key for key in USUAL_FACTORS if key in carried]
    order += sorted(carried - set(order))
    groups: dict[tuple[Level | None, ...], list[str]] = {}
    for key in order:
        counts = _levels(results, key)
        if 1 < len(counts) <= MOST_LEVELS and min(counts.values()) >= FEWEST_A_LEVEL:
            groups.setdefault(_partition(results, key), []).append(key)
    return list(groups.values())


def _chosen(results: Sequence[PullResult]) -> tuple[list[str], str]:
    """Return the one entry that sorts the pulls into groups, and a word on what goes with it."""
    groups = varied(results)
    if not groups:
        return [], ""
    first, *aliases = groups[0]
    why = "chosen because the pulls differ in it; no --by was given"
    if aliases:
        why += f". {', '.join(aliases)} changes with it, so the two cannot be told apart"
    others = [keys[0] for keys in groups[1:]]
    if others:
        why += f". They also differ in {', '.join(others)}: ask with --by"
    return [first], why


def _partition(results: Sequence[PullResult], key: str) -> tuple[Level | None, ...]:
    """Return the group number of each valid pull: the same for two keys that sort alike."""
    numbers: dict[Level | None, int] = {}
    levels = (level_at(result, key) for result in results if result.valid)
    return tuple(float(numbers.setdefault(level, len(numbers))) for level in levels)


def shared_board(results: Sequence[PullResult], by: str) -> str | None:
    """Return "board" where every level was pulled from boards that other levels share."""
    boards: dict[Level, set[Level]] = {}
    for result in results:
        level, board = level_at(result, by), level_at(result, BOARD)
        if result.valid and level is not None and board is not None and by != BOARD:
            boards.setdefault(level, set()).add(board)
    if len(boards) < 2 or len(set().union(*boards.values())) < 2:
        return None
    shared = all(
        sum(bool(own & other) for other in boards.values()) > 1 and len(own) > 1
        for own in boards.values()
    )
    return BOARD if shared else None
