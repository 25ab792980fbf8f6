"""What a reading cannot be: a cell that stands still, a force that leaps. Pure folds; no source.

A converter has noise, so a cell that repeats one count for a second is not measuring. A crank is
slow, so a force that is far above all before it within one sample came from a bad clock pulse, a
wrong gain or a garbled digit. Both are marked, told and kept; neither becomes the maximum.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from daq.samples import FloatArray

STILL_NS = 1_000_000_000
STILL_SAMPLES = 10
#: A cell with this much noise (counts, SD, without load) cannot repeat itself for long ...
NOISY_COUNTS = 2.0
#: ... and one with less is still where another cell moves meanwhile by this part of its capacity.
MOVED_PART = 0.01

#: Within one sample a force may rise above its maximum by this part of the stop force ...
LEAP_PART = 0.10
#: ... and by so many stop forces for each second since the sample before.
CLIMB_PER_S = 1.0

BoolArray = npt.NDArray[np.bool_]
_NO_MARKS = np.zeros(0, dtype=np.bool_)


@dataclass(frozen=True, slots=True, eq=False)
class StillRules:
    """Per cell, (cells,): whether its noise is known to move it, and what another's move is."""

    noisy: BoolArray
    moved_counts: FloatArray


def still_rules(noise_sd: FloatArray, capacity_counts: FloatArray) -> StillRules:
    """Return the rules from the noise SD at zero and the counts at capacity, both (cells,)."""
    return StillRules(noise_sd >= NOISY_COUNTS, MOVED_PART * np.abs(capacity_counts))


@dataclass(frozen=True, slots=True, eq=False)
class Stillness:
    """A fold: the newest counts of each cell, since when (arrival, ns), in how many samples.

    ``then`` is (cells, cells): row i holds the counts of all cells when cell i last changed.
    """

    counts: npt.NDArray[np.int32]
    since_ns: npt.NDArray[np.int64]
    samples: npt.NDArray[np.int64]
    then: npt.NDArray[np.int32]


def no_stillness(cells: int) -> Stillness:
    """Return the state before the first sample."""
    none = np.zeros(cells, np.int64)
    empty = np.zeros((cells, cells), np.int32)
    return Stillness(empty[0], none, none, empty)


def find_still(
    state: Stillness, rules: StillRules, samples: np.ndarray
) -> tuple[Stillness, BoolArray]:
    """Return the state after a block (n,) and which cells stand still at each sample (n, cells).

    A cell is marked from the moment it is known. With nothing to mark the array is empty, (0,).
    """
    if not len(samples):
        return state, _NO_MARKS
    counts, arrival_ns = samples["counts"], samples["arrival_ns"]
    before = counts[-2] if len(counts) > 1 else state.counts
    if (counts[-1] != before).all() and _too_soon(state, arrival_ns):
        return _moving(counts[-1].copy(), int(arrival_ns[-1])), _NO_MARKS  # the usual case
    changed = np.empty(counts.shape, dtype=np.bool_)
    changed[0] = (counts[0] != state.counts) | (state.samples == 0)
    np.not_equal(counts[1:], counts[:-1], out=changed[1:])
    number = np.arange(len(samples))[:, None]
    began = np.maximum.accumulate(np.where(changed, number, -1), axis=0)
    carried = began < 0
    since_ns = np.where(carried, state.since_ns, arrival_ns[began])
    repeats = np.where(carried, state.samples + number + 1, number - began + 1)
    last = began[-1]
    then = np.where((last < 0)[:, None], state.then, counts[last])
    after = Stillness(counts[-1].copy(), since_ns[-1], repeats[-1], then)
    long = (repeats >= STILL_SAMPLES) & (arrival_ns[:, None] - since_ns >= STILL_NS)
    if not long.any():
        return after, _NO_MARKS
    return after, long & (rules.noisy | _others_moved(state, rules, counts, began))


def _too_soon(state: Stillness, arrival_ns: npt.NDArray[np.int64]) -> bool:
    """Whether no cell can have been still for long enough anywhere in a block."""
    since_ns = int(state.since_ns.min()) if state.samples.all() else int(arrival_ns[0])
    return int(arrival_ns[-1]) - since_ns < STILL_NS


def _moving(counts: npt.NDArray[np.int32], now_ns: int) -> Stillness:
    """Return the state after a sample in which every cell has just moved."""
    cells = len(counts)
    return Stillness(
        counts,
        np.full(cells, now_ns, np.int64),
        np.ones(cells, np.int64),
        counts[None].repeat(cells, axis=0),
    )


def _others_moved(
    state: Stillness, rules: StillRules, counts: npt.NDArray[np.int32], began: npt.NDArray[np.intp]
) -> BoolArray:
    """Whether another cell moved since each cell last changed, (n, cells)."""
    moved = np.empty(began.shape, dtype=np.bool_)
    for cell in range(began.shape[1]):
        first = began[:, cell]
        then = np.where((first < 0)[:, None], state.then[cell], counts[first])
        away = np.abs(counts.astype(np.int64) - then)
        moved[:, cell] = (away > rules.moved_counts).any(axis=1)
    return moved


@dataclass(frozen=True, slots=True)
class Climb:
    """A fold: the highest believable force so far (N) and the time of the newest sample (s)."""

    highest_n: float = float("-inf")
    last_s: float = float("-inf")


def find_leaps(
    state: Climb, force_n: FloatArray, seconds: FloatArray, stop_n: float
) -> tuple[Climb, BoolArray]:
    """Return the state after a block and which of its forces nobody can have cranked; (n,) each.

    A force stays marked as long as it stands so high: a factor that came out of nowhere does not
    become true by lasting. With nothing to mark the array is empty, (0,).
    """
    if not len(force_n):
        return state, _NO_MARKS
    top_n, last_s = float(force_n.max()), float(seconds[-1])
    if state.highest_n == float("-inf"):
        state = Climb(float(force_n[0]), float(seconds[0]))
    if top_n <= state.highest_n + LEAP_PART * stop_n:
        return Climb(max(state.highest_n, top_n), last_s), _NO_MARKS
    waits_s = np.diff(seconds, prepend=state.last_s)
    room_n = stop_n * (LEAP_PART + CLIMB_PER_S * waits_s)
    return _walk(state.highest_n, last_s, force_n, room_n)


def _walk(
    highest_n: float, last_s: float, force_n: FloatArray, room_n: FloatArray
) -> tuple[Climb, BoolArray]:
    """Go from leap to leap: only what is believed raises the mark for what follows."""
    marks, start = np.zeros(len(force_n), dtype=np.bool_), 0
    while start < len(force_n):
        before = np.maximum.accumulate(np.concatenate([[highest_n], force_n[start:]]))
        leaps = force_n[start:] > before[:-1] + room_n[start:]
        first = int(leaps.argmax()) if leaps.any() else len(leaps)
        highest_n = float(before[first])
        start += first
        if start < len(force_n):
            high = force_n[start:] > highest_n + room_n[start:]
            count = len(high) if high.all() else int(high.argmin())
            marks[start : start + count] = True
            start += count
    return Climb(highest_n, last_s), marks if marks.any() else _NO_MARKS
