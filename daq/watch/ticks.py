"""A fixed pace for judgements that need no more: at most one tick per 10 ms, whatever the rate.

The guard and the peak see every sample; phases, pace and cracks are decided on ticks, so that their
rules cost the same at 93 and at 20,000 samples a second.
"""

from dataclasses import dataclass

import numpy as np

from daq.samples import FloatArray

TICK_S = 0.01


@dataclass(frozen=True, slots=True, eq=False)
class Ticks:
    """Stretches of ten milliseconds: time of the last sample in each, median force (N); (k,)."""

    seconds: FloatArray
    force_n: FloatArray

    def __len__(self) -> int:
        return len(self.seconds)


@dataclass(frozen=True, slots=True, eq=False)
class TickState:
    """The blocks of the tick that is still open, and which tick that is."""

    seconds: tuple[FloatArray, ...]
    force_n: tuple[FloatArray, ...]
    slot: int


NO_TICKS = Ticks(np.empty(0), np.empty(0))


def no_ticks() -> TickState:
    """Return the state before the first sample."""
    return TickState((), (), -1)


def gather(state: TickState, seconds: FloatArray, force_n: FloatArray) -> tuple[TickState, Ticks]:
    """Take a block (n,) and return the ticks it completed. A tick closes with the next sample."""
    if not len(seconds):
        return state, NO_TICKS
    last_slot = int(seconds[-1] // TICK_S)
    state = TickState((*state.seconds, seconds), (*state.force_n, force_n), state.slot)
    if last_slot == state.slot:
        return state, NO_TICKS
    return _close(np.concatenate(state.seconds), np.concatenate(state.force_n), last_slot)


def _close(seconds: FloatArray, force_n: FloatArray, last_slot: int) -> tuple[TickState, Ticks]:
    """Return the ticks of all samples before ``last_slot``, which stays open."""
    ends = np.flatnonzero(np.diff(seconds // TICK_S)) + 1
    starts = np.concatenate([[0], ends])
    open_from = int(starts[-1])
    middles = force_n[starts[:-1]].astype(np.float64)
    for tick in np.flatnonzero(np.diff(starts) > 1).tolist():
        middles[tick] = np.median(force_n[starts[tick] : starts[tick + 1]])
    state = TickState((seconds[open_from:],), (force_n[open_from:],), last_slot)
    return state, Ticks(seconds[ends - 1], middles)
