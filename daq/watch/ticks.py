"""A fixed pace for judgements that need no more: at most one tick per 10 ms, whatever the rate.

The guard and the peak see every sample; phases, pace and cracks are decided on ticks, so that their
rules cost the same at 93 and at 20,000 samples a second.
"""

import math
from dataclasses import dataclass

import numpy as np

from daq.samples import FloatArray

TICK_S = 0.01
_FIRST = np.zeros(1, np.intp)


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
    slots = seconds // TICK_S
    ends = (slots[1:] != slots[:-1]).nonzero()[0] + 1
    starts = np.concatenate([_FIRST, ends])
    open_from = int(starts[-1])
    middles = force_n[starts[:-1]].astype(np.float64)
    for tick in ((starts[1:] - starts[:-1]) > 1).nonzero()[0].tolist():
        middles[tick] = _median(force_n[starts[tick] : starts[tick + 1]])
    state = TickState((seconds[open_from:],), (force_n[open_from:],), last_slot)
    return state, Ticks(seconds[ends - 1], middles)


def _median(values: FloatArray) -> float:
    """Return the median of some values; numpy's own costs ten times as much for so few."""
    ordered = np.sort(values)
    half = len(ordered) // 2
    if ordered[-1] != ordered[-1]:
        return math.nan
    return float(ordered[half] if len(ordered) % 2 else (ordered[half - 1] + ordered[half]) / 2)
