"""Pulls that ended whole: their strength is above what was reached. Neither averaged nor dropped.

The likelihood takes the density of every failure and the chance of more than the maximum for every
pull that ended whole, with the same model of factor, boards and covariates as without them. It is
climbed in beta / sigma and 1 / sigma, where it has one top (Olsen, Econometrica 46 (1978) 1211).
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.statistics.linear_model import ConfoundedError, Design, estimable
from analysis.statistics.pairwise import Difference, from_estimates
from analysis.statistics.summary import Floats, Interval, t_interval

Flags = NDArray[np.bool_]
FEWEST_FAILURES = 3
_STEPS = 200
_LOG_ROOT_2PI = 0.5 * math.log(2 * math.pi)


@dataclass(frozen=True, slots=True, eq=False)
class CensoredFit:
    """Maximum likelihood for values (n,) of which some are only lower bounds."""

    coefficients: Floats  # (p,)
    covariance: Floats  # (p, p), widened for small samples, see ``sd``
    sigma: float  # maximum likelihood: divides by n
    sd: float  # sigma x sqrt(weight / df), which without such pulls is the usual n - p
    df: float  # information about the spread, in degrees of freedom
    log_likelihood: float
    failures: int


def fit(values: ArrayLike, at_least: ArrayLike, columns: ArrayLike | None = None) -> CensoredFit:
    """Return the normal fit of ``values`` (n,), where ``at_least`` (n,) bool marks lower bounds.

    ``columns`` (n, p) is a model as in ``linear_model.Design.columns``; without it one mean. Pass
    logarithms for a lognormal fit. Raises ConfoundedError when the failures do not carry the model.
    """
    y, whole = np.asarray(values, dtype=np.float64), np.asarray(at_least, dtype=bool)
    x = np.ones((y.size, 1)) if columns is None else np.asarray(columns, dtype=np.float64)
    failures = int((~whole).sum())
    if failures <= x.shape[1] or not estimable(x[~whole]):
        raise ConfoundedError("too few pulls failed to carry this comparison")
    centre, scale = float(y.mean()), float(np.ptp(y)) or abs(float(y[0])) or 1.0
    theta, information, likelihood = _climb((y - centre) / scale, whole, x)
    return _unscale(theta, information, likelihood, centre, scale, whole, x)


def mean_interval(fitted: CensoredFit) -> Interval:
    """Return the 95 % interval of the mean of a fit without columns."""
    return t_interval(
        float(fitted.coefficients[0]), math.sqrt(float(fitted.covariance[0, 0])), fitted.df
    )


def level_differences(fitted: CensoredFit, plan: Design) -> tuple[Difference, ...]:
    """Return the differences of every two factor levels of ``plan``."""
    rows = plan.level_rows
    return from_estimates(rows @ fitted.coefficients, rows @ fitted.covariance @ rows.T, fitted.df)


def _climb(y: Floats, whole: Flags, x: Floats) -> tuple[Floats, Floats, float]:
    """Newton's method with halved steps from the failures' own least-squares fit."""
    start = np.linalg.lstsq(x[~whole], y[~whole], rcond=None)[0]
    spread = float(np.std(y[~whole] - x[~whole] @ start)) or 1e-9
    theta = np.append(start, 1.0) / spread
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


def _unscale(
    theta: Floats,
    information: Floats,
    likelihood: float,
    centre: float,
    scale: float,
    whole: Flags,
    x: Floats,
) -> CensoredFit:
    tau, p, n = float(theta[-1]), theta.size - 1, whole.size
    failures = int((~whole).sum())
    sigma = scale / tau
    beta = theta[:-1] * sigma
    # From (beta / sigma, 1 / sigma) to (beta, sigma), in units of sigma.
    change = np.zeros((p + 1, p + 1))
    change[:p, :p] = np.eye(p)
    change[:p, p] = -theta[:-1] / tau
    change[p, p] = -1 / tau
    covariance = change @ np.linalg.inv(information) @ change.T
    # The spread is known as well as 1 / (2 var(ln sigma)) complete pulls would tell it.
    worth = 1 / (2 * float(covariance[p, p]))
    df = worth - p
    if df <= 0:
        raise ConfoundedError("too few pulls failed to judge the scatter by")
    sd = sigma * math.sqrt(worth / df)
    beta_full = beta + centre * np.linalg.lstsq(x, np.ones(n), rcond=None)[0]
    return CensoredFit(
        coefficients=beta_full,
        covariance=covariance[:p, :p] * sd**2,
        sigma=sigma,
        sd=sd,
        df=df,
        log_likelihood=likelihood - failures * math.log(scale),
        failures=failures,
    )
