"""While known weights are on: no pull begins, no zero is taken by itself, the guard goes on."""

from dataclasses import replace

import numpy as np
import pytest

from daq.faults import Fault
from daq.force.curve import Curve
from daq.live_reading import Phase
from daq.record.recorder import Begin
from daq.rig.rig import Stop

QUIET = np.zeros(400)


def test_no_pull_begins_and_counts_can_be_seen(bench):
    rig = bench(auto_zero=True)
    rig.feed(QUIET)
    rig.session.weigh(on=True)
    zero = rig.session.zero_taken
    rig.feed(np.full(600, 390.0))
    assert not [message for message in rig.offered if isinstance(message, Begin)]
    assert rig.session.state.phase.phase is Phase.SLACK
    assert rig.session.zero_taken is zero
    counts, seconds = rig.session.past.counts(4.0)
    assert len(counts) == len(seconds) > 300
    rig.feed(QUIET)
    rig.session.weigh(on=False)
    rig.feed(np.linspace(0.0, 2000.0, 400))
    assert [message for message in rig.offered if isinstance(message, Begin)]


def test_the_guard_goes_on(bench):
    rig = bench(auto_zero=True)
    rig.feed(QUIET)
    rig.session.weigh(on=True)
    rig.feed(np.full(20, 6100.0))
    assert [trip.cause for trip in rig.trips] == ["specimen force"]


def test_weights_and_other_limits_wait_for_the_end_of_a_pull(bench):
    rig = bench(auto_zero=True)
    rig.feed(QUIET)
    rig.feed(np.linspace(0.0, 2000.0, 400))
    with pytest.raises(Fault, match="a pull is on"):
        rig.session.weigh(on=True)
    with pytest.raises(Fault, match="a pull is on"):
        rig.session.use_rig(rig.rig)
    with pytest.raises(Fault, match="a pull is on"):
        rig.session.use_calibration(rig.session.calibration)


def test_another_stop_holds_at_once_and_the_zero_stays(bench):
    rig = bench(auto_zero=True)
    rig.feed(QUIET)
    zero = rig.session.chain.force.zero
    rig.session.use_rig(replace(rig.rig, stop=Stop(1000.0, 800.0)))
    assert rig.session.chain.force.zero == zero
    rig.feed(np.full(20, 1100.0))
    assert rig.trips


def test_another_calibration_holds_at_once_and_the_zero_stays(bench):
    """Half the counts to a newton: twice the force for the same counts."""
    rig = bench(auto_zero=True)
    rig.feed(QUIET)
    zero, before = rig.session.chain.force.zero, rig.session.calibration
    halved = tuple(Curve((0.0, curve.coefficients[1] / 2.0)) for curve in before.curves)
    rig.session.use_calibration(replace(before, curves=halved))
    assert rig.session.chain.force.zero == zero
    rig.feed(np.full(20, 50.0))
    assert rig.session.force_n == pytest.approx(100.0, abs=1.0)
