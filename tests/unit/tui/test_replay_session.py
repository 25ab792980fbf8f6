"""A replay that is led: wherever it goes, the maximum is that of a replay that went by itself."""

import time
from pathlib import Path

import numpy as np
import pytest

from analysis.recorded_chain import force_chain
from daq.live_reading import Phase
from daq.record.reader import read_recording
from daq.wire.sample_clock import fit_clock, seconds
from tui.replay_session import ReplaySession

FILE = sorted((Path(__file__).parents[3] / "recordings" / "demo").glob("*A-01.h5"))[0]
DEADLINE_S = 20.0


@pytest.fixture(scope="module")
def curve():
    """Times (s) and forces (N) of the recording, by the chain it carries."""
    recording = read_recording(FILE)
    samples, header = recording.samples, recording.header
    at_s = seconds(samples, fit_clock(samples, has_clock=header.has_board_clock))
    return at_s, force_chain(header).forces(samples["counts"]).at_specimen_n


@pytest.fixture
def replay():
    session = ReplaySession(FILE)
    session.pause()  # stands at the beginning until it is led
    session.start()
    yield session
    session.close()


def settled(session, samples):
    """Return the reading once so many samples have been played."""
    ends = time.monotonic() + DEADLINE_S
    while (reading := session.latest()).samples != samples:
        assert time.monotonic() < ends, (reading.samples, samples)
        time.sleep(0.005)
    return reading


@pytest.mark.parametrize("path", [(40.0,), (90.0, -50.0), (20.0, 40.0, -20.0), (5.0,) * 8])
def test_wherever_it_is_led_the_maximum_is_right(replay, curve, path):
    at_s, force_n = curve
    for by in path:
        replay.skip(by, stand=True)
    played = int(np.searchsorted(at_s, sum(path), side="right"))
    reading = settled(replay, played)
    assert reading.live
    assert reading.force_n == pytest.approx(force_n[played - 1], rel=1e-9)
    # the maximum is an unflagged sample that another one followed: the last may be too new
    assert reading.maximum_n == pytest.approx(force_n[:played].max(), rel=0.01)
    assert reading.phase in (Phase.RISING, Phase.RESTING)


def test_it_stands_still_without_going_stale(replay, curve):
    played = int(np.searchsorted(curve[0], 30.0, side="right"))
    replay.skip(30.0, stand=True)
    first = settled(replay, played)
    time.sleep(1.2)  # longer than any limit of staleness: that is what is looked at here
    later = replay.latest()
    assert later.live and later.trip is None
    assert (later.samples, later.force_n) == (first.samples, first.force_n)


def test_a_step_is_a_tenth_of_a_second(replay, curve):
    replay.skip(30.0, stand=True)
    for by, at in ((0.1, 30.1), (0.1, 30.2), (-0.1, 30.1)):
        replay.skip(by, stand=True)
        settled(replay, int(np.searchsorted(curve[0], at + 1e-9, side="right")))


def test_back_to_the_start_and_to_the_end(replay, curve):
    replay.skip(1e9)
    settled(replay, len(curve[0]))
    assert "at the end" in replay.words
    replay.skip(float("-inf"))
    replay.skip(4.0, stand=True)
    assert settled(replay, int(np.searchsorted(curve[0], 4.0, side="right"))).pull_number == 0


def test_the_trace_is_whole_after_going_back(replay, curve):
    at_s, force_n = curve
    replay.skip(60.0, stand=True)
    settled(replay, int(np.searchsorted(at_s, 60.0, side="right")))
    replay.take_trace()
    replay.skip(-20.0)
    played = int(np.searchsorted(at_s, 40.0, side="right"))
    settled(replay, played)
    trace = replay.take_trace()
    assert trace.force_n == pytest.approx(force_n[:played])


def test_the_pace_has_limits(replay):
    for _ in range(20):
        replay.quicken(2.0)
    assert "64 times" in replay.words or "stands" in replay.words
    replay.pause()
    replay.quicken(2.0**-20)
    assert "0.125 times" in replay.words
