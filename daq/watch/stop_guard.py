"""The stop guard: judges every sample before anything else may wait, and latches.

It is a notice, not a safety function: it cannot hold the crank or release a load.
"""

from dataclasses import dataclass, replace

import numpy as np

from daq.live_reading import Trip
from daq.samples import Flag, FloatArray

_TRIPPING_FLAGS = int(Flag.SATURATED | Flag.RESTART | Flag.STUCK)


#: Load presses a cell. Pulled by this part of its capacity its sign is reversed, or its zero was
#: taken under load: two such cells cancel, and the sum would never reach the stop. The ring after
#: a break stays below it (common practice, no source).
PULLED_PART = 0.1


@dataclass(frozen=True, slots=True)
class GuardLimits:
    """What the guard judges by: newtons at the specimen and at each cell, silence in ns."""

    stop_n: float
    cell_names: tuple[str, ...]
    cell_capacities_n: tuple[float, ...]
    stale_after_ns: int


@dataclass(frozen=True, slots=True)
class GuardState:
    """``trip`` stays until `acknowledge`; ``heard_ns`` is the arrival of the last good sample.

    ``heard_us`` is its time on the board's clock, which goes on while the computer sleeps.
    """

    trip: Trip | None = None
    heard_ns: int | None = None
    heard_us: int = 0


def judge(
    state: GuardState,
    limits: GuardLimits,
    samples: np.ndarray,
    cells_n: FloatArray,
    at_specimen_n: FloatArray,
    now_ns: int,
    still: str = "",
) -> GuardState:
    """Judge a block (perhaps empty) and return the state after it.

    samples: (n,) structured; cells_n: (n, cells) newtons at each cell; at_specimen_n: (n,)
    newtons. The first sample beyond a limit makes the trip, whatever its flags; a force at the
    specimen counts in both directions, a cell may be pulled by PULLED_PART of its capacity. An
    empty block at ``now_ns`` (host, monotonic) is how silence is noticed; so is a leap of the
    board's clock. ``still`` names the cells behind
    the flag STUCK. A latched trip is never replaced.
    """
    heard = state
    if len(samples):
        newest = samples[-1]
        heard = GuardState(state.trip, int(newest["arrival_ns"]), int(newest["board_us"]))
    if state.trip is not None:
        return heard
    found = (
        _silence(state, limits, samples, now_ns),
        _over(limits, samples, cells_n, at_specimen_n, still),
    )
    trips = [trip for trip in found if trip is not None]
    return replace(heard, trip=min(trips, key=lambda trip: trip.index)) if trips else heard


def fault_trip(state: GuardState, cause: str, index: int, message: str) -> GuardState:
    """Trip for a cause that is no sample: queue full, recorder fault, board gone."""
    if state.trip is not None:
        return state
    return replace(state, trip=Trip(cause, index, float("nan"), message))


def acknowledge(state: GuardState, force_n: float, safe_n: float) -> GuardState:
    """Release the latch if the force is known and low; otherwise change nothing."""
    if state.trip is None or not abs(force_n) < safe_n:
        return state
    return replace(state, trip=None)


def _silence(
    state: GuardState, limits: GuardLimits, samples: np.ndarray, now_ns: int
) -> Trip | None:
    """Return the trip of the first silence that was too long, if one was."""
    if len(samples):
        return _silence_before(state, limits, samples)
    if state.heard_ns is None or now_ns - state.heard_ns <= limits.stale_after_ns:
        return None
    return _silent(-1, now_ns - state.heard_ns)


def _silence_before(state: GuardState, limits: GuardLimits, samples: np.ndarray) -> Trip | None:
    """Return the trip of the first sample that comes too late by the host's or the board's clock.

    The board's clock tells of a host that slept: its own clock stood still meanwhile.
    """
    first, last = samples[0], samples[-1]
    heard_ns, heard_us = state.heard_ns, state.heard_us
    if heard_ns is None:
        heard_ns, heard_us = int(first["arrival_ns"]), int(first["board_us"])
    by_board_ns = (int(last["board_us"]) - heard_us) * 1000
    if max(int(last["arrival_ns"]) - heard_ns, by_board_ns) <= limits.stale_after_ns:
        return None  # neither clock runs backwards
    steps_us = np.diff(samples["board_us"].astype(np.int64), prepend=heard_us)
    steps_us[(samples["flags"] & int(Flag.RESTART)) != 0] = 0
    waits_ns = np.maximum(np.diff(samples["arrival_ns"], prepend=heard_ns), steps_us * 1000)
    late = waits_ns > limits.stale_after_ns
    at = int(late.argmax())
    return _silent(int(samples["index"][at]), int(waits_ns[at])) if late[at] else None


def _silent(index: int, silent_ns: int) -> Trip:
    words = f"no data for {silent_ns / 1e9:.1f} s: force unknown"
    return Trip("silence", index, float("nan"), words)


def _all_well(
    limits: GuardLimits, samples: np.ndarray, cells_n: FloatArray, at_specimen_n: FloatArray
) -> bool:
    """Whether no sample breaks a rule, from the extremes alone: the usual case, and quick.

    A NaN makes its extreme NaN, which is within no limit.
    """
    capacities_n = limits.cell_capacities_n
    highest_n, lowest_n = cells_n.max(axis=0).tolist(), cells_n.min(axis=0).tolist()
    return bool(
        at_specimen_n.max() <= limits.stop_n
        and at_specimen_n.min() >= -limits.stop_n
        and all(n <= most for n, most in zip(highest_n, capacities_n, strict=True))
        and all(n >= -PULLED_PART * most for n, most in zip(lowest_n, capacities_n, strict=True))
        and not (np.bitwise_or.reduce(samples["flags"]) & _TRIPPING_FLAGS)
    )


def _over(
    limits: GuardLimits,
    samples: np.ndarray,
    cells_n: FloatArray,
    at_specimen_n: FloatArray,
    still: str,
) -> Trip | None:
    """Return the trip of the first sample that breaks a rule, if any does."""
    if not len(samples) or _all_well(limits, samples, cells_n, at_specimen_n):
        return None
    over_stop = ~(np.abs(at_specimen_n) <= limits.stop_n)  # NaN counts as over
    capacities_n = np.asarray(limits.cell_capacities_n)
    over_cell = ~((cells_n <= capacities_n) & (cells_n >= -PULLED_PART * capacities_n))
    flagged = (samples["flags"] & _TRIPPING_FLAGS) != 0
    bad = over_stop | over_cell.any(axis=1) | flagged
    first = int(np.argmax(bad))  # there is one, or all were well
    index, force_n = int(samples["index"][first]), float(at_specimen_n[first])
    flags = int(samples["flags"][first])
    if flags & Flag.SATURATED:
        return Trip("saturated", index, force_n, "a converter is at its end: force unknown")
    if flags & Flag.RESTART:
        return Trip("board restart", index, force_n, "the board restarted: take the zero again")
    if flags & Flag.STUCK:
        return Trip("channel missing", index, force_n, f"{still or 'a cell'} stands still")
    if over_cell[first].any():
        cell = int(np.argmax(over_cell[first]))
        message = _cell_words(limits, cell, float(cells_n[first, cell]))
        return Trip("cell force", index, force_n, message)
    return Trip(
        "specimen force",
        index,
        force_n,
        f"{force_n:.0f} N at the specimen, the stop is {limits.stop_n:.0f} N",
    )


def _cell_words(limits: GuardLimits, cell: int, force_n: float) -> str:
    name, capacity_n = limits.cell_names[cell], limits.cell_capacities_n[cell]
    if force_n < 0:
        return (
            f"cell {name} is pulled by {-force_n:.0f} N, load should press it: its sign is "
            "reversed, or its zero was taken under load"
        )
    return f"cell {name} carries {force_n:.0f} N, its limit is {capacity_n:.0f} N"
