"""A thinned curve is made of samples of the curve, keeps every extreme and breaks at every gap."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.report.thin_curve import thin
from daq.samples import Flag


def flags(count: int, gaps=(), flag=Flag.GAP) -> np.ndarray:
    found = np.zeros(count, dtype=np.uint16)
    found[list(gaps)] = int(flag)
    return found


@settings(max_examples=60, deadline=None)
@given(st.integers(1, 3000), st.integers(0, 2**32 - 1), st.integers(1, 60))
def test_every_extreme_of_every_column_is_a_kept_sample(count, seed, columns):
    random = np.random.default_rng(seed)
    time_s = np.cumsum(random.uniform(0.005, 0.02, count))
    force_n = random.normal(0.0, 100.0, count).cumsum()
    thinned = thin(time_s, force_n, flags(count), columns)
    assert len(thinned.seconds) <= 2 * columns + 2
    places = np.searchsorted(time_s, thinned.seconds)
    assert np.array_equal(time_s[places], thinned.seconds)
    assert np.array_equal(force_n[places], thinned.force_n)
    assert thinned.force_n.max() == force_n.max()
    assert thinned.force_n.min() == force_n.min()
    ends = np.linspace(time_s[0], time_s[-1], columns + 1)[1:-1]
    column = np.searchsorted(ends, time_s, side="right")
    kept = np.searchsorted(ends, thinned.seconds, side="right")
    for one in np.unique(column):
        own = force_n[column == one]
        assert {own.max(), own.min()} <= set(thinned.force_n[kept == one])


def test_a_line_breaks_at_a_gap_and_keeps_both_its_sides():
    time_s = np.arange(5000) / 100.0
    force_n = np.linspace(0.0, 4000.0, 5000)
    thinned = thin(time_s, force_n, flags(5000, [1234, 4000]), columns=20)
    broken = thinned.seconds[thinned.breaks]
    assert broken.tolist() == [12.34, 40.0]
    assert {12.33, 39.99} <= set(np.round(thinned.seconds, 2))


def test_a_restart_breaks_the_line_too():
    time_s = np.arange(100) / 10.0
    thinned = thin(time_s, time_s, flags(100, [50], Flag.RESTART))
    assert thinned.seconds[thinned.breaks].tolist() == [5.0]


def test_a_bad_reading_is_not_drawn_but_counted():
    time_s = np.arange(300) / 10.0
    force_n = np.full(300, 500.0)
    force_n[120] = 90_000.0
    thinned = thin(time_s, force_n, flags(300, [120], Flag.SPIKE))
    assert thinned.not_drawn == 1
    assert thinned.force_n.max() == 500.0


def test_many_gaps_do_not_make_the_drawing_endless():
    time_s = np.arange(20_000) / 100.0
    thinned = thin(time_s, time_s, flags(20_000, range(0, 20_000, 7)), columns=100)
    assert len(thinned.seconds) <= 202
    places = np.round(thinned.seconds * 100.0).astype(int)
    between = np.diff(places // 7) > 0  # a gap stands before every seventh sample
    assert np.array_equal(thinned.breaks[1:], between)


def test_nothing_stays_nothing():
    empty = np.empty(0)
    assert len(thin(empty, empty, flags(0)).seconds) == 0
