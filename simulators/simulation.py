"""A whole session without any wire: ``simulate`` gives samples, the true force, and the truth."""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from simulators.amplifier import (
    Board,
    Floats,
    converted,
    draw_board,
    sample_times,
    zero_counts,
)
from simulators.crank import Crank, Trail, draw_hand, pull
from simulators.rig_mechanics import LoadedRig, draw_rig
from simulators.scenario import Scenario, ScenarioError, load_scenario
from simulators.simulated_rig import SimulatedRig, load_simulated_rig
from simulators.specimen import draw_specimen
from simulators.truth import TrueCrack, TruePull, TrueWeight, Truth

FINE_S = 0.001
START_SHARE = 0.02  # of the stop force: from here on a pull is on
SUDDEN_S = 0.03  # a loss within this rings
SUDDEN_N = 40.0
RING_S = 1.2
YIELD_BELOW = 0.96  # of the strength: a later yield cannot be told from it


@dataclass(frozen=True, slots=True, eq=False)
class Simulation:
    """A session as the board saw it, and as it was.

    time_s: (n,) true times of the samples; board_us: (n,) uint64, the board's clock, not wrapped;
    counts: (n, cells) int32; fine_time_s, fine_force_n: (m,) true force at the specimen, each
    millisecond (``truth`` has the maxima to the step of the mechanics, which is finer).
    """

    time_s: Floats
    board_us: npt.NDArray[np.uint64]
    counts: npt.NDArray[np.int32]
    fine_time_s: Floats
    fine_force_n: Floats
    rig: SimulatedRig
    board: Board
    truth: Truth

    @property
    def samples(self) -> int:
        """How many samples the board took."""
        return len(self.board_us)


@dataclass(frozen=True, slots=True, eq=False)
class _OnePull:
    duration_s: float
    fine_force_n: Floats
    at_jack_n: Floats
    cranking: Floats
    truth: TruePull


def simulate(
    scenario: Scenario | str,
    seed: int = 0,
    pulls: int = 1,
    rig: SimulatedRig | None = None,
) -> Simulation:
    """Simulate ``pulls`` pulls, a new specimen each. The same arguments give the same bits.

    Raises ScenarioError where the scenario is unknown or ``pulls`` is below 1.
    """
    if pulls < 1:
        raise ScenarioError(f"cannot simulate {pulls} pulls; ask for 1 or more")
    scenario = load_scenario(scenario) if isinstance(scenario, str) else scenario
    rig = load_simulated_rig() if rig is None else rig
    board = draw_board(
        scenario.board,
        scenario.rig,
        tuple(s * c for s, c in zip(rig.signs, rig.counts_per_newton, strict=True)),
        _rng(seed, 0),
    )
    return _joined(scenario, seed, rig, board, pulls)


def _rng(seed: int, *stream: int) -> np.random.Generator:
    return np.random.Generator(np.random.PCG64(np.random.SeedSequence(seed, spawn_key=stream)))


def _joined(
    scenario: Scenario, seed: int, rig: SimulatedRig, board: Board, pulls: int
) -> Simulation:
    begins_s, first = 0.0, 0
    times, counts, fine, truths = [], [], [], []
    for number in range(pulls):
        one = _one_pull(scenario, rig, board, begins_s, _rng(seed, 1, number))
        noise = _rng(seed, 2, number)
        fine_s = _fine_times(len(one.fine_force_n), begins_s)
        taken = sample_times(board, first, begins_s, begins_s + one.duration_s, noise)
        stop_n = rig.stop_n / rig.ratio
        counts.append(converted(board, fine_s, one.at_jack_n, one.cranking, stop_n, taken, noise))
        times.append(taken)
        fine.append(one.fine_force_n)
        truths.append(one.truth)
        first += len(taken)
        begins_s += len(one.fine_force_n) * FINE_S
    time_s = np.concatenate(times)
    force = np.concatenate(fine)
    return Simulation(
        time_s=time_s,
        board_us=np.floor(time_s * (1.0 + board.clock_error) * 1e6).astype(np.uint64),
        counts=np.concatenate(counts),
        fine_time_s=_fine_times(len(force)),
        fine_force_n=force,
        rig=rig,
        board=board,
        truth=truth_of(scenario.name, seed, rig, board, begins_s, pulls=tuple(truths)),
    )


def truth_of(
    scenario: str,
    seed: int,
    rig: SimulatedRig,
    board: Board,
    duration_s: float,
    *,
    pulls: tuple[TruePull, ...] = (),
    weights: tuple[TrueWeight, ...] = (),
) -> Truth:
    """Return what was true of a rig and board, and of the pulls made or the weights put on."""
    return Truth(
        scenario=scenario,
        seed=seed,
        rig_file=rig.file.name,
        ratio=rig.ratio,
        start_force_n=START_SHARE * rig.stop_n,
        stop_force_n=rig.stop_n,
        cells=rig.cells,
        zero_counts=zero_counts(board),
        gains=board.counts_per_newton,
        shares=board.shares,
        share_drift=board.share_drift,
        samples_per_s=1.0 / board.period_s,
        clock_error=board.clock_error,
        duration_s=duration_s,
        pulls=pulls,
        weights=weights,
    )


def _one_pull(
    scenario: Scenario, rig: SimulatedRig, board: Board, begins_s: float, rng: np.random.Generator
) -> _OnePull:
    build = draw_rig(scenario.rig, rig.ratio, rig.lead_mm, rng)
    loaded = LoadedRig(build, draw_specimen(scenario.specimen, rng))
    crank = Crank(loaded, draw_hand(scenario.crank, loaded, rig.stop_n, rng), rig.stop_n, rng)
    trail = pull(crank)
    time_s, force_n = np.array(trail.time_s), np.array(trail.force_n)
    fine_s = _fine_times(math.floor(time_s[-1] / FINE_S))
    fine_n = np.interp(fine_s, time_s, force_n)
    friction = 1.0 + build.friction_share * np.interp(fine_s, time_s, trail.friction)
    at_jack = fine_n * friction / rig.ratio + board.beam_weight_n
    at_jack += _ring(scenario, fine_n, rng) / rig.ratio
    return _OnePull(
        duration_s=len(fine_s) * FINE_S,
        fine_force_n=fine_n,
        at_jack_n=np.maximum(at_jack, 0.0),  # the beam may leave the jack, never pull on it
        cranking=_cranking(fine_s, time_s, np.array(trail.turns)),
        truth=_true_pull(scenario, rig, board, begins_s, loaded, trail),
    )


def _fine_times(count: int, begins_s: float = 0.0) -> Floats:
    times: Floats = begins_s + FINE_S * np.arange(count, dtype=np.float64)
    return times


def _cranking(fine_s: Floats, time_s: Floats, turns: Floats) -> Floats:
    moving: Floats = (np.diff(np.interp(fine_s, time_s, turns), append=turns[-1]) != 0.0) * 1.0
    return moving


def _ring(scenario: Scenario, force_n: Floats, rng: np.random.Generator) -> Floats:
    """Return the swing of the beam after each sudden loss, N at the specimen, first downwards."""
    hz = scenario.rig.ring_hz.draw(rng)
    cycles = scenario.rig.ring_cycles.draw(rng)
    share = scenario.rig.ring_share.draw(rng)
    limit_n = scenario.rig.ring_limit_n.draw(rng)
    ring = np.zeros_like(force_n)
    lag, length = round(SUDDEN_S / FINE_S), round(RING_S / FINE_S)
    lost = force_n[:-lag] - force_n[lag:]
    sudden = np.flatnonzero(lost > SUDDEN_N)
    for group in np.split(sudden, np.flatnonzero(np.diff(sudden) > lag) + 1):
        if not len(group):
            continue
        worst = int(group[np.argmax(lost[group])])
        start = worst + int(np.argmax(-np.diff(force_n[worst : worst + lag + 1])))
        after_s = FINE_S * np.arange(min(length, len(force_n) - start))
        swing = min(share * lost[worst], limit_n) * np.exp(-after_s * hz / cycles)
        ring[start : start + len(after_s)] -= swing * np.sin(2.0 * np.pi * hz * after_s)
    return ring


def _true_pull(
    scenario: Scenario,
    rig: SimulatedRig,
    board: Board,
    begins_s: float,
    loaded: LoadedRig,
    trail: Trail,
) -> TruePull:
    force = np.array(trail.force_n)
    top = int(force.argmax())
    time_s = (begins_s + np.array(trail.time_s)) * (1.0 + board.clock_error)
    loaded_at = np.flatnonzero(force > START_SHARE * rig.stop_n)
    start, end = time_s[loaded_at[0]], time_s[loaded_at[-1]]
    kept = loaded.yield_n < YIELD_BELOW * loaded.specimen.strength_n
    cracks = tuple(
        TrueCrack((begins_s + at_s) * (1.0 + board.clock_error), crack_n, drop_n)
        for at_s, (crack_n, drop_n) in zip(trail.crack_times_s, loaded.cracks, strict=True)
    )
    return TruePull(
        kind=scenario.kind,
        mode=scenario.mode,
        reason=scenario.reason,
        max_force_n=float(force[top]),
        time_of_max_s=float(time_s[top]),
        time_to_max_s=float(time_s[top] - start),
        start_of_load_s=float(start),
        end_of_load_s=float(end),
        yield_force_n=loaded.yield_n if kept else math.nan,
        cracks=cracks,
        friction_share=loaded.build.friction_share,
        begins_s=float(time_s[0]),
        ends_s=float(time_s[-1]),
    )
