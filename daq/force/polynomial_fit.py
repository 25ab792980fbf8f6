"""Least squares of a response on load, its degree, and the way back with an interval."""

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.polynomial import polynomial

from daq.samples import FloatArray

HIGHEST_DEGREE = 5
#: The F test is meant for ten loads or more (ASTM E74 annex, from memory); with fewer, chance and
#: hysteresis pass for bends, so no more than one bend is looked for.
LOADS_FOR_ALL_DEGREES = 10
HIGHEST_WITH_FEW = 2
#: Scatter below this part of the largest response is rounding, and never a reason for a degree.
ROUNDING = 1e-13


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """response = sum of ``coefficients[k]`` * load**k, by least squares on load / largest load."""

    coefficients: FloatArray  # (degree + 1,), ascending, in the units given
    covariance: FloatArray  # (degree + 1, degree + 1)
    residuals: FloatArray  # (n,), observed - fitted
    residual_sd: float
    r_squared: float
    dof: int
    scale: float  # the largest load

    @property
    def degree(self) -> int:
        """Degree of the polynomial."""
        return len(self.coefficients) - 1

    @property
    def standard_errors(self) -> FloatArray:
        """Standard errors of the coefficients (degree + 1,)."""
        return np.sqrt(self.covariance.diagonal())

    def response(self, load: float) -> float:
        """Return the fitted response at a load."""
        return float(polynomial.polyval(load, self.coefficients))

    def u_response(self, load: float) -> float:
        """Return the standard error of the fitted response at a load."""
        powers = (load / self.scale) ** np.arange(self.degree + 1)
        size = self.scale ** np.arange(self.degree + 1)
        variance = float(powers @ (self.covariance * np.outer(size, size)) @ powers)
        return math.sqrt(max(variance, 0.0))


@dataclass(frozen=True, slots=True)
class DegreeChoice:
    """Residual SDs of the averaged loads for degrees 1.., and the ratio each degree had to beat."""

    degree: int
    residual_sds: tuple[float, ...]
    ratios: tuple[float, ...]  # s(m - 1) / s(m) for m = 2..
    limits: tuple[float, ...]  # C(n, m)


@dataclass(frozen=True, slots=True)
class Inverse:
    """A load found from a response, with its 95 % interval, in the units of the load."""

    response: float
    load: float
    low: float
    high: float


def t_quantile(probability: float, dof: float) -> float:
    """Return the quantile of Student's t."""
    from scipy.special import stdtrit  # a light part of scipy, and never on the live path

    return float(stdtrit(dof, probability))


def fit_polynomial(loads: FloatArray, responses: FloatArray, degree: int) -> Fit:
    """Fit ``responses`` (n,) on ``loads`` (n,). Raises ValueError under degree + 2 points.

    Loads are scaled to 1: on raw powers of loads near 1e6 half of the digits are lost.
    """
    dof = len(loads) - degree - 1
    if dof < 1:
        raise ValueError(
            f"degree {degree} needs at least {degree + 2} points, here are {len(loads)}"
        )
    scale = float(np.max(np.abs(loads)))
    columns = np.vander(loads / scale, degree + 1, increasing=True)
    q, r = np.linalg.qr(columns)
    scaled = np.linalg.solve(r, q.T @ responses)
    scaled += np.linalg.solve(r, q.T @ (responses - columns @ scaled))  # one step of refinement
    residuals = responses - columns @ scaled
    variance = float(residuals @ residuals) / dof
    inverse = np.linalg.inv(r)
    size = scale ** np.arange(degree + 1)
    about = responses - np.mean(responses)
    return Fit(
        coefficients=scaled / size,
        covariance=variance * (inverse @ inverse.T) / np.outer(size, size),
        residuals=residuals,
        residual_sd=float(np.sqrt(variance)),
        r_squared=1.0 - float(residuals @ residuals) / float(about @ about),
        dof=dof,
        scale=scale,
    )


def degree_limit(loads: int, degree: int) -> float:
    """Return C(n, m): by how much a degree must lessen the scatter of n averaged loads.

    sqrt(1 + (F(0.975; 1, n - m - 1) - 1) / (n - m)), the F test of the last coefficient as the
    annex of ASTM E74 uses it (formula from memory; its first row agrees with the printed table).
    """
    f = t_quantile(0.9875, loads - degree - 1) ** 2
    return float(np.sqrt(1.0 + (f - 1.0) / (loads - degree)))


def choose_degree(loads: FloatArray, responses: FloatArray) -> DegreeChoice:
    """Return the degree the data ask for: the highest up to 5 whose last term is worth having."""
    distinct, place = np.unique(loads, return_inverse=True)
    count = len(distinct)
    means = np.bincount(place, weights=responses) / np.bincount(place)
    highest = min(HIGHEST_DEGREE if count >= LOADS_FOR_ALL_DEGREES else HIGHEST_WITH_FEW, count - 2)
    floor = ROUNDING * float(np.max(np.abs(means)))
    fits = [fit_polynomial(distinct, means, m).residual_sd for m in range(1, highest + 1)]
    sds = [max(sd, floor) for sd in fits]
    ratios = [before / after for before, after in pairwise(sds)]
    limits = [degree_limit(count, m) for m in range(2, highest + 1)]
    passed = [
        m + 2 for m, (ratio, limit) in enumerate(zip(ratios, limits, strict=True)) if ratio > limit
    ]
    return DegreeChoice(max(passed, default=1), tuple(fits), tuple(ratios), tuple(limits))


def invert(fit: Fit, response: float, confidence: float = 0.95) -> Inverse:
    """Return the load behind a new response, with the interval of all loads that agree with it.

    Its ends solve response - f(x) = +-t sqrt(s^2 + u(f(x))^2), the calibration interval of the
    NIST/SEMATECH e-Handbook, 4.5.2.1.
    """
    t = t_quantile(0.5 + confidence / 2.0, fit.dof)
    ends = sorted(_solve(fit, response, sign * t) for sign in (-1.0, 1.0))
    return Inverse(response, _solve(fit, response, 0.0), ends[0], ends[1])


def _solve(fit: Fit, response: float, t: float) -> float:
    rates = polynomial.polyder(fit.coefficients)
    load = float((response - fit.coefficients[0]) / fit.coefficients[1])
    for _ in range(100):
        spread = float(np.hypot(fit.residual_sd, fit.u_response(load)))
        step = (fit.response(load) + t * spread - response) / float(polynomial.polyval(load, rates))
        load -= step
        if abs(step) <= 1e-14 * fit.scale:
            return load
    return float("nan")  # no load gives this response on this curve
