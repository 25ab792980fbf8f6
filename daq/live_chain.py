"""START HERE: the way of a block of samples through the live rules, in order, as one pure step.

counts -> newtons at each cell -> specimen force -> guard -> time -> phase -> believable? -> peak.
The guard is first: what it says waits for nothing after it. The same step serves a board, a replay
and a test.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from daq.force.force_chain import ForceChain, Forces
from daq.rig.rig import Rig
from daq.samples import Flag, FloatArray
from daq.watch.peak import PeakState, hold, no_peak, spike_threshold_n
from daq.watch.plausible import (
    BoolArray,
    Climb,
    Stillness,
    StillRules,
    find_leaps,
    find_still,
    no_stillness,
    still_rules,
)
from daq.watch.pull_phase import Happening, PhaseRules, PhaseState, follow, phase_rules
from daq.watch.stop_guard import GuardLimits, GuardState, judge
from daq.watch.ticks import TickState, gather, no_ticks
from daq.wire.sample_clock import LiveClock


@dataclass(frozen=True, slots=True)
class LiveChain:
    """What the step judges by; replaced when a new zero is taken."""

    force: ForceChain
    limits: GuardLimits
    rules: PhaseRules
    spike_n: float
    still: StillRules


@dataclass(frozen=True, slots=True, eq=False)
class ChainState:
    """What the step remembers from block to block."""

    clock: LiveClock
    stillness: Stillness
    still: str = ""  # which cells stand still, in words
    guard: GuardState = field(default_factory=GuardState)
    climb: Climb = field(default_factory=Climb)
    ticks: TickState = field(default_factory=no_ticks)
    phase: PhaseState = field(default_factory=PhaseState)
    peak: PeakState = field(default_factory=no_peak)


@dataclass(frozen=True, slots=True, eq=False)
class Step:
    """What one block came to: samples with all their marks, seconds (n,), forces, what happened."""

    samples: np.ndarray
    seconds: FloatArray
    forces: Forces
    happenings: Sequence[Happening]


def start_state(cells: int, *, has_board_clock: bool) -> ChainState:
    """Return the state before the first sample."""
    return ChainState(LiveClock.start(has_board_clock=has_board_clock), no_stillness(cells))


def live_chain(rig: Rig, force: ForceChain, noise_n: float) -> LiveChain:
    """Return the chain of a rig, for a noise SD of ``noise_n`` newtons at the specimen."""
    stop = rig.stop
    capacities_n = tuple(cell.capacity_n for cell in rig.cells)
    return LiveChain(
        force=force,
        limits=GuardLimits(
            stop_n=stop.stop_n,
            cell_names=tuple(cell.name for cell in rig.cells),
            cell_capacities_n=capacities_n,
            stale_after_ns=round(stop.stale_after_s * 1e9),
        ),
        rules=phase_rules(stop.stop_n, noise_n),
        spike_n=spike_threshold_n(stop.stop_n, noise_n),
        still=still_rules(np.array(force.zero.sd), np.array(force.capacity_counts(capacities_n))),
    )


def guard_step(chain: LiveChain, state: ChainState, samples: np.ndarray, now_ns: int) -> ChainState:
    """Counts to forces, and the guard's word on them: all that may stand before a trip.

    Samples in which a cell stands still are marked so, in place.
    """
    stillness, still = find_still(state.stillness, chain.still, samples)
    words = state.still if not len(samples) else ""
    if still.any():
        samples["flags"][still.any(axis=1)] |= int(Flag.STUCK)
        words = still_words(chain.limits.cell_names, stillness, still)
    forces = chain.force.forces(samples["counts"])
    guard = judge(
        state.guard, chain.limits, samples, forces.cells_n, forces.at_specimen_n, now_ns, words
    )
    return replace(state, guard=guard, stillness=stillness, still=words)


def still_words(names: Sequence[str], stillness: Stillness, still: BoolArray) -> str:
    """Return which cells stand still, and at what count."""
    told = [
        f"{name} at {stillness.counts[cell]}"
        for cell, name in enumerate(names)
        if still[:, cell].any()
    ]
    return f"{'every cell' if len(told) == len(names) > 1 else 'cell'} {', '.join(told)}"


def watch_step(chain: LiveChain, state: ChainState, samples: np.ndarray) -> tuple[ChainState, Step]:
    """Force, time, peak and phase of a block the guard has seen (it may have come in parts)."""
    forces = chain.force.forces(samples["counts"])
    clock, seconds = state.clock.step(samples)
    ticks, closed = gather(state.ticks, seconds, forces.at_specimen_n)
    phase, happenings = follow(state.phase, chain.rules, closed)
    began = [happening.force_n for happening in happenings if happening.kind == "began"]
    climb = Climb(began[-1], state.climb.last_s) if began else state.climb
    climb, leaps = find_leaps(climb, forces.at_specimen_n, seconds, chain.limits.stop_n)
    if leaps.any():
        samples = samples.copy()
        samples["flags"][leaps] |= int(Flag.SUSPECT)
    peak = hold(
        no_peak() if began else state.peak,
        forces.at_specimen_n,
        seconds,
        samples,
        chain.spike_n,
    )
    state = replace(state, clock=clock, ticks=ticks, phase=phase, climb=climb, peak=peak)
    return state, Step(samples, seconds, forces, happenings)
