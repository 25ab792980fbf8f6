"""The maximum of a pull, over every believable raw sample, and its median-of-3 companion.

A lone reading far above both neighbours has no recovery shape: a converter that settles over
several samples cannot make one, a bad clock pulse or a garbled digit can. It is marked and is
never the maximum. The same function finds it live (one sample late) and in reduction.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from daq.samples import NOT_A_MAXIMUM, FloatArray

#: A lone reading must stand out by this part of the stop force, and by this many noise SDs.
SPIKE_PART_OF_STOP = 0.005
SPIKE_NOISE_SDS = 12.0


def spike_threshold_n(stop_n: float, noise_n: float) -> float:
    """Return how far a lone sample must stand out to be a spike, in N (our rule, no source)."""
    return max(SPIKE_PART_OF_STOP * stop_n, SPIKE_NOISE_SDS * noise_n)


def lone_spikes(force_n: FloatArray, threshold_n: float) -> npt.NDArray[np.bool_]:
    """Mark samples beyond both neighbours, the same way, by more than ``threshold_n``.

    force_n: (n,) newtons -> (n,) bool. The first and last sample have one neighbour only and are
    never marked here.
    """
    lone = np.zeros(len(force_n), dtype=np.bool_)
    before, here, after = force_n[:-2], force_n[1:-1], force_n[2:]
    lone[1:-1] = (np.minimum(here - before, here - after) > threshold_n) | (
        np.minimum(before - here, after - here) > threshold_n
    )
    return lone


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
    """A fold: the peak, and the last two samples, of which the newest still waits for its judge."""

    peak: Peak
    force_n: FloatArray
    seconds: FloatArray
    index: npt.NDArray[np.uint64]
    barred: npt.NDArray[np.bool_]


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
    """Take a block: force_n, seconds (n,) and its samples. The newest waits for its successor."""
    if not len(force_n):
        return state
    joined = PeakState(
        state.peak,
        np.concatenate([state.force_n, force_n]),
        np.concatenate([state.seconds, seconds]),
        np.concatenate([state.index, samples["index"]]),
        np.concatenate([state.barred, (samples["flags"] & int(NOT_A_MAXIMUM)) != 0]),
    )
    judged = slice(min(len(state.force_n), 1), len(joined.force_n) - 1)
    peak = state.peak
    if not _below(joined.force_n, peak, threshold_n):
        peak = _best(joined, judged, threshold_n)
    keep = slice(-2, None)
    return PeakState(
        peak, joined.force_n[keep], joined.seconds[keep], joined.index[keep], joined.barred[keep]
    )


def _below(force_n: FloatArray, peak: Peak, threshold_n: float) -> bool:
    """Whether a block can change nothing: below the peak, and too even to hold a spike."""
    highest = float(force_n.max())
    even = highest - float(force_n.min()) <= threshold_n
    return even and highest <= peak.force_n and highest <= peak.median3_n


def settle(state: PeakState) -> Peak:
    """Return the peak with the waiting sample counted (it has no successor to be judged by)."""
    last = slice(min(len(state.force_n), 1), None)
    return _best(state, last, float("inf")) if len(state.force_n[last]) else state.peak


def _best(state: PeakState, judged: slice, threshold_n: float) -> Peak:
    """Return the peak after the samples of ``judged``, whose neighbours are in ``state``."""
    lone = lone_spikes(state.force_n, threshold_n)[judged]
    forces = np.where(state.barred[judged] | lone, -np.inf, state.force_n[judged])
    peak = replace(
        state.peak,
        spikes=state.peak.spikes + int(lone.sum()),
        median3_n=np.fmax(state.peak.median3_n, _median3_maximum(state.force_n)),
    )
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
    """Return the largest median of three neighbours, NaN where there are fewer than three."""
    if len(force_n) < 3:
        return float("nan")
    low = np.minimum(force_n[:-1], force_n[1:])
    high = np.maximum(force_n[:-1], force_n[1:])
    return float(np.max(np.maximum(low[:-1], np.minimum(high[:-1], force_n[2:]))))
