"""From the force under the jack to the counts of each cell's converter.

Shares of the cells, drifting with load; the converter's settling over four samples; creep and
warm-up of the zero; noise, mains hum, the shake of the cranking hand; rounding and the end values
of 24 bits.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from simulators.scenario import BoardRanges, RigRanges

Floats = npt.NDArray[np.float64]
SETTLING_SAMPLES = 4
COUNTS_LOW, COUNTS_HIGH = -8388608, 8388607
HUM_HZ = 50.0
WARM_UP_S = 600.0
CREEP_S = 300.0


@dataclass(frozen=True, slots=True)
class Board:
    """One converter board and the cells on it, for a whole session. Per cell: one entry each."""

    period_s: float
    period_jitter: float
    clock_error: float
    noise_counts: float
    hum_n: float  # at each cell
    hand_n: float  # at the jack
    creep_share: float
    zero_counts: tuple[float, ...]  # of the bare cell
    counts_per_newton: tuple[float, ...]  # true ones, with sign
    warm_up_n: tuple[float, ...]
    shares: tuple[float, ...]  # without load
    share_drift: tuple[float, ...]  # from no load to the stop force
    beam_weight_n: float


def draw_board(
    ranges: BoardRanges,
    rig: RigRanges,
    nominal_counts_per_newton: tuple[float, ...],
    rng: np.random.Generator,
) -> Board:
    """Draw one board for cells of these nominal slopes (with sign)."""
    cells = len(nominal_counts_per_newton)
    first = rig.first_share.draw(rng) if cells > 1 else 1.0
    drift = rig.share_drift.draw(rng) if cells > 1 else 0.0
    others = max(1, cells - 1)
    return Board(
        period_s=1.0 / ranges.rate_hz.draw(rng),
        period_jitter=ranges.period_jitter.draw(rng),
        clock_error=ranges.clock_error.draw(rng),
        noise_counts=ranges.noise_counts.draw(rng),
        hum_n=ranges.hum_n.draw(rng),
        hand_n=ranges.hand_n.draw(rng),
        creep_share=ranges.creep_share.draw(rng),
        zero_counts=tuple(ranges.zero_counts.draw(rng) for _ in range(cells)),
        counts_per_newton=tuple(
            slope * (1.0 + ranges.gain_error.draw(rng)) for slope in nominal_counts_per_newton
        ),
        warm_up_n=tuple(ranges.warm_up_n.draw(rng) for _ in range(cells)),
        shares=(first, *((1.0 - first) / others for _ in range(cells - 1))),
        share_drift=(drift, *(-drift / others for _ in range(cells - 1))),
        beam_weight_n=rig.beam_weight_n.draw(rng),
    )


def sample_times(
    board: Board, first_sample: int, start_s: float, end_s: float, rng: np.random.Generator
) -> Floats:
    """Return the true times of the conversions in ``start_s .. end_s``, (n,), s.

    Sample i comes at (i + 1) periods, give or take the jitter, whatever was before.
    """
    last = int(end_s / board.period_s) - 1
    number = np.arange(first_sample, last + 1)
    jitter = rng.uniform(-1.0, 1.0, len(number)) * board.period_jitter
    times: Floats = (number + 1 + jitter) * board.period_s
    return times[times >= start_s]


def converted(
    board: Board,
    fine_s: Floats,
    at_jack_n: Floats,
    cranking: Floats,
    stop_at_jack_n: float,
    times_s: Floats,
    rng: np.random.Generator,
) -> npt.NDArray[np.int32]:
    """Return counts, (n, cells), at ``times_s``.

    fine_s: (m,) evenly spaced times; at_jack_n: (m,) force of the beam on the jack, N (its own
    weight included); cranking: (m,) 0 or 1, whether a hand moves the crank.
    """
    shake = board.hand_n * np.interp(times_s, fine_s, cranking) * rng.standard_normal(len(times_s))
    columns = []
    for cell, slope in enumerate(board.counts_per_newton):
        share = board.shares[cell] + board.share_drift[cell] * at_jack_n / stop_at_jack_n
        force = _settled(fine_s, share * at_jack_n, times_s, board.period_s)
        force += board.shares[cell] * shake + _slow_changes(board, cell, times_s, force)
        force += board.hum_n * np.sin(2.0 * np.pi * HUM_HZ * times_s + cell)
        counts = board.zero_counts[cell] + slope * force
        counts += board.noise_counts * rng.standard_normal(len(times_s))
        columns.append(np.clip(np.rint(counts), COUNTS_LOW, COUNTS_HIGH).astype(np.int32))
    return np.column_stack(columns)


def zero_counts(board: Board) -> tuple[float, ...]:
    """Return what each cell shows with the hook slack, before any warming up."""
    return tuple(
        zero + slope * share * board.beam_weight_n
        for zero, slope, share in zip(
            board.zero_counts, board.counts_per_newton, board.shares, strict=True
        )
    )


def _settled(fine_s: Floats, force_n: Floats, times_s: Floats, period_s: float) -> Floats:
    """Return the mean over the last four periods: what a converter that settles in four gives."""
    step_s = fine_s[1] - fine_s[0]
    area = np.concatenate([[0.0], np.cumsum(0.5 * (force_n[1:] + force_n[:-1]))]) * step_s
    window_s = SETTLING_SAMPLES * period_s
    before = np.maximum(times_s - window_s, fine_s[0])
    until: Floats = np.interp(times_s, fine_s, area) - np.interp(before, fine_s, area)
    missing = window_s - (times_s - before)  # the first samples: slack before the record
    mean: Floats = (until + missing * force_n[0]) / window_s
    return mean


def _slow_changes(board: Board, cell: int, times_s: Floats, force_n: Floats) -> Floats:
    """Return creep under load and warm-up of the zero, N."""
    warm: Floats = board.warm_up_n[cell] * (1.0 - np.exp(-times_s / WARM_UP_S))
    since = (times_s - times_s[0]) / CREEP_S
    # first-order lag as a running sum; a pull is short beside the range of the exponential
    lagged = np.exp(-since) * np.cumsum(np.exp(since) * force_n) * board.period_s / CREEP_S
    warm += board.creep_share * (lagged - force_n[0] * (1.0 - np.exp(-since)))
    return warm
