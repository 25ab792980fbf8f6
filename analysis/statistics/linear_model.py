"""Factor, other factors and boards in one least-squares model; unbalanced tables allowed.

Every grouping is coded as deviations from the plain mean of its levels (they sum to zero), so a
level's estimate averages boards and other factors equally, however many pulls each gave.
"""

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.statistics.one_way import f_tail
from analysis.statistics.summary import Floats

CONSTANT = "constant"
FACTOR = "factor"
BLOCK = "block"


class ConfoundedError(ValueError):
    """The table cannot tell two of its groupings apart, or leaves no scatter to judge by."""


@dataclass(frozen=True, slots=True, eq=False)
class Design:
    """The columns of a model and which of them belong to which term."""

    columns: Floats  # (n, p), the first is the constant
    terms: Mapping[str, slice]
    level_rows: Floats  # (k, p): times the coefficients they give the mean of each factor level


@dataclass(frozen=True, slots=True, eq=False)
class LinearFit:
    """A least-squares fit of values (n,) to a design."""

    design: Design
    coefficients: Floats  # (p,)
    unscaled: Floats  # (p, p): covariance of the coefficients / rest_sd^2
    rest_ss: float
    total_ss: float
    df: int

    @property
    def rest_variance(self) -> float:
        """Variance of like pulls, boards and factors taken out."""
        return self.rest_ss / self.df

    @property
    def rest_sd(self) -> float:
        """Scatter of like pulls, boards and factors taken out."""
        return math.sqrt(self.rest_variance)

    @property
    def level_means(self) -> Floats:
        """Mean of every factor level (k,)."""
        return self.design.level_rows @ self.coefficients

    @property
    def level_covariance(self) -> Floats:
        """Covariance of ``level_means`` (k, k)."""
        rows = self.design.level_rows
        return rows @ self.unscaled @ rows.T * self.rest_variance


@dataclass(frozen=True, slots=True)
class TermTest:
    """One term against the rest, every other term staying in the model."""

    f: float
    p: float
    df: int
    df_rest: int
    ss: float


def design(
    factor: Sequence[Hashable],
    levels: Sequence[Hashable],
    blocks: Sequence[Hashable] | None = None,
    others: Mapping[str, Sequence[Hashable]] | None = None,
) -> Design:
    """Return the design of ``factor`` (n labels of ``levels``) with what else is known of the rows.

    Each of ``others`` enters with its interaction with the factor when every combination occurs
    (then the factor is tested as the mean over the other's levels), else alone. ``blocks`` enter
    alone.
    """
    n = len(factor)
    parts = [(CONSTANT, np.ones((n, 1)))]
    main = deviation_columns(factor, levels)
    parts.append((FACTOR, main))
    for name, labels in (others or {}).items():
        side = deviation_columns(labels, distinct(labels))
        parts.append((name, side))
        if _crossed(factor, labels):
            parts.append((f"{name} x factor", _products(main, side)))
    if blocks is not None:
        parts.append((BLOCK, deviation_columns(blocks, distinct(blocks))))
    edges = np.cumsum([0] + [part.shape[1] for _, part in parts])
    terms = {name: slice(int(edges[i]), int(edges[i + 1])) for i, (name, _) in enumerate(parts)}
    rows = np.zeros((len(levels), int(edges[-1])))
    rows[:, 0] = 1.0
    rows[:, terms[FACTOR]] = deviation_columns(levels, levels)
    return Design(np.hstack([part for _, part in parts]), terms, rows)


def fit(values: Floats, plan: Design) -> LinearFit:
    """Return the least-squares fit of ``values`` (n,).

    Raises ConfoundedError when terms cannot be told apart or no degrees of freedom remain.
    """
    columns = plan.columns
    df = columns.shape[0] - columns.shape[1]
    if df < 1:
        raise ConfoundedError("more groupings than pulls: nothing is left to judge the scatter by")
    q, r = np.linalg.qr(columns)
    if not estimable(columns):
        raise ConfoundedError("a level and a board (or another factor) cannot be told apart")
    centre = values.mean()
    shifted = values - centre
    coefficients = np.linalg.solve(r, q.T @ shifted)
    rest = shifted - columns @ coefficients
    coefficients[0] += centre
    inverse = np.linalg.inv(r)
    squares = math.fsum(rest * rest)
    return LinearFit(
        plan, coefficients, inverse @ inverse.T, squares, math.fsum(shifted * shifted), df
    )


def term_test(fitted: LinearFit, term: str) -> TermTest:
    """Return the F test of ``term`` given all the others (their order does not matter)."""
    place = fitted.design.terms[term]
    part = fitted.coefficients[place]
    squares = float(part @ np.linalg.solve(fitted.unscaled[place, place], part))
    df = part.size
    variance = fitted.rest_variance
    f = squares / df / variance if variance > 0 else math.inf
    return TermTest(f, f_tail(f, df, fitted.df), df, fitted.df, squares)


def estimable(columns: Floats) -> bool:
    """Whether every column carries something that the others do not."""
    scale = np.linalg.norm(columns, axis=0)
    if np.any(scale == 0):
        return False
    return bool(np.linalg.matrix_rank(columns / scale) == columns.shape[1])


def deviation_columns(labels: Sequence[Hashable], levels: Sequence[Hashable]) -> Floats:
    """Return (n, k - 1) columns: 1 for a row's own level, -1 in all of them for the last level."""
    place = {level: i for i, level in enumerate(levels)}
    table = np.vstack([np.eye(len(levels) - 1), -np.ones(len(levels) - 1)])
    return table[[place[label] for label in labels]]


def distinct(labels: Sequence[Hashable]) -> list[Hashable]:
    """Return the labels that occur, in the order of their first row."""
    return list(dict.fromkeys(labels))


def _crossed(first: Sequence[Hashable], second: Sequence[Hashable]) -> bool:
    cells = set(zip(first, second, strict=True))
    return len(cells) == len(set(first)) * len(set(second))


def _products(first: Floats, second: Floats) -> Floats:
    return (first[:, :, None] * second[:, None, :]).reshape(len(first), -1)
