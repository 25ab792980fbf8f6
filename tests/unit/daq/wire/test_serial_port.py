"""The port on real descriptors: a pty, a loopback socket; every failure is one clear sentence."""

import os
import socket
import sys
import time
from contextlib import suppress

import pytest

from daq.faults import DeviceFault
from daq.wire import serial_port
from daq.wire.serial_port import SerialPort

DEADLINE_S = 5.0
posix_only = pytest.mark.skipif(sys.platform == "win32", reason="there is no pty on Windows")


@pytest.fixture
def pty_pair():
    """(the board's end, the name of the host's end)."""
    tty = pytest.importorskip("tty")
    board, host = os.openpty()
    tty.setraw(host)
    name = os.ttyname(host)
    os.close(host)
    yield board, name
    with suppress(OSError):  # a test may have pulled the cable
        os.close(board)


@pytest.fixture
def server():
    """A listening loopback socket."""
    listener = socket.create_server(("127.0.0.1", 0))
    yield listener
    listener.close()


def gathered(port, count):
    """Chunks until ``count`` bytes are there."""
    data, end = b"", time.monotonic() + DEADLINE_S
    while len(data) < count and time.monotonic() < end:
        data += port.read().data
    return data


@posix_only
def test_bytes_of_a_pty_come_whole_and_stamped(pty_pair):
    board, name = pty_pair
    with SerialPort(name) as port:
        before = time.monotonic_ns()
        os.write(board, b"1,2,3\n")
        chunk = port.read()
        assert before <= chunk.arrival_ns <= time.monotonic_ns()
        assert chunk.data + gathered(port, 6 - len(chunk.data)) == b"1,2,3\n"


@posix_only
def test_nothing_comes_as_an_empty_chunk_soon(pty_pair):
    with SerialPort(pty_pair[1]) as port:
        begin = time.monotonic()
        assert port.read().data == b""
        assert time.monotonic() - begin < 1.0


@posix_only
def test_a_pulled_cable_is_told_in_words(pty_pair):
    board, name = pty_pair
    with SerialPort(name) as port:
        os.close(board)
        with pytest.raises(DeviceFault, match=r"went away.*cable"):
            for _ in range(100):
                port.read()


@posix_only
@pytest.mark.parametrize("line", ["rts", "dtr", "none"])
def test_a_pty_without_an_alarm_line_is_no_fault(pty_pair, line):
    with SerialPort(pty_pair[1], alarm_line=line) as port:
        port.set_alarm(raised=False)
        port.set_alarm(raised=True)


@posix_only
def test_a_busy_port_is_told_in_words(pty_pair):
    with SerialPort(pty_pair[1]), pytest.raises(DeviceFault, match="is busy: close the other"):
        SerialPort(pty_pair[1])


@posix_only
def test_a_fast_stream_is_gathered_into_few_reads(pty_pair):
    board, name = pty_pair
    line = b"1234567,211873,198114\n" * 20
    os.set_blocking(board, False)
    with SerialPort(name) as port:
        sent = reads = received = 0
        end = time.monotonic() + 0.5
        while time.monotonic() < end:
            with suppress(BlockingIOError):
                sent += os.write(board, line)
            received += len(port.read().data)
            reads += 1
        received += len(gathered(port, sent - received))
    assert received == sent
    assert reads < 250


@posix_only
def test_what_waits_behind_a_full_buffer_is_read_at_once(pty_pair, monkeypatch):
    """A system hands over 4 kB at a time: taken once each few milliseconds it would fall behind."""
    parts = [b"a" * 4095, b"b" * 4095, b"c" * 100, b"d"]
    with SerialPort(pty_pair[1]) as port:
        monkeypatch.setattr(port, "_read_within", lambda wait_s: parts.pop(0))
        assert len(port.read().data) == 4095 + 4095 + 100
        assert port.read().data == b"d"


def test_a_socket_url_works_and_its_end_is_told(server):
    address = f"socket://127.0.0.1:{server.getsockname()[1]}"
    with SerialPort(address) as port:
        board, _ = server.accept()
        board.sendall(b"1,2,3\n" * 100)
        assert gathered(port, 600) == b"1,2,3\n" * 100
        board.close()
        with pytest.raises(DeviceFault, match="went away"):
            for _ in range(100):
                port.read()


def test_a_loop_url_works_without_a_descriptor():
    with SerialPort("loop://") as port:
        port._port.write(b"7,8\n")
        assert gathered(port, 4) == b"7,8\n"
        assert port.read().data == b""


@pytest.mark.parametrize("line", ["rts", "dtr"])
def test_the_alarm_line_is_raised_on_opening_and_can_be_dropped(line):
    with SerialPort("loop://", alarm_line=line) as port:
        assert getattr(port._port, line) is True
        port.set_alarm(raised=False)
        assert getattr(port._port, line) is False


@posix_only
def test_a_missing_port_names_the_ports_that_are_there(monkeypatch):
    attached = serial_port.AttachedPort("/dev/ttyACM7", "", "1209:0001", "", "a board")
    monkeypatch.setattr(serial_port, "attached_ports", lambda: [attached])
    with pytest.raises(DeviceFault, match=r"no port /dev/nothing-here: attached now: /dev/ttyACM7"):
        SerialPort("/dev/nothing-here")


@posix_only
def test_a_missing_port_with_none_attached_says_what_to_try(monkeypatch):
    monkeypatch.setattr(serial_port, "attached_ports", list)
    with pytest.raises(DeviceFault, match="pullstand demo"):
        SerialPort("/dev/nothing-here")


@posix_only
def test_no_permission_names_the_group(tmp_path, monkeypatch):
    def refused(*_, **__):
        raise serial_port.serial.SerialException(13, "could not open port: Permission denied")

    monkeypatch.setattr(serial_port.serial, "serial_for_url", refused)
    with pytest.raises(DeviceFault, match=r"no permission .*dialout.*udev"):
        SerialPort("/dev/ttyACM0")


@posix_only
def test_a_file_is_no_port(tmp_path):
    path = tmp_path / "notes.txt"
    path.write_text("hello")
    with pytest.raises(DeviceFault, match="does not work as a serial port"):
        SerialPort(str(path))


@pytest.mark.parametrize("url", ["sockte://127.0.0.1:1", "socket://127.0.0.1", "socket://"])
def test_a_wrong_url_is_told_in_words(url):
    with pytest.raises(DeviceFault, match="give a port name, or a URL"):
        SerialPort(url)


def test_closing_twice_is_no_fault():
    port = SerialPort("loop://")
    port.close()
    port.close()
    with pytest.raises(DeviceFault):
        port.read()


@pytest.mark.parametrize("why", [OSError(5, "Input/output error"), TypeError("no descriptor")])
def test_whatever_a_driver_raises_is_a_lost_device(why):
    with SerialPort("loop://") as port:

        def fails(_count):
            raise why

        port._port.read = fails
        with pytest.raises(DeviceFault, match="went away"):
            port.read()
