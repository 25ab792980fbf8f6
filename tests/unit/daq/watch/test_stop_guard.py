"""The guard trips on the first sample over a limit, on silence, and stays tripped."""

import numpy as np
import pytest

from daq.samples import Flag, sample_dtype
from daq.watch.stop_guard import GuardLimits, GuardState, acknowledge, fault_trip, judge

LIMITS = GuardLimits(1000.0, ("left", "right"), (300.0, 300.0), 500_000_000)


def block(forces: list[float], *, first: int = 0, at_ns: int = 0, flags: int = 0):
    """Samples whose two cells carry a quarter of the specimen force each (ratio 2)."""
    samples = np.zeros(len(forces), dtype=sample_dtype(2))
    samples["index"] = np.arange(first, first + len(forces))
    samples["arrival_ns"] = at_ns
    samples["flags"] = flags
    specimen = np.array(forces)
    return samples, np.column_stack([specimen / 4, specimen / 4]), specimen


def test_the_first_sample_over_the_stop_makes_the_trip():
    """Index and force are those of the first one, not of the largest."""
    state = judge(GuardState(), LIMITS, *block([10, 999.9, 1000.1, 1100]), now_ns=0)
    assert state.trip is not None
    assert (state.trip.cause, state.trip.index) == ("specimen force", 2)
    assert "1000" in state.trip.message


@pytest.mark.parametrize("split", range(5))
def test_any_split_trips_on_the_same_sample(split):
    """Blocks do not matter."""
    samples, cells, specimen = block([10, 500, 1001, 1500])
    state = judge(GuardState(), LIMITS, samples[:split], cells[:split], specimen[:split], 0)
    state = judge(state, LIMITS, samples[split:], cells[split:], specimen[split:], 0)
    assert state.trip is not None
    assert state.trip.index == 2


def test_a_force_the_other_way_and_nan_trip_too():
    """A cell breaks in either direction; what is not a number is not below a limit."""
    for force in (-1001.0, float("nan")):
        assert judge(GuardState(), LIMITS, *block([0.0, force]), now_ns=0).trip is not None


def test_one_cell_over_its_capacity_trips_below_the_stop():
    """A lopsided load is judged at the cell."""
    samples, cells, specimen = block([600.0])
    cells[0] = (301.0, -1.0)
    trip = judge(GuardState(), LIMITS, samples, cells, specimen, 0).trip
    assert trip is not None
    assert trip.cause == "cell force"
    assert "left" in trip.message


def test_a_force_the_other_way_trips_though_no_cell_feels_it():
    """The force at the specimen is judged by itself, not only through the cells."""
    samples, cells, specimen = block([0.0, -1001.0])
    trip = judge(GuardState(), LIMITS, samples, 0.0 * cells, specimen, 0).trip
    assert trip is not None
    assert (trip.cause, trip.index) == ("specimen force", 1)


@pytest.mark.parametrize("specimen_n", [1000.0, -1000.0])
@pytest.mark.parametrize("cell_n", [300.0, -30.0])
def test_a_limit_itself_is_allowed(specimen_n, cell_n):
    """Beyond it trips, also where a later sample is the one beyond."""
    samples, cells, specimen = block([0.0, 0.0])
    specimen[0], cells[0] = specimen_n, cell_n
    assert judge(GuardState(), LIMITS, samples, cells, specimen, 0).trip is None
    specimen[1] = 1000.1
    trip = judge(GuardState(), LIMITS, samples, cells, specimen, 0).trip
    assert trip is not None
    assert trip.index == 1


@pytest.mark.parametrize(
    ("flag", "cause"),
    [
        (Flag.SATURATED, "saturated"),
        (Flag.RESTART, "board restart"),
        (Flag.STUCK, "channel missing"),
    ],
)
def test_flags_that_make_the_force_unknown_trip(flag, cause):
    """Saturation and a restart trip at any force."""
    trip = judge(GuardState(), LIMITS, *block([1.0], flags=int(flag)), now_ns=0).trip
    assert trip is not None
    assert trip.cause == cause


def test_silence_trips_only_after_the_first_sample_and_past_the_limit():
    """A board that has not spoken yet is not silent; one that stopped is."""
    nothing = block([])
    assert judge(GuardState(), LIMITS, *nothing, now_ns=10**12).trip is None
    state = judge(GuardState(), LIMITS, *block([1.0], at_ns=0), now_ns=0)
    assert judge(state, LIMITS, *nothing, now_ns=500_000_000).trip is None
    trip = judge(state, LIMITS, *nothing, now_ns=500_000_001).trip
    assert trip is not None
    assert (trip.cause, trip.index) == ("silence", -1)


def test_a_silence_is_told_in_seconds():
    """However long the computer has been up."""
    state = judge(GuardState(), LIMITS, *block([1.0], at_ns=7 * 10**12), now_ns=0)
    trip = judge(state, LIMITS, *block([]), now_ns=7 * 10**12 + 1_500_000_000).trip
    assert trip is not None
    assert trip.message == "no data for 1.5 s: force unknown"


def test_samples_after_a_long_silence_trip_as_well():
    """A burst that ends a stall does not hide the stall."""
    state = judge(GuardState(), LIMITS, *block([1.0], at_ns=0), now_ns=0)
    state = judge(state, LIMITS, *block([1.0], first=1, at_ns=900_000_000), now_ns=900_000_000)
    assert state.trip is not None
    assert state.trip.cause == "silence"


def test_a_trip_latches_until_acknowledged_at_a_low_known_force():
    """Neither calm samples, nor a high force, nor an unknown one release it."""
    state = fault_trip(GuardState(), "queue full", 7, "the recorder is behind")
    state = judge(state, LIMITS, *block([0.0]), now_ns=0)
    assert state.trip is not None
    assert acknowledge(state, 500.0, 20.0).trip is not None
    assert acknowledge(state, float("nan"), 20.0).trip is not None
    assert acknowledge(state, 5.0, 20.0).trip is None


def test_a_cell_that_is_pulled_trips_though_the_sum_is_small():
    """With one sign reversed two cells cancel: the stop alone would never be reached."""
    samples, cells, specimen = block([0.0, 2.0])
    cells[1] = (31.0, -30.5)  # of 300 N each
    trip = judge(GuardState(), LIMITS, samples, cells, specimen, 0).trip
    assert trip is not None
    assert (trip.cause, trip.index) == ("cell force", 1)
    assert "sign is reversed" in trip.message


def test_the_cell_that_stands_still_is_named():
    samples = block([1.0], flags=int(Flag.STUCK))
    for still, words in (("left", "left stands still"), ("", "a cell stands still")):
        trip = judge(GuardState(), LIMITS, *samples, 0, still).trip
        assert trip is not None
        assert trip.message == words


def test_the_ring_after_a_break_is_no_reversed_cell():
    """A swing below zero by less than a tenth of the capacity."""
    samples, cells, specimen = block([0.0])
    cells[0] = (-29.0, -29.0)
    assert judge(GuardState(), LIMITS, samples, cells, specimen, 0).trip is None
