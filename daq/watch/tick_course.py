"""What every tick is judged by, for a block of ticks at once: slope, and the top before it."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from daq.samples import FloatArray
from daq.watch.ticks import Ticks

WINDOW_S = 0.4  # slopes are taken over this
DROP_S = 0.25  # a fall within this is sudden


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """Ticks with what lies behind each: slope over WINDOW_S, highest force of the last DROP_S."""

    seconds: FloatArray
    force_n: FloatArray
    slope_n_per_s: FloatArray
    top_n: FloatArray
    recent: Ticks  # the last WINDOW_S of it


def course_of(recent: Ticks, ticks: Ticks) -> Course:
    """Return the course of ``ticks`` (at least one) after ``recent``, the last WINDOW_S before."""
    seconds = np.concatenate([recent.seconds, ticks.seconds])
    force_n = np.concatenate([recent.force_n, ticks.force_n])
    here = np.arange(len(recent), len(seconds))
    window = seconds.searchsorted(ticks.seconds - WINDOW_S)
    span_s = ticks.seconds - seconds[window]
    rise_n = ticks.force_n - force_n[window]
    slope = np.divide(rise_n, span_s, out=np.zeros(len(ticks)), where=span_s > 0.0)
    lately = seconds.searchsorted(ticks.seconds - DROP_S)
    keep = slice(int(window[-1]), None)
    return Course(
        ticks.seconds,
        ticks.force_n,
        slope,
        _highest(force_n, lately, here),
        Ticks(seconds[keep], force_n[keep]),
    )


def _highest(
    values: FloatArray, first: npt.NDArray[np.intp], last: npt.NDArray[np.intp]
) -> FloatArray:
    """Return the maximum of ``values[first : last + 1]`` for each pair; ``last`` rises by ones."""
    edges = np.empty(2 * len(first), np.intp)
    edges[::2], edges[1::2] = first, last + 1
    best: FloatArray = np.maximum.reduceat(values, edges[:-1])[::2]  # every other is between pairs
    return best
