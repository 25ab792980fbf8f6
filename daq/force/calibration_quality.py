"""How good a set of weight readings is: repeatability, hysteresis, zero return, lower limit.

Percentages follow the formulas of ISO 376 (from memory) and are figures, not a class: a class needs
series, rotations and forces that known weights at a shop rig do not give.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from numpy.polynomial import polynomial

from daq.force.calibration import Point
from daq.force.polynomial_fit import Fit
from daq.samples import FloatArray

#: LLF = 2.4 standard deviations of the fit (ASTM E74-18, 7.1.2), about a 99 % band.
LLF_FACTOR = 2.4
#: The range that starts at 400 x LLF is good to 0.25 % by scatter (ASTM E74-18, 8.5).
RANGE_FACTOR = 400.0
#: An intercept below this part of the span is a reading that was zeroed before it was noted.
ZEROED = 0.01


@dataclass(frozen=True, slots=True, eq=False)
class Readings:
    """Valid rows: loads (n,) in N, one response each (n,), and how they were taken."""

    points: tuple[Point, ...]
    loads_n: FloatArray
    responses: FloatArray

    @property
    def loaded(self) -> npt.NDArray[np.bool_]:
        """Which rows (n,) carry weight."""
        return self.loads_n > 0.0

    @property
    def directions(self) -> npt.NDArray[np.str_]:
        """Direction of each row (n,)."""
        return np.array([point.direction for point in self.points])

    @property
    def series(self) -> npt.NDArray[np.str_]:
        """Series of each row (n,)."""
        return np.array([point.series for point in self.points])


def net_responses(readings: Readings, fit: Fit) -> FloatArray:
    """Return the responses (n,) above no load: less the first zero row of the series.

    Without one: less the mean of all zero rows; without any: less the fitted constant, unless it
    is so small that the readings were plainly zeroed before.
    """
    whole = readings.responses
    zeros = whole[~readings.loaded]
    span = float(np.ptp(whole))
    constant = float(fit.coefficients[0])
    common = float(np.mean(zeros)) if len(zeros) else constant * (abs(constant) > ZEROED * span)
    firsts = {
        point.series: response
        for point, response in reversed(list(zip(readings.points, whole, strict=True)))
        if point.load_n == 0.0
    }
    zero = np.array([firsts.get(point.series, common) for point in readings.points])
    return np.asarray(whole - zero, dtype=np.float64)


def lower_limit_n(readings: Readings, net: FloatArray, fit: Fit, resolution: float) -> float:
    """Return the lower limit factor in N: 2.4 SD of the fit by the mean load per response.

    Never less than the resolution (ASTM E74-18, 7.1.2). A figure of scatter and fit, not the
    uncertainty of a measurement. No loaded row of ``net`` (n,) may be 0.
    """
    loaded = readings.loaded
    per_response = abs(float(np.mean(readings.loads_n[loaded] / net[loaded])))
    return max(LLF_FACTOR * fit.residual_sd, resolution) * per_response


def largest_error_percent(readings: Readings, fit: Fit) -> float:
    """Return the largest indicated - true force of a point, as % of its load."""
    loaded = readings.loaded
    loads_n = readings.loads_n[loaded]
    slopes = polynomial.polyval(loads_n, polynomial.polyder(fit.coefficients))
    return 100.0 * float(np.max(np.abs(fit.residuals[loaded] / (slopes * loads_n))))


def range_start_n(llf_n: float, loads_n: FloatArray) -> float | None:
    """Return the force from which 400 x LLF holds, not below the least weight; None: nowhere."""
    start = max(RANGE_FACTOR * llf_n, float(np.min(loads_n[loads_n > 0.0])))
    return start if start <= float(np.max(loads_n)) else None


def repeatability_percent(readings: Readings, net: FloatArray) -> float | None:
    """Return the widest gap between repeats of one load going up, % of their mean."""
    gaps = []
    for load in np.unique(readings.loads_n[readings.loaded]):
        same = net[(readings.loads_n == load) & (readings.directions != "down")]
        if len(same) > 1:
            gaps.append(100.0 * float(np.ptp(same)) / abs(float(np.mean(same))))
    return max(gaps, default=None)


def hysteresis_percent(readings: Readings, net: FloatArray) -> float | None:
    """Return the widest gap between a load coming down and going up, % of going up.

    At each load the mean over the series that have both.
    """
    worst = []
    for load in np.unique(readings.loads_n[readings.loaded]):
        gaps = []
        for series in np.unique(readings.series):
            here = (readings.loads_n == load) & (readings.series == series)
            up, down = (net[here & (readings.directions == way)] for way in ("up", "down"))
            if len(up) and len(down):
                gaps.append(100.0 * abs(float(np.mean(down) / np.mean(up)) - 1.0))
        if gaps:
            worst.append(float(np.mean(gaps)))
    return max(worst, default=None)


def zero_return_percent(readings: Readings, net: FloatArray) -> float | None:
    """Return the largest zero after minus zero before a series, % of the largest response."""
    top = float(np.max(np.abs(net)))
    moves = []
    for series in np.unique(readings.series):
        zeros = net[~readings.loaded & (readings.series == series)]
        if len(zeros) > 1:
            moves.append(100.0 * float(zeros[-1] - zeros[0]) / top)
    return max(moves, key=abs, default=None)
