"""Flat up to some pilot diameter, falling beyond it: where is the break, if it can be seen at all?

F = P up to x0, P + c (x - x0) beyond, c < 0. The squares have several hollows in x0, so x0 is taken
from a grid with the rest by linear least squares, then polished; its interval comes from the
profile of the squares, not from a covariance.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analysis.statistics.linear_model import estimable
from analysis.statistics.summary import NO_INTERVAL, Floats, Interval

FEWEST_EACH_SIDE = 3
_GRID = 400
NOT_IDENTIFIED = "break not identified"


@dataclass(frozen=True, slots=True)
class Plateau:
    """The best broken line, and whether the data can say where the break is."""

    identified: bool
    why: str  # why not, or ""
    break_at: float  # x0, unit of x
    break_ci95: Interval
    level: float  # P, unit of y
    slope: float  # c, y per x beyond the break
    rest_ss: float

    @property
    def words(self) -> str:
        """What to print where the break would stand."""
        return "" if self.identified else f"{NOT_IDENTIFIED}: {self.why}"


def fit(x: ArrayLike, y: ArrayLike, blocks: Floats | None = None) -> Plateau | None:
    """Return the broken line through ``x`` (n,) mm and ``y`` (n,) N, or None below 6 pulls.

    ``blocks`` (n, b): further columns taken out at the same time (boards), not a constant.
    """
    at, force = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    distinct = np.unique(at)
    side = np.ones((at.size, 0)) if blocks is None else blocks
    used = side.shape[1] + 4  # level, slope, break and the scatter
    if distinct.size < 3 or at.size < used + 2:
        return None
    problem = _Problem(at, force - force.mean(), side)
    grid = np.linspace(distinct[0], distinct[-1], _GRID + 2)[1:-1]
    squares = np.array([problem.squares(edge) for edge in grid])
    best = problem.polish(grid, int(np.argmin(squares)))
    rest = problem.squares(best)
    coefficients = problem.solve(best)[0]
    interval = _profile(problem, grid, squares, best, rest, at.size - used + 1)
    line = problem.line_squares()
    gain = _aicc(line, at.size, used - 1) - _aicc(rest, at.size, used)
    slope = -float(coefficients[1])
    why = _doubt(distinct, best, interval, gain, slope)
    return Plateau(not why, why, best, interval, float(coefficients[0] + force.mean()), slope, rest)


@dataclass(frozen=True, slots=True, eq=False)
class _Problem:
    x: Floats
    y: Floats
    side: Floats

    def solve(self, edge: float) -> tuple[Floats, float]:
        """Coefficients (level, fall per x, boards) and squares with the break at ``edge``."""
        return self._least(-np.maximum(self.x - edge, 0.0))

    def squares(self, edge: float) -> float:
        """Sum of squares with the break at ``edge``."""
        return self.solve(edge)[1]

    def line_squares(self) -> float:
        """Sum of squares of the straight line."""
        return self._least(self.x - self.x.mean())[1]

    def polish(self, grid: Floats, place: int) -> float:
        """Break of least squares between the neighbours of the best grid point."""
        from scipy import optimize

        span = (grid[max(place - 1, 0)], grid[min(place + 1, grid.size - 1)])
        found = optimize.minimize_scalar(
            self.squares, bounds=span, method="bounded", options={"xatol": 1e-9}
        )
        return float(found.x) if found.fun <= self.squares(grid[place]) else float(grid[place])

    def _least(self, ramp: Floats) -> tuple[Floats, float]:
        columns = np.column_stack([np.ones(self.x.size), ramp, self.side])
        coefficients = np.asarray(np.linalg.lstsq(columns, self.y, rcond=None)[0], np.float64)
        rest = self.y - columns @ coefficients
        return coefficients, math.fsum(rest * rest)


def _profile(
    problem: _Problem, grid: Floats, squares: Floats, best: float, rest: float, df: int
) -> Interval:
    """95 % interval of the break: every x0 whose squares pass the F test against the best."""
    from scipy import optimize, special

    if df < 1:
        return NO_INTERVAL
    edge = rest * (1 + float(special.fdtri(1, df, 0.95)) / df)
    inside = grid[squares <= edge]
    ends = []
    for start, step in ((min(inside[0], best), -1), (max(inside[-1], best), 1)):
        outer = start + step * (grid[1] - grid[0])
        reached = not grid[0] <= outer <= grid[-1] or problem.squares(outer) <= edge
        ends.append(
            float(np.clip(outer, grid[0], grid[-1]))
            if reached
            else optimize.brentq(lambda at: problem.squares(at) - edge, start, outer)
        )
    return ends[0], ends[1]


def _doubt(distinct: Floats, best: float, interval: Interval, gain: float, slope: float) -> str:
    below, above = int((distinct <= best).sum()), int((distinct > best).sum())
    if min(below, above) < FEWEST_EACH_SIDE:
        return "fewer than three diameters on either side of it"
    if slope >= 0:
        return "the force does not fall beyond it"
    if not (distinct[0] < interval[0] and interval[1] < distinct[-1]):
        return "its interval reaches the edge of the diameters tried"
    return "a straight line describes the pulls as well" if gain <= 0 else ""


def _aicc(squares: float, n: int, parameters: int) -> float:
    if squares <= 0 or n - parameters - 1 <= 0:
        return -math.inf if squares <= 0 else math.inf
    small = 2 * parameters * (parameters + 1) / (n - parameters - 1)
    return n * math.log(squares / n) + 2 * parameters + small


def usable(blocks: Floats, x: Floats) -> bool:
    """Whether boards can be taken out beside a level and a slope."""
    return estimable(np.column_stack([np.ones(x.size), x - x.mean(), blocks]))
