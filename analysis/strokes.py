"""Cranking told from resting: strokes and rests of a hand-cranked pull, from force and time alone.

A stroke is a stretch in which the force climbs; a rest is what lies between two of them (slope <= 0
for longer than REST_S; common practice, no source). Nothing here knows how far the crank turned.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from daq.samples import FloatArray

REST_S = 0.4
SLOPE_S = 0.16  # slopes are taken over this
STILL_PART = 0.12  # of the usual climb: slower than this is no stroke
LEAST_S = 0.25  # a shorter climb is a tooth or a touch
LEAST_GAIN_PART = 0.05  # of the usual gain of a stroke: less is a bump


@dataclass(frozen=True, slots=True, eq=False)
class Strokes:
    """Strokes in order; ``first`` and ``last`` are places of samples, (k,)."""

    first: npt.NDArray[np.intp]
    last: npt.NDArray[np.intp]

    def __len__(self) -> int:
        return len(self.first)


NO_STROKES = Strokes(np.empty(0, np.intp), np.empty(0, np.intp))


def slopes(seconds: FloatArray, force_n: FloatArray) -> FloatArray:
    """Return the change of force about each sample, over SLOPE_S, in N/s; (n,) -> (n,)."""
    half = _half_window(seconds)
    last = len(seconds) - 1
    here = np.arange(len(seconds))
    before, after = np.maximum(here - half, 0), np.minimum(here + half, last)
    span_s = seconds[after] - seconds[before]
    rise_n = force_n[after] - force_n[before]
    return np.divide(rise_n, span_s, out=np.zeros(len(seconds)), where=span_s > 0.0)


def find_strokes(
    seconds: FloatArray, force_n: FloatArray, begin: int, end: int, noise_n: float
) -> Strokes:
    """Return the strokes between the samples ``begin`` and ``end`` of a pull; (n,) arrays."""
    part = slice(begin, end)
    slope = slopes(seconds[part], force_n[part])
    climbing = slope[slope > 4.0 * noise_n / SLOPE_S]
    if len(climbing) < 8:
        return NO_STROKES
    moving = slope > max(STILL_PART * float(np.percentile(climbing, 75)), 4.0 * noise_n / SLOPE_S)
    first, last = _runs(moving)
    strokes = _joined(first + begin, last + begin, seconds)
    gain_n = force_n[strokes.last] - force_n[strokes.first]
    real = gain_n > LEAST_GAIN_PART * np.median(gain_n) if len(gain_n) else np.empty(0, np.bool_)
    return Strokes(strokes.first[real], strokes.last[real])


def _half_window(seconds: FloatArray) -> int:
    if len(seconds) < 3:
        return 1
    period_s = float(np.median(np.diff(seconds)))
    return max(1, round(0.5 * SLOPE_S / period_s)) if period_s > 0.0 else 1


def _runs(marks: npt.NDArray[np.bool_]) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Return first and last place of each stretch that is marked."""
    edges = np.diff(np.concatenate([[0], marks.astype(np.int8), [0]]))
    return np.flatnonzero(edges == 1), np.flatnonzero(edges == -1) - 1


def _joined(
    first: npt.NDArray[np.intp], last: npt.NDArray[np.intp], seconds: FloatArray
) -> Strokes:
    """Return stretches with breaks shorter than a rest closed, and short ones left out."""
    if not len(first):
        return Strokes(first, last)
    parted = seconds[first[1:]] - seconds[last[:-1]] > REST_S
    first, last = first[np.r_[True, parted]], last[np.r_[parted, True]]
    long_enough = seconds[last] - seconds[first] >= LEAST_S
    return Strokes(first[long_enough], last[long_enough])
