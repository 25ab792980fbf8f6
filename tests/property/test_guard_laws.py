"""Nothing passes the stop: no sequence of samples, flags, silences and splits hides the first one.

The oracle is a plain reading of the rules, sample by sample, in exact arithmetic where it matters.
"""

import math
from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from daq.force.calibration import Calibration
from daq.live_reading import Trip
from daq.pull_session import PullSession
from daq.rig.rig import Cell, Jack, Lever, Link, Rig, Stop
from daq.samples import Flag, sample_dtype
from daq.session_settings import SessionSettings
from daq.watch.stop_guard import GuardLimits, GuardState, acknowledge, judge
from daq.wire.decoded import Decoded

STOP_N, CELL_N, STALE_NS = 1000.0, 300.0, 500_000_000
LIMITS = GuardLimits(STOP_N, ("left", "right"), (CELL_N, CELL_N), STALE_NS)
UNKNOWN = int(Flag.SATURATED | Flag.RESTART | Flag.STUCK)

#: one sample: (specimen N, left N, right N, flags, wait before it in ms, board's wait in ms)
KEYS = ("force", "left", "right", "flags", "wait", "board")
forces = st.one_of(
    st.floats(-1200.0, 1200.0),
    st.sampled_from([0.0, 999.9999, 1000.0, 1000.0001, -1000.0, -1000.1, math.nan, math.inf]),
)
cell_forces = st.one_of(st.floats(-320.0, 320.0), st.sampled_from([300.0, 300.001, -30.0, -30.001]))
calm = st.tuples(
    st.floats(-900.0, 900.0),
    st.floats(-25.0, 200.0),
    st.floats(-25.0, 200.0),
    st.sampled_from([0, int(Flag.GAP), int(Flag.SUSPECT | Flag.SPIKE | Flag.EXTRAPOLATED)]),
    st.sampled_from([1, 10, 100, 500]),
    st.sampled_from([10, 500]),
)
odd = {
    "force": forces,
    "left": cell_forces,
    "right": cell_forces,
    "flags": st.integers(0, 127),
    "wait": st.sampled_from([499, 501, 3000]),
    "board": st.sampled_from([499, 501, 300_000]),
}


@st.composite
def sequences(draw):
    """Calm samples, one to three of them spoilt in one way each."""
    rows = draw(st.lists(calm, min_size=1, max_size=20))
    for _ in range(draw(st.integers(0, 3))):
        at, key = draw(st.integers(0, len(rows) - 1)), draw(st.sampled_from(KEYS))
        row = list(rows[at])
        row[KEYS.index(key)] = draw(odd[key])
        rows[at] = tuple(row)
    return rows


def arrays(sequence):
    """The sequence as samples, cell forces and specimen forces."""
    block = np.zeros(len(sequence), dtype=sample_dtype(2))
    block["index"] = np.arange(len(sequence))
    block["arrival_ns"] = np.cumsum([row[4] for row in sequence]) * 1_000_000
    block["board_us"] = np.cumsum([row[5] for row in sequence]) * 1000
    block["flags"] = [row[3] for row in sequence]
    cells = np.array([[row[1], row[2]] for row in sequence])
    return block, cells, np.array([row[0] for row in sequence])


def plainly(sequence) -> int | None:
    """The first sample that must trip, read row by row; None for none."""
    for number, (force, left, right, flags, wait_ms, board_ms) in enumerate(sequence):
        well = -STOP_N <= force <= STOP_N and all(
            -CELL_N / 10 <= f <= CELL_N for f in (left, right)
        )
        silent = number > 0 and (
            wait_ms > 500 or (board_ms > 500 and not flags & int(Flag.RESTART))
        )
        if not well or flags & UNKNOWN or silent:
            return number
    return None


def judged(sequence, cuts) -> list[Trip | None]:
    """The trip after each block of a sequence that is fed in blocks."""
    block, cells, specimen = arrays(sequence)
    state, trips = GuardState(), []
    edges = [0, *sorted(min(cut, len(sequence)) for cut in cuts), len(sequence)]
    for a, b in pairwise(edges):
        now_ns = int(block["arrival_ns"][min(b, len(block)) - 1]) if b else 0
        state = judge(state, LIMITS, block[a:b], cells[a:b], specimen[a:b], now_ns)
        trips.append((b, state.trip))
    return trips


@settings(max_examples=600, deadline=None)
@given(sequence=sequences(), cuts=st.lists(st.integers(0, 40), max_size=8))
def test_the_first_sample_that_breaks_a_rule_trips_in_its_own_block(sequence, cuts):
    """Neither earlier, nor later, nor at another sample; and the trip stays as it is."""
    first = plainly(sequence)
    kept = None
    for read, trip in judged(sequence, cuts):
        if first is None or read <= first:
            assert trip is None
        else:
            assert trip is not None
            assert trip.index == first
            kept = kept or trip
            assert trip is kept


@given(st.integers(0, 2_000_000_000))
def test_silence_trips_at_the_limit_and_not_before(silent_ns):
    block, cells, specimen = arrays([(0.0, 0.0, 0.0, 0, 1, 10)])
    state = judge(GuardState(), LIMITS, block, cells, specimen, 1_000_000)
    none = block[:0], cells[:0], specimen[:0]
    state = judge(state, LIMITS, *none, 1_000_000 + silent_ns)
    assert (state.trip is not None) == (silent_ns > STALE_NS)


@given(forces, st.floats(0.001, 100.0))
def test_only_a_known_low_force_releases(force, safe_n):
    state = GuardState(Trip("silence", 3, math.nan, "no data"))
    released = acknowledge(state, force, safe_n).trip is None
    assert released == (not math.isnan(force) and abs(force) < safe_n)


# -- the same from raw counts on, through the whole session ---------------------------------------

GAIN = 2000  # counts per newton at a cell
RIG = Rig(
    name="law rig",
    build="1",
    link=Link(fields=("time_us", "left", "right")),
    cells=tuple(Cell(n, n, 3000.0, counts_per_newton=float(GAIN)) for n in ("left", "right")),
    lever=Lever("end", 400.0, 200.0),
    stop=Stop(6000.0, 5000.0),
    jack=Jack(4.0),
)
#: counts of both cells; 3000 N each is the capacity, 6000 N at the specimen the stop
counts = st.integers(-3_300_000, 3_300_000)


@settings(max_examples=150, deadline=None)
@given(
    rows=st.lists(st.tuples(counts, counts), min_size=1, max_size=30),
    cuts=st.lists(st.integers(0, 30), max_size=6),
    watch_every=st.integers(1, 4),
)
@example(rows=[(0, 0)] * 4 + [(0, -600001)], cuts=[0, 4], watch_every=2)  # a zero assumed anew
def test_no_count_over_the_stop_passes_a_session(rows, cuts, watch_every):
    """Exact: 2 (left + right) / 2000 against 6000 N, from the first sample as assumed zero."""
    session = PullSession(
        RIG, Calibration.from_rig(RIG), lambda _: None, SessionSettings(), has_board_clock=True
    )
    block = np.zeros(len(rows), dtype=sample_dtype(2))
    block["index"] = np.arange(len(rows))
    block["board_us"] = block["index"] * 10_000
    block["arrival_ns"] = block["index"].astype(np.int64) * 10_000_000
    block["counts"] = rows
    first = next((i for i, row in enumerate(rows) if not well(row, rows[0])), None)
    waiting = []
    for number, (a, b) in enumerate(
        pairwise([0, *sorted(min(c, len(rows)) for c in cuts), len(rows)])
    ):
        decoded = Decoded(block[a:b].copy(), ())
        trip = session.guard(decoded, b * 10_000_000)
        waiting.append((decoded, trip))
        held = session.state.guard.trip
        assert (held is not None) == (first is not None and b > first)
        if held is not None:
            assert held.index == first
        if number % watch_every == 0:  # what follows the guard may come later, and does no harm
            for each, its_trip in waiting:
                session.take(each, its_trip, b * 10_000_000)
            waiting.clear()


def well(row, zero) -> bool:
    """Whether a row of counts is within every limit, in whole numbers."""
    left, right = (Fraction(c - z, GAIN) for c, z in zip(row, zero, strict=True))
    return all(-300 <= f <= 3000 for f in (left, right)) and abs(2 * (left + right)) <= 6000


@pytest.mark.parametrize("flag", [Flag.GAP, Flag.SUSPECT, Flag.SPIKE, Flag.EXTRAPOLATED])
def test_no_flag_excuses_a_force_over_the_stop(flag):
    sequence = [(0.0, 0.0, 0.0, 0, 1, 10), (1000.1, 0.0, 0.0, int(flag), 10, 10)]
    assert judged(sequence, [])[-1][1].cause == "specimen force"
