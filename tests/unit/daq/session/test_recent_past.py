"""The last seconds of a session, beside a plain walk over all of it."""

import numpy as np
import pytest

from daq.force.force_chain import Forces
from daq.live_chain import Step
from daq.recent_past import KEEP_S, RecentPast
from daq.samples import sample_dtype


def a_step(seconds, force_n):
    samples = np.zeros(len(seconds), sample_dtype(1))
    samples["counts"][:, 0] = np.round(force_n)
    marks = np.zeros(len(seconds), np.bool_)
    return Step(samples, seconds, Forces(force_n[:, None], force_n, force_n, marks), ())


def plain_rise(steps, over_s):
    """Samples a second and newtons a second over the steps that reach back ``over_s`` seconds."""
    near = [step for step in steps if step.seconds[-1] >= steps[-1].seconds[-1] - over_s]
    span_s = steps[-1].seconds[-1] - near[0].seconds[0]
    count = sum(len(step.seconds) for step in near)
    rise_n = steps[-1].forces.at_specimen_n[-1] - near[0].forces.at_specimen_n[0]
    return ((count - 1) / span_s, rise_n / span_s) if span_s > 0 else (0.0, 0.0)


@pytest.mark.parametrize("seed", range(4))
def test_what_is_asked_of_it_is_what_a_walk_finds(seed):
    """Blocks of one to nine samples over 40 s, silences among them; nothing older is kept."""
    chance = np.random.default_rng(seed)
    past, steps, now_s = RecentPast(1), [], 0.0
    assert past.rate_per_s(2.0) == past.climb_n_per_s(2.0) == 0.0
    while now_s < 40.0:
        seconds = now_s + np.cumsum(chance.exponential(0.01, chance.integers(1, 10)))
        now_s = float(seconds[-1]) + (3.0 if chance.random() < 0.002 else 0.0)
        steps.append(a_step(seconds, chance.normal(500.0 * seconds, 10.0)))
        past.add(steps[-1])
        rate, climb = plain_rise(steps, 2.0)
        assert past.rate_per_s(2.0) == pytest.approx(rate)
        assert past.climb_n_per_s(2.0) == pytest.approx(climb)
    kept = [step for step in steps if step.seconds[-1] >= steps[-1].seconds[-1] - KEEP_S]
    assert [id(block) for block in past.samples()] == [id(step.samples) for step in kept]
    assert past.covers(10.0) and not past.covers(KEEP_S + 5.0)
    every_s = np.concatenate([step.seconds for step in steps])
    recent = every_s >= every_s[-1] - 2.0
    counts, seconds = past.counts(2.0)
    np.testing.assert_array_equal(seconds, every_s[recent])
    every = np.concatenate([step.samples["counts"] for step in steps])
    np.testing.assert_array_equal(counts, every[recent])


def test_old_steps_are_let_go():
    """An hour at two blocks a second: what is held stays near what is asked for."""
    past = RecentPast(1)
    for second in range(3600):
        past.add(a_step(np.array([second, second + 0.5]), np.zeros(2)))
    assert len(past.samples()) == KEEP_S + 1
    assert len(past._steps) < 100
    past.clear()
    assert past.samples() == [] and not past.covers(0.0)
