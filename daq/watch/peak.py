"""The maximum of a pull, over every believable raw sample, and its median-of-3 companion.

A lone reading far above both neighbours has no recovery shape: a converter that settles over
several samples cannot make one, a bad clock pulse or a garbled digit can. So has a short run of
readings that leaps up and back again. Both are marked and are never the maximum. The same function
finds them live (a few samples late) and in reduction.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from daq.samples import NOT_A_MAXIMUM, FloatArray

#: A lone reading must stand out by this part of the stop force, and by this many noise SDs.
SPIKE_PART_OF_STOP = 0.005
SPIKE_NOISE_SDS = 12.0
#: Up to so many readings in a row may be one spike; from two on it must stand out further, or the
#: ring of a beam after a failure would be one.
SPIKE_SAMPLES = 4
RUN_THRESHOLDS = 4.0
#: Samples kept from block to block: those that wait, a spike before them, and its two neighbours.
KEEP_SAMPLES = 2 * SPIKE_SAMPLES + 2


def spike_threshold_n(stop_n: float, noise_n: float) -> float:
    """Return how far a lone sample must stand out to be a spike, in N (our rule, no source)."""
    return max(SPIKE_PART_OF_STOP * stop_n, SPIKE_NOISE_SDS * noise_n)


def lone_spikes(force_n: FloatArray, threshold_n: float) -> npt.NDArray[np.bool_]:
    """Mark one to SPIKE_SAMPLES readings in a row that stand out from both neighbours, one way.

    force_n: (n,) newtons -> (n,) bool. One reading must stand out by more than ``threshold_n``,
    several by RUN_THRESHOLDS times that; and they come back: what falls further than it rose is a
    failure, whose last reading before is real. What touches an end is never marked here.
    """
    marks = np.zeros(len(force_n), dtype=np.bool_)
    if len(force_n) < 3 or np.abs(np.diff(force_n)).max() <= threshold_n:
        return marks  # the usual case, and quick
    for way in (force_n, -force_n):
        _mark_rises(marks, way, threshold_n)
    return marks


def _mark_rises(marks: npt.NDArray[np.bool_], force_n: FloatArray, threshold_n: float) -> None:
    lowest = force_n[1:-1]
    for length in range(1, min(SPIKE_SAMPLES, len(force_n) - 2) + 1):
        if length > 1:
            lowest = np.minimum(lowest[:-1], force_n[length:-1])
        before, after = force_n[: -length - 1], force_n[length + 1 :]
        least_n = threshold_n * (RUN_THRESHOLDS if length > 1 else 1.0)
        height = lowest - before
        found = (height > least_n) & (lowest - after > least_n) & (before - after <= height)
        for start in np.flatnonzero(found).tolist():
            marks[start + 1 : start + 1 + length] = True


@dataclass(frozen=True, slots=True)
class Peak:
    """Maximum so far: newtons, seconds and sample index; NaN and -1 before the first sample."""

    force_n: float = float("nan")
    seconds: float = float("nan")
    index: int = -1
    median3_n: float = float("nan")
    spikes: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class PeakState:
    """A fold: the peak, and the last samples, of which the newest ``waiting`` have no judge yet."""

    peak: Peak
    force_n: FloatArray
    seconds: FloatArray
    index: npt.NDArray[np.uint64]
    barred: npt.NDArray[np.bool_]
    waiting: int = 0
    threshold_n: float = float("inf")


def no_peak() -> PeakState:
    """Return the state before the first sample of a pull."""
    empty = np.empty(0)
    return PeakState(Peak(), empty, empty, np.empty(0, np.uint64), np.empty(0, np.bool_))


def hold(
    state: PeakState,
    force_n: FloatArray,
    seconds: FloatArray,
    samples: np.ndarray,
    threshold_n: float,
) -> PeakState:
    """Take a block: force_n, seconds (n,) and its samples. The newest wait for their successors."""
    if not len(force_n):
        return state
    joined = PeakState(
        state.peak,
        np.concatenate([state.force_n, force_n]),
        np.concatenate([state.seconds, seconds]),
        np.concatenate([state.index, samples["index"]]),
        np.concatenate([state.barred, (samples["flags"] & int(NOT_A_MAXIMUM)) != 0]),
    )
    known = len(joined.force_n) - SPIKE_SAMPLES
    judged = slice(len(state.force_n) - state.waiting, max(known, 0))
    peak = state.peak
    if not _below(joined.force_n, peak, threshold_n):
        peak = _best(joined, judged, threshold_n)
    keep = slice(-KEEP_SAMPLES, None)
    waiting = min(SPIKE_SAMPLES, len(joined.force_n))
    return PeakState(
        peak,
        joined.force_n[keep],
        joined.seconds[keep],
        joined.index[keep],
        joined.barred[keep],
        waiting,
        threshold_n,
    )


def _below(force_n: FloatArray, peak: Peak, threshold_n: float) -> bool:
    """Whether a block can change nothing: below the peak, and too even to hold a spike."""
    highest = float(force_n.max())
    even = highest - float(force_n.min()) <= threshold_n
    return even and highest <= peak.force_n and highest <= peak.median3_n


def settle(state: PeakState) -> Peak:
    """Return the peak with the waiting samples counted: nothing more comes to judge them by."""
    last = slice(len(state.force_n) - state.waiting, None)
    return _best(state, last, state.threshold_n) if state.waiting else state.peak


def _best(state: PeakState, judged: slice, threshold_n: float) -> Peak:
    """Return the peak after the samples of ``judged``, whose neighbours are in ``state``."""
    lone = lone_spikes(state.force_n, threshold_n)
    believed = np.where(state.barred | lone, -np.inf, state.force_n)
    beside = slice(max(0, judged.start - 2), judged.stop)
    peak = replace(
        state.peak,
        spikes=state.peak.spikes + int(lone[judged].sum()),
        median3_n=np.fmax(state.peak.median3_n, _median3_maximum(believed[beside])),
    )
    forces = believed[judged]
    if not len(forces):
        return peak
    at = int(np.argmax(forces))
    if not forces[at] > -np.inf or forces[at] <= peak.force_n:
        return peak
    return replace(
        peak,
        force_n=float(forces[at]),
        seconds=float(state.seconds[judged][at]),
        index=int(state.index[judged][at]),
    )


def _median3_maximum(force_n: FloatArray) -> float:
    """Return the largest median of three neighbours, NaN without one; -inf is no reading."""
    if len(force_n) < 3:
        return float("nan")
    low = np.minimum(force_n[:-1], force_n[1:])
    high = np.maximum(force_n[:-1], force_n[1:])
    highest = float(np.max(np.maximum(low[:-1], np.minimum(high[:-1], force_n[2:]))))
    return highest if highest > -np.inf else float("nan")
