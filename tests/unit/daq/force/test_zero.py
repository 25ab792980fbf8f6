"""A zero is taken from quiet, and from nothing else."""

import numpy as np
import pytest

from daq.force.zero import NotQuiet, Zero, take_zero

CAPACITY = (200_000.0, 200_000.0)


def stretch(seconds=3.0, noise=20.0, drift=0.0, level=(5000.0, -800.0), rate=90.0):
    time = np.arange(0.0, seconds, 1.0 / rate)
    random = np.random.default_rng(3).normal(0.0, noise, (len(time), 2))
    counts = np.array(level) + drift * time[:, None] + random
    return np.rint(counts).astype(np.int32), time


def test_quiet_counts_give_mean_spread_and_span():
    counts, seconds = stretch()
    zero = take_zero(counts, seconds, capacity_counts=CAPACITY, taken_ns=12, index=7)
    assert zero.counts == tuple(counts.mean(axis=0))
    assert zero.sd == tuple(counts.std(axis=0, ddof=1))
    assert zero.span == tuple(np.ptp(counts, axis=0))
    assert (zero.samples, zero.taken_ns, zero.index, zero.taken) == (len(counts), 12, 7, True)
    assert not Zero.none(2).taken


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"seconds": 0.9}, "only 0.9 s"),
        ({"seconds": 0.0}, "only 0.0 s and 0 samples"),
        ({"drift": 100.0}, r"not steady: drift \+\d+ counts \(limit 200\) in 3.0 s"),
        ({"noise": 300.0}, r"noise \d+ counts \(limit 200\)"),
        ({"level": (8388607.0, 0.0), "noise": 0.0}, "stands at an end of its converter"),
    ],
)
def test_no_zero_from_what_is_not_quiet(changes, words):
    with pytest.raises(NotQuiet, match=words):
        take_zero(*stretch(**changes), capacity_counts=CAPACITY, forced=True)


def test_a_zero_under_load_is_refused_unless_forced():
    last = take_zero(*stretch(), capacity_counts=CAPACITY)
    counts, seconds = stretch(level=(5000.0, 1500.0))
    with pytest.raises(NotQuiet, match=r"cell 2 is \+1.1 % of its capacity"):
        take_zero(counts, seconds, last=last, capacity_counts=CAPACITY)
    assert take_zero(counts, seconds, last=last, capacity_counts=CAPACITY, forced=True).taken
    assert take_zero(counts, seconds, last=Zero.none(2), capacity_counts=CAPACITY).taken
