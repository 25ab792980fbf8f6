"""Known weights on a simulated rig: put on and taken off again, as for a calibration.

Nothing on, each weight up to the heaviest, each down again to nothing; the round repeated. On bare
cells each round goes over the next cell. The cells' gains are off from the rig file by an error
that only the truth file tells; the cells creep, the lever rubs.
"""

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from simulators.amplifier import Board, Floats, converted, draw_board, sample_times
from simulators.scenario import BoardRanges, Range, RigRanges, ScenarioError
from simulators.simulated_rig import SimulatedRig, load_simulated_rig
from simulators.simulation import FINE_S, Simulation, truth_of
from simulators.truth import TrueWeight

PLACES = ("cells", "specimen", "both")  # both: one bucket in line with the jack, then at the pin
STANDARD_GRAVITY_M_S2 = 9.80665
BUOYANCY = 1.0 - 1.2 / 8000.0
QUIET_S = 9.0
HOLD_S = 11.0
PUT_S = 1.4
SWING_SHARE, SWING_HZ, SWING_S = 0.04, 2.5, 0.7  # of a weight just put on
HEAVIEST_KG = 500.0
OVER_ITS_CELL = 0.92  # of a weight put over one cell
CREEP_SHARE = Range(0.0002, 0.0006)


@dataclass(frozen=True, slots=True)
class WeightsOrder:
    """Which masses (kg, rising, without 0), where, how many rounds.

    ``gain_error``: how far each cell's gain may lie from the rig file's, either way, relative.
    """

    masses_kg: tuple[float, ...]
    at: str = "cells"
    rounds: int = 2
    gain_error: float = 0.03


@dataclass(frozen=True, slots=True)
class _Put:
    """One weight: kg, what of its force comes to the jack, and the cell it stands over."""

    mass_kg: float
    at_jack: float
    where: str
    over: int | None


def simulate_weights(
    order: WeightsOrder, seed: int = 0, rig: SimulatedRig | None = None
) -> Simulation:
    """Simulate the rounds. The same arguments give the same bits. Raises ScenarioError."""
    _check(order)
    rig = load_simulated_rig() if rig is None else rig
    rng = np.random.default_rng([seed, 77])
    nominal = tuple(s * c for s, c in zip(rig.signs, rig.counts_per_newton, strict=True))
    gain_error = Range(-order.gain_error, order.gain_error)
    ranges = BoardRanges(gain_error=gain_error, creep_share=CREEP_SHARE)
    board = draw_board(ranges, RigRanges(share_drift=Range(0.0, 0.0)), nominal, rng)
    if order.at == "cells":
        board = replace(board, beam_weight_n=0.0)  # jack and beam stand aside
    friction = RigRanges().pin_friction_share.draw(rng)
    puts = _puts(order, len(rig.cells), rig.ratio)
    fine_s = FINE_S * np.arange(round((QUIET_S + HOLD_S * len(puts)) / FINE_S), dtype=np.float64)
    return _converted(rig, board, puts, fine_s, friction, seed, order)


def _check(order: WeightsOrder) -> None:
    masses = order.masses_kg
    if order.at not in PLACES:
        raise ScenarioError(f"--at {order.at}: one of {', '.join(PLACES)} is meant")
    rising = all(a < b for a, b in pairwise(masses))
    if not masses or not rising or not 0.0 < masses[0] <= masses[-1] <= HEAVIEST_KG:
        raise ScenarioError(
            f"--masses: kilograms that rise are meant, such as 0,5,10,20, up to {HEAVIEST_KG:g}"
        )
    if not 1 <= order.rounds <= 20:
        raise ScenarioError(f"cannot put weights on in {order.rounds} rounds; 1 to 20")


def _puts(order: WeightsOrder, cells: int, ratio: float) -> list[_Put]:
    """Return every stay after the first nothing, the nothing at the end of a round among them."""
    if order.at == "both":
        bucket = order.masses_kg[-1]
        round_ = [_Put(bucket, 1.0, "jack", None), _Put(0.0, 0.0, "", None)]
        round_ += [_Put(bucket, 1.0 / ratio, "specimen", None), _Put(0.0, 0.0, "", None)]
        return round_ * order.rounds
    part = 1.0 if order.at == "cells" else 1.0 / ratio
    puts = []
    for number in range(order.rounds):
        over = number % cells if order.at == "cells" and cells > 1 else None
        way = (*order.masses_kg, *order.masses_kg[-2::-1], 0.0)
        puts += [_Put(kg, part, order.at, over) for kg in way]
        puts += [_Put(0.0, 0.0, "", over)]  # a stay with nothing on, for the zero of the next round
    return puts


def _converted(
    rig: SimulatedRig,
    board: Board,
    puts: list[_Put],
    fine_s: Floats,
    friction: float,
    seed: int,
    order: WeightsOrder,
) -> Simulation:
    noise = np.random.default_rng([seed, 78])
    times = sample_times(board, 0, 0.0, float(fine_s[-1]), noise)
    load_n, weights = np.zeros_like(fine_s), []
    on_n, rubbed_n, begins_s = 0.0, 0.0, QUIET_S
    by_spot: dict[int | None, Floats] = {}
    for put in puts:
        force_n = put.mass_kg * STANDARD_GRAVITY_M_S2 * BUOYANCY
        sign = np.sign(force_n - on_n)
        next_n = force_n * put.at_jack
        if put.at_jack < 1.0:
            next_n *= 1.0 + friction * float(sign)
        change = by_spot.setdefault(put.over, np.zeros_like(fine_s))
        change += (next_n - rubbed_n) * _put_on(fine_s - begins_s)
        if put.mass_kg:
            weights.append(
                TrueWeight(put.mass_kg, put.where, put.over, begins_s, begins_s + HOLD_S)
            )
        load_n += (force_n - on_n) * (fine_s >= begins_s)
        on_n, rubbed_n, begins_s = force_n, next_n, begins_s + HOLD_S
    still = np.zeros_like(fine_s)
    whole = _counts(board, fine_s, still + board.beam_weight_n, times, noise)
    counts = whole + sum(
        _counts(_silent(board, over), fine_s, change, times, noise)
        for over, change in by_spot.items()
    )
    return Simulation(
        time_s=times,
        board_us=np.floor(times * (1.0 + board.clock_error) * 1e6).astype(np.uint64),
        counts=np.clip(counts, -(1 << 23), (1 << 23) - 1).astype(np.int32),
        fine_time_s=fine_s,
        fine_force_n=load_n,
        rig=rig,
        board=board,
        truth=truth_of("weights", seed, rig, board, float(fine_s[-1]), weights=tuple(weights)),
    )


def _counts(
    board: Board, fine_s: Floats, load_n: Floats, times: Floats, noise: np.random.Generator
) -> Floats:
    still = np.zeros_like(fine_s)
    made: Floats = converted(board, fine_s, load_n, still, 1.0, times, noise).astype(np.float64)
    return made


def _silent(board: Board, over: int | None) -> Board:
    """Return the board as it answers a load alone: no zero, no noise; its share over one cell."""
    cells = len(board.shares)
    shares = board.shares
    if over is not None:
        rest = (1.0 - OVER_ITS_CELL) / max(cells - 1, 1)
        shares = tuple(OVER_ITS_CELL if cell == over else rest for cell in range(cells))
    nothing = (0.0,) * cells
    return replace(
        board,
        shares=shares,
        noise_counts=0.0,
        hum_n=0.0,
        zero_counts=nothing,
        warm_up_n=nothing,
    )


def _put_on(since_s: Floats) -> Floats:
    """Return 0 before, 1 after, with a hand's ramp and a swing that dies out."""
    part = np.clip(since_s / PUT_S, 0.0, 1.0)
    after = np.maximum(since_s - PUT_S, 0.0)
    swing = SWING_SHARE * np.exp(-after / SWING_S) * np.sin(2.0 * np.pi * SWING_HZ * after)
    put: Floats = 0.5 - 0.5 * np.cos(np.pi * part) + swing
    return put
