"""The board at its port: readers that come, go, and do not read. The port here is pretended."""

import pytest

from simulators import pty_board
from simulators.pty_board import PlayingBoard
from simulators.simulation import simulate
from simulators.transmission import transmit, wire_bytes, wire_for

SIMULATION = simulate("split", 3)
SCRIPT = transmit(SIMULATION, wire_for(SIMULATION))
BYTES = wire_bytes(SCRIPT)
SPEED = 400.0


class PretendedPort:
    """Takes at most ``takes`` bytes at once, ``holds`` in all; ``reader`` says who is there."""

    name = "pretended"

    def __init__(self, reader=lambda port: True, takes=1 << 20, holds=1 << 30):
        self.reader, self.takes, self.holds = reader, takes, holds
        self.data = bytearray()
        self.looks = 0

    def has_reader(self):
        self.looks += 1
        return self.reader(self)

    def send(self, data):
        taken = data[: min(self.takes, self.holds - len(self.data))]
        self.data += taken
        return len(taken)

    def unread(self):
        return 0

    def close(self):
        pass


@pytest.fixture(autouse=True)
def _quick(monkeypatch):
    monkeypatch.setattr(pty_board, "BOOT_S", 0.0)
    monkeypatch.setattr(pty_board, "PATIENCE_S", 0.05)
    monkeypatch.setattr(pty_board, "DRAIN_S", 0.1)


def play(port):
    board = PlayingBoard(port, SCRIPT, SPEED)
    board.run()
    return board.delivery


def test_the_script_begins_when_somebody_opens():
    port = PretendedPort(reader=lambda port: port.looks > 5)
    assert play(port).good == SIMULATION.samples
    assert bytes(port.data) == BYTES


def test_a_reader_that_only_looked_in_has_used_nothing_up():
    port = PretendedPort(reader=lambda port: not 4 < port.looks < 10)
    assert play(port).good == SIMULATION.samples
    assert bytes(port.data).endswith(BYTES)


def test_when_the_reader_leaves_in_mid_pull_the_board_goes_on_unheard():
    port = PretendedPort(reader=lambda port: len(port.data) < 0.6 * len(BYTES))
    out = play(port)
    assert out.complete
    assert BYTES.startswith(bytes(port.data))
    assert out.samples_sent + out.samples_unread == SIMULATION.samples + 1
    assert out.samples_sent == pytest.approx(0.6 * SIMULATION.samples, rel=0.1)
    assert port.data.count(b"\n") == out.lines_sent


def test_a_port_that_takes_little_at_a_time_still_gets_every_line():
    port = PretendedPort(takes=1999)
    assert play(port).samples_unread == 0
    assert bytes(port.data) == BYTES


def test_a_full_port_loses_whole_lines_and_blocks_nothing():
    port = PretendedPort(holds=50_000)
    out = play(port)
    assert out.complete
    assert out.samples_sent + out.samples_unread == SIMULATION.samples + 1
    assert 0 < out.samples_sent < 4000
    assert bytes(port.data) == BYTES[:50_000]
