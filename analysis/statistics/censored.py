"""Pulls that ended whole: their strength is above what was reached. Neither averaged nor dropped.

The likelihood takes the density of every failure and the chance of more than the maximum for every
pull that ended whole, with the same model of factor, boards and covariates as without them. It is
climbed in beta / sigma and 1 / sigma, where it has one top (Olsen, Econometrica 46 (1978) 1211).

Tests and intervals come from the likelihood ratio L, read as the t or F that it is exactly when no
pull ended whole: t^2 = (n - p) (exp(L / n) - 1). In simulated campaigns (benchmarks/campaigns.py)
that keeps the false-positive rate near 5 %; standard errors from the curvature gave 2 to 3 %.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.statistics.linear_model import ConfoundedError, Design, estimable
from analysis.statistics.one_way import f_tail
from analysis.statistics.pairwise import Difference, every_pair
from analysis.statistics.summary import Floats, Interval, t_quantile

Flags = NDArray[np.bool_]
FEWEST_FAILURES = 3
_STEPS = 200
_LOG_ROOT_2PI = 0.5 * math.log(2 * math.pi)


@dataclass(frozen=True, slots=True, eq=False)
class CensoredFit:
    """Maximum likelihood for values (n,) of which some are only lower bounds."""

    values: Floats  # (n,)
    at_least: Flags  # (n,)
    columns: Floats  # (n, p)
    coefficients: Floats  # (p,)
    covariance: Floats  # (p, p) by the curvature of the likelihood, scaled to ``sd``
    sigma: float  # maximum likelihood: divides by n
    sd: float  # sigma x sqrt(n / df): the usual SD when no pull ended whole
    df: int  # n - p
    log_likelihood: float

    def estimate(self, weights: Floats) -> float:
        """Return ``weights`` (p,) x coefficients."""
        return float(weights @ self.coefficients)

    def standard_error(self, weights: Floats) -> float:
        """Return the standard error of ``estimate`` by the curvature."""
        return math.sqrt(float(weights @ self.covariance @ weights))

    def t_against(self, weights: Floats, supposed: float) -> float:
        """Return the signed root of the likelihood ratio of ``estimate`` against ``supposed``."""
        loss = self.log_likelihood - _constrained(self, weights, supposed)
        size = math.sqrt(self.df * math.expm1(max(0.0, 2 * loss) / self.values.size))
        return math.copysign(size, self.estimate(weights) - supposed)

    def reach(self, weights: Floats, t: float) -> Interval:
        """Return the values of ``estimate`` that the likelihood puts within ``t``."""
        if not math.isfinite(t):
            return math.nan, math.nan
        return self._end(weights, t, -1.0), self._end(weights, t, 1.0)

    def f_of(self, place: slice) -> float:
        """Return the F of dropping the columns at ``place``."""
        kept = np.delete(self.columns, place, axis=1)
        dropped = self.columns.shape[1] - kept.shape[1]
        loss = self.log_likelihood - fit(self.values, self.at_least, kept).log_likelihood
        return float(self.df / dropped * math.expm1(max(0.0, 2 * loss) / self.values.size))

    def _end(self, weights: Floats, t: float, side: float) -> float:
        from scipy import optimize

        start, step = self.estimate(weights), side * t * self.standard_error(weights)

        def excess(at: float) -> float:
            return abs(self.t_against(weights, at)) - t

        outer = start + step
        while excess(outer) < 0:
            step *= 1.5
            outer += step
        return float(optimize.brentq(excess, start, outer, xtol=1e-7 * abs(step), rtol=1e-10))


@dataclass(frozen=True, slots=True, eq=False)
class CensoredDifference(Difference):
    """A difference of levels judged by the likelihood ratio; its intervals need not be even."""

    fitted: CensoredFit
    weights: Floats  # (p,)

    def t_against(self, supposed: float) -> float:
        """Return the signed root of the likelihood ratio, on the scale of t."""
        return self.fitted.t_against(self.weights, supposed)

    def reach(self, t: float) -> Interval:
        """Return the differences that the likelihood puts within ``t``."""
        return self.fitted.reach(self.weights, t)


@dataclass(frozen=True, slots=True)
class TermTest:
    """The likelihood ratio of one term, on the scale of F."""

    f: float
    p: float
    df: int
    df_rest: int


def fit(values: ArrayLike, at_least: ArrayLike, columns: ArrayLike | None = None) -> CensoredFit:
    """Return the normal fit of ``values`` (n,), where ``at_least`` (n,) bool marks lower bounds.

    ``columns`` (n, p) is a model as in ``linear_model.Design.columns``; without it one mean. Pass
    logarithms for a lognormal fit. Raises ConfoundedError when the failures do not carry the model.
    """
    y, whole = np.asarray(values, dtype=np.float64), np.asarray(at_least, dtype=bool)
    x = np.ones((y.size, 1)) if columns is None else np.asarray(columns, dtype=np.float64)
    if (~whole).sum() <= x.shape[1] or not estimable(x[~whole]):
        raise ConfoundedError("too few pulls failed to carry this comparison")
    return _scaled_fit(y, whole, x)


def mean_interval(fitted: CensoredFit) -> Interval:
    """Return the 95 % interval of the mean of a fit without columns."""
    return fitted.reach(np.ones(1), t_quantile(fitted.df))


def level_differences(fitted: CensoredFit, plan: Design) -> tuple[Difference, ...]:
    """Return the differences of every two factor levels of ``plan``."""
    found = []
    for a, b in every_pair(len(plan.level_rows)):
        weights = plan.level_rows[a] - plan.level_rows[b]
        gap, error = fitted.estimate(weights), fitted.standard_error(weights)
        found.append(
            CensoredDifference(a, b, gap, error, fitted.df, len(plan.level_rows), fitted, weights)
        )
    return tuple(found)


def term_test(fitted: CensoredFit, plan: Design, term: str) -> TermTest:
    """Return the test of ``term`` of ``plan`` given all the others."""
    place = plan.terms[term]
    f, df = fitted.f_of(place), place.stop - place.start
    return TermTest(f, f_tail(f, df, fitted.df), df, fitted.df)


def _constrained(fitted: CensoredFit, weights: Floats, supposed: float) -> float:
    """Return the log likelihood when ``weights`` x coefficients must be ``supposed``."""
    along = weights / float(weights @ weights)
    across = np.linalg.svd(weights[None, :])[2][1:].T  # the directions that leave it alone
    shifted = fitted.values - fitted.columns @ along * supposed
    return _scaled_fit(shifted, fitted.at_least, fitted.columns @ across).log_likelihood


def _scaled_fit(y: Floats, whole: Flags, x: Floats) -> CensoredFit:
    """Climb in units in which the values spread over about one."""
    start = np.asarray(np.linalg.lstsq(x[~whole], y[~whole], rcond=None)[0], dtype=np.float64)
    rest = y - x @ start
    scale = math.sqrt(float(rest[~whole] @ rest[~whole]) / y.size)
    if scale <= 1e-9 * float(abs(y).max()):
        raise ConfoundedError("the pulls that failed show no scatter to judge by")
    theta, information, likelihood = _climb(rest / scale, whole, x)
    tau, n, p = float(theta[-1]), y.size, theta.size - 1
    sigma, df = scale / tau, n - p
    failures = int((~whole).sum())
    # From (beta / sigma, 1 / sigma) to beta, in units of sigma.
    change = np.column_stack([np.eye(p), -theta[:-1] / tau])
    covariance = change @ np.linalg.inv(information) @ change.T
    sd = sigma * math.sqrt(n / df)
    return CensoredFit(
        values=y,
        at_least=whole,
        columns=x,
        coefficients=start + theta[:-1] * sigma,
        covariance=covariance * sd**2,
        sigma=sigma,
        sd=sd,
        df=df,
        log_likelihood=likelihood - failures * math.log(scale),
    )


def _climb(y: Floats, whole: Flags, x: Floats) -> tuple[Floats, Floats, float]:
    """Newton's method with halved steps, from no effect and a spread of one."""
    theta = np.append(np.zeros(x.shape[1]), 1.0)
    value, slope, information = _likelihood(theta, y, whole, x)
    for _ in range(_STEPS):
        step = np.asarray(np.linalg.solve(information, slope), dtype=np.float64)
        if float(slope @ step) < 1e-18 * (1 + abs(value)):
            break
        theta, value, slope, information = _walk(theta, step, value, y, whole, x)
    return theta, information, value


def _walk(
    theta: Floats, step: Floats, value: float, y: Floats, whole: Flags, x: Floats
) -> tuple[Floats, float, Floats, Floats]:
    size = 1.0
    while True:
        trial = theta + size * step
        if trial[-1] > 0:
            found = _likelihood(trial, y, whole, x)
            if found[0] >= value - 1e-12 * abs(value) or size < 1e-10:
                return (trial, *found)
        size /= 2


def _likelihood(theta: Floats, y: Floats, whole: Flags, x: Floats) -> tuple[float, Floats, Floats]:
    """Return log likelihood, slope and information in (beta / sigma, 1 / sigma)."""
    from scipy import special

    tau = float(theta[-1])
    z = tau * y - x @ theta[:-1]
    tail = special.log_ndtr(-z[whole])
    hazard = np.exp(-0.5 * z[whole] ** 2 - _LOG_ROOT_2PI - tail)
    failed = ~whole
    value = failed.sum() * (math.log(tau) - _LOG_ROOT_2PI) - 0.5 * (z[failed] ** 2).sum()
    pull, weight = z.copy(), np.ones(y.size)
    pull[whole] = hazard
    weight[whole] = hazard * (hazard - z[whole])
    rows = np.column_stack([-x, y])
    slope = -(rows.T @ pull)
    slope[-1] += failed.sum() / tau
    information = (rows * weight[:, None]).T @ rows
    information[-1, -1] += failed.sum() / tau**2
    return float(value + tail.sum()), slope, information
