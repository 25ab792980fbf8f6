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
    """The blocks of the tick that is still open, and which tick that is."""

    seconds: tuple[FloatArray, ...]
    force_n: tuple[FloatArray, ...]
    slot: int


def no_ticks() -> TickState:
    """Return the state before the first sample."""
    return TickState((), (), -1)


def gather(
    state: TickState, seconds: FloatArray, force_n: FloatArray
) -> tuple[TickState, list[Tick]]:
    """Take a block (n,) and return the ticks it completed. A tick closes with the next sample."""
    if not len(seconds):
        return state, []
    last_slot = int(seconds[-1] // TICK_S)
    state = TickState((*state.seconds, seconds), (*state.force_n, force_n), state.slot)
    if last_slot == state.slot:
        return state, []
    return _close(np.concatenate(state.seconds), np.concatenate(state.force_n), last_slot)


def _close(
    seconds: FloatArray, force_n: FloatArray, last_slot: int
) -> tuple[TickState, list[Tick]]:
    """Return the ticks of all samples before ``last_slot``, which stays open."""
    ends = np.flatnonzero(np.diff(seconds // TICK_S)) + 1
    ticks = []
    start = 0
    for end in ends.tolist():
        middle = force_n[start] if end - start == 1 else np.median(force_n[start:end])
        ticks.append(Tick(float(seconds[end - 1]), float(middle)))
        start = end
    return TickState((seconds[start:],), (force_n[start:],), last_slot), ticks
