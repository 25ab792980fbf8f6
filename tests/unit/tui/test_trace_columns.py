"""Thinning keeps every extreme, by direct comparison with the raw samples."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daq.live_reading import TraceBlock
from daq.samples import Flag
from tui.screens.live import since_anew
from tui.trace_columns import BUCKETS, RecentTrace, Trace


def block(seconds, force, flags=None):
    seconds = np.asarray(seconds, float)
    flags = np.zeros(seconds.size, np.uint16) if flags is None else flags
    return TraceBlock(seconds, np.asarray(force, float), np.asarray(flags, np.uint16))


def random_walk(count, rate=93.1, seed=4):
    rng = np.random.default_rng(seed)
    return np.arange(count) / rate, np.cumsum(rng.normal(size=count))


@pytest.mark.parametrize("count", [50, 5_000, 400_000])
@pytest.mark.parametrize("columns", [60, 240, 400])
def test_extremes_of_all_columns_are_those_of_the_samples(count, columns):
    seconds, force = random_walk(count)
    trace = Trace(0.0)
    trace.add(block(seconds, force))
    thinned = trace.columns(seconds[-1] + 1.0, columns)
    assert np.nanmax(thinned.greatest_n) == force.max()
    assert np.nanmin(thinned.least_n) == force.min()


def test_a_lone_spike_shows_in_its_own_column():
    seconds, force = random_walk(200_000)
    force[123_456] = 9e6
    trace = Trace(0.0)
    trace.add(block(seconds, force))
    thinned = trace.columns(4000.0, 200)
    peak = int(np.nanargmax(thinned.greatest_n))
    assert thinned.greatest_n[peak] == 9e6
    assert abs(peak - seconds[123_456] / 20.0) <= 1.0


@given(st.lists(st.integers(1, 400), min_size=1, max_size=30), st.integers(0, 9))
@settings(max_examples=40, deadline=None)
def test_any_split_gives_the_same_columns(sizes, seed):
    seconds, force = random_walk(sum(sizes), seed=seed)
    at_once, split = Trace(0.0), Trace(0.0)
    at_once.add(block(seconds, force))
    recent_at_once, recent_split = RecentTrace(5.0, 100), RecentTrace(5.0, 100)
    recent_at_once.add(block(seconds, force))
    edges = np.cumsum([0, *sizes])
    for start, end in pairwise(edges):
        split.add(block(seconds[start:end], force[start:end]))
        recent_split.add(block(seconds[start:end], force[start:end]))
    for a, b in (
        (at_once.columns(40.0, 90), split.columns(40.0, 90)),
        (recent_at_once.columns(40), recent_split.columns(40)),
    ):
        np.testing.assert_array_equal(a.greatest_n, b.greatest_n)
        np.testing.assert_array_equal(a.least_n, b.least_n)


def test_buckets_double_and_lose_nothing():
    trace = Trace(10.0)
    seconds = 10.0 + np.arange(3 * BUCKETS) / 100
    trace.add(block(seconds, np.arange(seconds.size, dtype=float)))
    before_doubling = 1 / 128
    assert trace.bucket_s > before_doubling
    thinned = trace.columns(seconds[-1] - 10.0 + 0.01, 100)
    assert thinned.least_n[0] == 0.0
    assert np.nanmax(thinned.greatest_n) == seconds.size - 1


def test_flags_survive_thinning():
    seconds, force = random_walk(10_000)
    flags = np.zeros(10_000, np.uint16)
    flags[7000] = int(Flag.GAP)
    trace = Trace(0.0)
    trace.add(block(seconds, force, flags))
    thinned = trace.columns(120.0, 120)
    assert np.flatnonzero(thinned.flags).tolist() == [int(seconds[7000])]


def test_samples_before_the_start_stay_out():
    trace = Trace(5.0)
    trace.add(block([1.0, 4.9, 5.0, 6.0], [99.0, 98.0, 1.0, 2.0]))
    assert np.nanmax(trace.columns(30.0, 60).greatest_n) == 2.0


def test_empty_stretches_are_empty():
    trace = Trace(0.0)
    trace.add(block([0.0, 20.0], [1.0, 2.0]))
    thinned = trace.columns(30.0, 30)
    assert np.isnan(thinned.greatest_n[5:19]).all()


def test_recent_keeps_only_the_last_seconds():
    recent = RecentTrace(20.0, 1000)
    seconds = np.arange(0.0, 100.0, 0.01)
    recent.add(block(seconds, seconds))
    thinned = recent.columns(100)
    assert np.nanmin(thinned.least_n) == pytest.approx(80.0, abs=0.05)
    assert thinned.greatest_n[-1] == pytest.approx(99.99)


def test_recent_forgets_across_silence():
    recent = RecentTrace(20.0, 1000)
    recent.add(block([0.0, 1.0], [500.0, 600.0]))
    recent.add(block([300.0], [7.0]))
    thinned = recent.columns(100)
    assert np.nanmax(thinned.greatest_n) == 7.0


def test_a_new_pull_begins_with_what_is_held():
    recent = RecentTrace(20.0, 1000)
    seconds = np.arange(0.0, 30.0, 0.01)
    recent.add(block(seconds, seconds))
    held = recent.block_from(28.0)
    assert held.seconds.min() >= 28.0 - recent.bucket_s
    assert held.force_n.max() == pytest.approx(29.99)
    assert np.all(np.diff(held.seconds) >= 0)


def test_a_clock_that_began_anew_takes_what_was_before_away():
    """A board that is back counts from nothing; what it sent before is no part of its curve."""
    samples = block(np.array([30.0, 30.1, 0.0, 0.1, 0.2]), np.arange(5.0))
    kept, anew = since_anew(samples, 29.9)
    assert anew
    assert kept.seconds.tolist() == [0.0, 0.1, 0.2]
    assert kept.force_n.tolist() == [2.0, 3.0, 4.0]
    assert since_anew(block(np.array([0.3, 0.4]), np.zeros(2)), 0.2)[1] is False
    assert since_anew(block(np.array([0.0]), np.zeros(1)), 30.2)[1] is True
    assert since_anew(block(np.empty(0), np.empty(0)), 30.2)[1] is False
