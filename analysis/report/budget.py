"""The uncertainty budget of one pull, as rows a reader can add up."""

import math
from dataclasses import dataclass

from analysis.report.evidence import Evidence, Shown
from analysis.report.wording import NOTHING, ForceUnit, percent, plain
from analysis.uncertainty.propagation import Contribution
from analysis.uncertainty.specimen_force import Budget

NEGLIGIBLE = 5e-5  # of the variance: smaller ones stand in one line together


@dataclass(frozen=True, slots=True)
class BudgetRow:
    """One contribution: what it is, its standard uncertainty in N, its share, where from."""

    name: str
    u_n: str
    share: str
    words: str


@dataclass(frozen=True, slots=True)
class BudgetWords:
    """The budget of one pull, in words and rows."""

    lead: str
    rows: tuple[BudgetRow, ...]
    small: str  # names of what adds next to nothing
    result: str


def budget_words(evidence: Evidence, unit: ForceUnit) -> BudgetWords | None:
    """Return the budget of the largest maximum that counts, or None where no pull has one."""
    able = [
        (shown.result.max_force_n, shown, shown.budget)
        for shown in evidence.pulls
        if shown.result.valid and shown.budget is not None
    ]
    if not able:
        return None
    _, shown, budget = max(able, key=lambda one: one[0])
    rows = [one for one in budget.contributions if one.share >= NEGLIGIBLE]
    small = [_name(one) for one in budget.contributions if one.share < NEGLIGIBLE]
    return BudgetWords(
        lead=f"Of {shown.label}, the largest maximum that counts: {_chain(shown)}. The budgets of "
        "the other pulls are made in the same way.",
        rows=tuple(
            BudgetRow(_name(one), plain(one.u, 1), _share(one.share), one.quantity.words)
            for one in rows
        ),
        small=", ".join(small),
        result=_result(budget, unit),
    )


def _share(share: float) -> str:
    return percent(share) if share >= 0.005 else "<\u00a01\u202f%"


def _chain(shown: Shown) -> str:
    return shown.result.chain or NOTHING


def _name(one: Contribution) -> str:
    return one.quantity.name.replace("_", " ")


def _result(budget: Budget, unit: ForceUnit) -> str:
    dof = "infinite" if not math.isfinite(budget.dof) or budget.dof > 1e4 else f"{budget.dof:.0f}"
    return (
        f"Together: standard uncertainty {plain(budget.u_n, 0)}\u00a0N, coverage factor "
        f"{budget.k:.2f} ({dof} effective degrees of freedom, 95 %). Pin friction and the top "
        f"between samples are expected to change the force by {plain(budget.bias_n, 0)}\u00a0N; it "
        f"is shown as measured, and the interval is widened by that: "
        f"{unit.words(budget.force_n, budget.U95_n)} ± "
        f"{unit.number(budget.U95_n, budget.U95_n)}\u00a0{unit.si}."
    )
