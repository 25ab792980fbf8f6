"""A fixed pace for judgements that need no more: at most one tick per 10 ms, whatever the rate.

The guard and the peak see every sample; phases, pace and cracks are decided on ticks, so that their
rules cost the same at 93 and at 20,000 samples a second.
"""

from dataclasses import dataclass

import numpy as np

from daq.samples import FloatArray

TICK_S = 0.01


@dataclass(frozen=True, slots=True)
class Tick:
    """Ten milliseconds: the time of the last sample in it, and the median of its forces (N)."""

    seconds: float
    force_n: float


@dataclass(frozen=True, slots=True, eq=False)
class TickState:
    """The samples of the tick that is still open."""

    seconds: FloatArray
    force_n: FloatArray


def no_ticks() -> TickState:
    """Return the state before the first sample."""
    return TickState(np.empty(0), np.empty(0))


def gather(
    state: TickState, seconds: FloatArray, force_n: FloatArray
) -> tuple[TickState, list[Tick]]:
    """Take a block (n,) and return the ticks it completed. A tick closes with the next sample."""
    if not len(seconds):
        return state, []
    seconds = np.concatenate([state.seconds, seconds])
    force_n = np.concatenate([state.force_n, force_n])
    slot = np.floor(seconds / TICK_S)
    ends = np.flatnonzero(np.diff(slot)) + 1
    ticks = []
    start = 0
    for end in ends.tolist():
        middle = force_n[start] if end - start == 1 else np.median(force_n[start:end])
        ticks.append(Tick(float(seconds[end - 1]), float(middle)))
        start = end
    return TickState(seconds[start:], force_n[start:]), ticks
