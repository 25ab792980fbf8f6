"""Net counts of a response to newtons: a line or polynomial, straight beyond what is verified."""

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.polynomial import polynomial

from daq.samples import FloatArray

#: Starting loads for degree 3 and more: so near that two Newton steps reach the last digit.
STARTS = 4096
NEWTON_STEPS = 2


def _nothing() -> FloatArray:
    return np.empty(0)


@dataclass(frozen=True, slots=True)
class Curve:
    """A response that rises with load: counts = sum of ``coefficients[i]`` * load_n**i.

    The constant term is not used to get a force: each pull takes its own zero. Above ``up_to_n``
    and below no load the curve goes on as its tangent, because a polynomial outside the loads it
    was fitted to is no description of anything. A straight line needs no such care.

    Raises ValueError where the response does not rise all the way from no load to ``up_to_n``, with
    a slope that keeps within a factor of two: anything else is no load cell.
    """

    coefficients: tuple[float, ...]  # ascending: counts, counts/N, counts/N2, ...
    up_to_n: float = math.inf
    _top_counts: float = field(init=False, repr=False, compare=False, default=math.inf)
    _top_slope: float = field(init=False, repr=False, compare=False, default=math.nan)
    _starts: FloatArray = field(init=False, repr=False, compare=False, default_factory=_nothing)

    def __post_init__(self) -> None:
        if len(self.coefficients) < 2 or not all(map(math.isfinite, self.coefficients)):
            raise ValueError("a curve needs a constant and a slope, both finite")
        if not self._rises():
            raise ValueError("the response does not rise steadily with the load")
        if not self.is_line:
            object.__setattr__(self, "_top_counts", self._net(self.up_to_n))
            object.__setattr__(self, "_top_slope", self.slope(self.up_to_n))
            object.__setattr__(self, "_starts", self._starting_loads())

    @property
    def is_line(self) -> bool:
        """Whether the response is proportional to the load."""
        return len(self.coefficients) == 2

    @property
    def counts_per_newton(self) -> float:
        """Slope at no load."""
        return self.coefficients[1]

    def slope(self, load_n: float) -> float:
        """Return counts per newton at a load."""
        within = load_n if self.is_line else min(max(load_n, 0.0), self.up_to_n)
        return float(polynomial.polyval(within, polynomial.polyder(self.coefficients)))

    def loads_n(self, net_counts: FloatArray) -> FloatArray:
        """Return the loads (n,) in N that give these counts (n,) above zero."""
        if self.is_line:
            return net_counts / self.coefficients[1]
        inside = np.clip(net_counts, 0.0, self._top_counts)
        loads = self._inverse(inside)
        beyond = np.where(net_counts > 0.0, self._top_slope, self.coefficients[1])
        return loads + (net_counts - inside) / beyond

    def _net(self, load_n: float) -> float:
        return float(polynomial.polyval(load_n, (0.0, *self.coefficients[1:])))

    def _inverse(self, net_counts: FloatArray) -> FloatArray:
        first, second = self.coefficients[1], self.coefficients[2]
        if len(self.coefficients) == 3:  # the root without cancellation
            inside = np.maximum(first * first + 4.0 * second * net_counts, 0.0)
            return 2.0 * net_counts / (first + np.sqrt(inside))
        loads = self._starts[(net_counts * (STARTS / self._top_counts)).astype(np.intp)]
        for _ in range(NEWTON_STEPS):
            over_load = _horner(loads, self.coefficients[1:])
            slope = over_load + loads * _horner(loads, self._second_rates())
            loads = loads - (over_load * loads - net_counts) / slope
        return loads

    def _second_rates(self) -> tuple[float, ...]:
        """Coefficients of the derivative of counts / load."""
        return tuple(k * c for k, c in enumerate(self.coefficients[1:]) if k)

    def _starting_loads(self) -> FloatArray:
        loads = np.linspace(0.0, self.up_to_n, 4 * STARTS + 1)
        counts = polynomial.polyval(loads, (0.0, *self.coefficients[1:]))
        return np.interp(np.linspace(0.0, self._top_counts, STARTS + 1), counts, loads)

    def _rises(self) -> bool:
        if self.is_line:
            return self.coefficients[1] > 0.0
        if not 0.0 < self.up_to_n < math.inf:
            return False
        loads = np.linspace(0.0, self.up_to_n, 257)
        slopes = polynomial.polyval(loads, polynomial.polyder(self.coefficients))
        return bool(np.min(slopes) > 0.5 * np.max(slopes))


def _horner(at: FloatArray, coefficients: tuple[float, ...]) -> FloatArray:
    """Return the polynomial (ascending) at each value; numpy's own is slow for a single row."""
    value = at * coefficients[-1]
    for coefficient in coefficients[-2:0:-1]:
        value = (value + coefficient) * at
    return value + coefficients[0]
