"""Samples beyond what weights verified carry a mark from the live chain to the screen's trace."""

from dataclasses import replace

import numpy as np

from daq.force.calibration import KNOWN_WEIGHTS, Calibration
from daq.pull_session import PullSession
from daq.samples import Flag


def traced_flags(made, verified_to_n, forces_n):
    """Flags of the trace of a session whose weights went up to ``verified_to_n`` at the cells."""
    known = replace(
        Calibration.from_rig(made.rig), basis=KNOWN_WEIGHTS, verified_to_n=verified_to_n
    )
    calibration = known if verified_to_n else Calibration.from_rig(made.rig)
    made.session = PullSession(made.rig, calibration, made.offered.append, has_board_clock=True)
    blocks = []
    made.take, take = lambda decoded: blocks.append(take(decoded)), made.take
    made.feed(np.concatenate([np.zeros(20), forces_n]))
    return np.concatenate([block.flags for block in blocks])[20:]


def test_only_what_lies_beyond_the_weights_is_marked(bench):
    """At 2:1, 500 N at the cells are 1000 N at the specimen."""
    flags = traced_flags(bench(), 500.0, np.array([900.0, 990.0, 1010.0, 1100.0, 950.0]))
    assert ((flags & Flag.EXTRAPOLATED) != 0).tolist() == [False, False, True, True, False]


def test_without_weights_nothing_is_marked_as_beyond_them(bench):
    """There is no verified range that a sample could lie beyond; the screen says so otherwise."""
    flags = traced_flags(bench(), 0.0, np.array([900.0, 1100.0]))
    assert not (flags & Flag.EXTRAPOLATED).any()
