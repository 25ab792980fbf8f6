"""One model function, two roads: the law of propagation of uncertainty, and Monte Carlo.

JCGM 100:2008 (GUM) and JCGM 101:2008. A model takes its quantities by name, numbers or arrays
alike, so that both roads go through the same lines. Quantities are taken as independent.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.uncertainty.quantity import Quantity
from daq.force.polynomial_fit import t_quantile
from daq.samples import FloatArray

Model = Callable[..., FloatArray]

#: Of u: small enough for a derivative, large enough against rounding.
STEP = 1e-3
TRIALS = 200_000


@dataclass(frozen=True, slots=True)
class Contribution:
    """What one quantity adds to the uncertainty of the result."""

    quantity: Quantity
    u: float  # |sensitivity| x standard uncertainty, in the unit of the result
    share: float  # of the combined variance


@dataclass(frozen=True, slots=True)
class Propagated:
    """A result by the law of propagation; contributions largest first."""

    value: float
    u: float
    dof: float  # effective, Welch and Satterthwaite (GUM G.4.1)
    k: float
    expanded: float
    contributions: tuple[Contribution, ...]


@dataclass(frozen=True, slots=True)
class Simulated:
    """A result by trials: mean, standard deviation, symmetric and shortest coverage interval."""

    mean: float
    u: float
    low: float
    high: float
    shortest_low: float
    shortest_high: float
    trials: int


def propagate(model: Model, quantities: Sequence[Quantity], confidence: float = 0.95) -> Propagated:
    """Return value, combined and expanded uncertainty of ``model(**{name: number})``.

    Sensitivities are central differences. k is Student's t with the effective degrees of freedom
    cut to the integer below (GUM G.4.1, G.6.4).
    """
    at = {quantity.name: quantity.estimate for quantity in quantities}
    parts = [_part(model, at, quantity) for quantity in quantities]
    u = math.hypot(*parts)
    dof = effective_dof(u, [(p, q.dof) for p, q in zip(parts, quantities, strict=True)])
    k = coverage_factor(dof, confidence)
    shares = [(part / u) ** 2 if u else 0.0 for part in parts]
    each = zip(quantities, parts, shares, strict=True)
    contributions = sorted((Contribution(*one) for one in each), key=lambda c: -c.u)
    return Propagated(float(model(**at)), u, dof, k, k * u, tuple(contributions))


def effective_dof(u: float, parts: Sequence[tuple[float, float]]) -> float:
    """Return u^4 / sum(u_i^4 / dof_i) of (u_i, dof_i) (GUM G.4.1), infinite if all are."""
    weight = sum((part / u) ** 4 / dof for part, dof in parts if u > 0.0)
    return 1.0 / weight if weight > 0.0 else math.inf


def coverage_factor(dof: float, confidence: float = 0.95) -> float:
    """Return k for a symmetric interval; ``dof`` is cut to the integer below, but not below 1."""
    whole = max(1, math.floor(dof)) if dof < 1e6 else 1e9
    return t_quantile(0.5 + confidence / 2.0, whole)


def simulate(
    model: Model,
    quantities: Sequence[Quantity],
    seed: int,
    trials: int = TRIALS,
    confidence: float = 0.95,
) -> Simulated:
    """Return what ``trials`` draws of the quantities make of the model (JCGM 101:2008, 7).

    Each quantity has a stream of its own from ``seed``: one more does not change the others.
    """
    drawn = {
        quantity.name: quantity.draw(np.random.default_rng([seed, index]), trials)
        for index, quantity in enumerate(quantities)
    }
    values = np.sort(np.broadcast_to(model(**drawn), (trials,)))
    inside = math.floor(confidence * trials + 0.5)
    start = (trials - inside) // 2
    shortest = int(np.argmin(values[inside:] - values[: trials - inside])) if inside < trials else 0
    last = min(inside, trials - 1)
    return Simulated(
        mean=float(np.mean(values)),
        u=float(np.std(values, ddof=1)),
        low=float(values[start]),
        high=float(values[min(start + last, trials - 1)]),
        shortest_low=float(values[shortest]),
        shortest_high=float(values[min(shortest + last, trials - 1)]),
        trials=trials,
    )


def _part(model: Model, at: dict[str, float], quantity: Quantity) -> float:
    step = STEP * quantity.u
    if step == 0.0:
        return 0.0
    up, down = (
        model(**at | {quantity.name: quantity.estimate + way * step}) for way in (1.0, -1.0)
    )
    return abs(float(up - down)) / (2.0 * STEP)
