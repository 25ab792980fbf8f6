"""A session that begins without a board: what is said meanwhile, and how it gets one."""

import pytest

from daq.faults import DeviceFault, Fault, InputFault
from daq.live_reading import Phase
from tui import reopening
from tui.commands.demo import demo_rig_file
from tui.live_session import usable_rig
from tui.reopening import ReopeningSession

RIG = usable_rig(demo_rig_file())


class Board:
    """A session that says where it was opened."""

    def __init__(self, port, reading):
        self.port, self.reading, self.closed = port, reading, False

    def latest(self):
        return self.reading

    def close(self):
        self.closed = True


class Opener:
    """Opens boards, or raises what it is given first."""

    def __init__(self, reading, *faults):
        self.reading, self.faults, self.tried = reading, list(faults), []

    def __call__(self, port):
        self.tried.append(port)
        if self.faults:
            raise self.faults.pop(0)
        return Board(port, self.reading)


@pytest.fixture
def at_once(monkeypatch):
    monkeypatch.setattr(reopening, "RETRY_S", -1.0)


def test_without_a_board_the_force_is_unknown_and_wishes_are_refused(reading_at):
    session = ReopeningSession(RIG, Opener(reading_at(), DeviceFault("p is busy")), "p")
    reading = session.latest()
    assert not reading.live and reading.unknown_because == "p is busy"
    assert reading.stop_n == RIG.stop.stop_n and len(reading.cells) == len(RIG.cells)
    assert not session.take_trace().seconds.size
    assert session.ended_because is None
    for wish in (session.zero, session.undo_zero, session.acknowledge):
        with pytest.raises(Fault, match="no board yet"):
            wish()
    session.close()


def test_a_port_that_is_busy_is_tried_again(reading_at, at_once):
    opener = Opener(reading_at(), DeviceFault("busy"), DeviceFault("busy still"))
    session = ReopeningSession(RIG, opener, "p")
    assert session.latest().unknown_because == "busy still"
    assert session.latest().live and session.has_board
    session.latest()
    assert opener.tried == ["p", "p", "p"]


def test_a_rig_file_without_a_port_is_not_tried_again(reading_at, at_once):
    opener = Opener(reading_at(), InputFault("no port is named"))
    session = ReopeningSession(RIG, opener, None)
    assert not session.latest().live and not session.latest().live
    assert opener.tried == [None]


def test_another_port_takes_the_place_of_the_first(reading_at):
    session = ReopeningSession(RIG, Opener(reading_at(phase=Phase.SLACK)), "p")
    first = session._now
    session.reopen("q")
    assert first.closed and session.port == "q"


@pytest.mark.parametrize(
    "state", [{"phase": Phase.RISING}, {"phase": Phase.SLACK, "still_loaded": True}]
)
def test_the_link_stays_under_load(reading_at, state):
    """A new session knows nothing of the load that the old one saw."""
    session = ReopeningSession(RIG, Opener(reading_at(**state)), "p")
    with pytest.raises(Fault, match="wind back first"):
        session.reopen("q")
    assert session.port == "p" and not session._now.closed


def test_a_port_that_cannot_be_opened_leaves_no_board(reading_at):
    opener = Opener(reading_at(phase=Phase.SLACK))
    session = ReopeningSession(RIG, opener, "p")
    opener.faults.append(DeviceFault("q is not there"))
    with pytest.raises(DeviceFault):
        session.reopen("q")
    assert not session.has_board and not session.latest().live
