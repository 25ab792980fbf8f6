"""The only edge of the simulators: a port that a reader can open, and the board playing on it.

On POSIX the port is a pseudo-terminal; elsewhere a socket on the loopback address, which pyserial
opens as ``socket://127.0.0.1:PORT``. The board waits until somebody opens the port, boots, and
plays its script at true pace (start + i x period), faster on demand. Nobody reading never blocks
it: what does not fit is lost, as on a real board, and counted.
"""

import contextlib
import importlib.util
import os
import select
import socket
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Protocol

from simulators.transmission import Sending, Transmission, delivery
from simulators.truth import Delivery

BOOT_S = 0.15  # between opening and the first byte; readers flush their input in it
LOOK_S = 0.005
LONGEST_SLEEP_S = 0.02
OWN_BUFFER = 4096  # bytes that wait while the port takes no more
PATIENCE_S = 2.0  # then what comes due is lost
DRAIN_S = 10.0  # for a reader that is only late
DRAINED_S = 0.4  # a busy system moves bytes on late: empty for so long is empty


class Port(Protocol):
    """What a board needs of a port."""

    name: str

    def has_reader(self) -> bool:
        """Return whether somebody has it open."""

    def send(self, data: bytes) -> int:
        """Take what fits at once; return how many bytes that was."""

    def unread(self) -> int:
        """Return how many bytes still wait for the reader, as far as can be known."""

    def close(self) -> None:
        """Pull the cable."""


class PtyPort:
    """A pseudo-terminal, the far end given to the reader. POSIX only."""

    def __init__(self) -> None:
        import tty

        self._near, far = os.openpty()
        tty.setraw(far)
        self.name = os.ttyname(far)
        os.close(far)  # from now on the near end hangs up whenever no reader has it open
        os.set_blocking(self._near, False)
        self._poll = select.poll()
        self._poll.register(self._near, select.POLLIN)

    def has_reader(self) -> bool:
        """Return whether somebody has it open."""
        events = self._poll.poll(0)
        return not any(event & select.POLLHUP for _, event in events)

    def send(self, data: bytes) -> int:
        """Take what fits at once; return how many bytes that was."""
        self._discard_input()
        try:
            return os.write(self._near, data)
        except BlockingIOError:
            return 0

    def unread(self) -> int:
        """Ask the far end how much waits there; opened for the question only."""
        import array
        import fcntl
        import termios

        waiting = array.array("i", [0])
        try:
            far = os.open(self.name, os.O_RDONLY | os.O_NOCTTY | os.O_NONBLOCK)
        except OSError:  # the reader keeps others out
            return 0
        try:
            fcntl.ioctl(far, termios.FIONREAD, waiting)
        finally:
            os.close(far)
        return waiting[0]

    def close(self) -> None:
        """Hang up."""
        os.close(self._near)

    def _discard_input(self) -> None:
        with contextlib.suppress(OSError):
            os.read(self._near, 4096)


class SocketPort:
    """A socket on the loopback address, for systems without pseudo-terminals."""

    def __init__(self) -> None:
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._listener.setblocking(False)
        self._reader: socket.socket | None = None
        self.name = f"socket://127.0.0.1:{self._listener.getsockname()[1]}"

    def has_reader(self) -> bool:
        """Return whether somebody is connected."""
        if self._reader is None:
            with contextlib.suppress(BlockingIOError):
                self._reader, _ = self._listener.accept()
                self._reader.setblocking(False)
                self._reader.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        if self._reader is not None and self._left(self._reader):
            self._reader.close()
            self._reader = None
        return self._reader is not None

    def send(self, data: bytes) -> int:
        """Take what fits at once; return how many bytes that was."""
        if self._reader is None:
            return 0
        try:
            return self._reader.send(data)
        except (BlockingIOError, ConnectionError):
            return 0

    def unread(self) -> int:
        """Return 0: the system delivers what it took, even after closing."""
        return 0

    def close(self) -> None:
        """Hang up, after what was taken is delivered."""
        if self._reader is not None:
            self._reader.close()
        self._listener.close()

    @staticmethod
    def _left(reader: socket.socket) -> bool:
        try:
            return reader.recv(4096) == b""
        except BlockingIOError:
            return False
        except ConnectionError:
            return True


def open_port() -> Port:
    """Return the kind of port this system has."""
    has_ptys = importlib.util.find_spec("termios") is not None and hasattr(os, "openpty")
    return PtyPort() if has_ptys else SocketPort()


@contextlib.contextmanager
def linked(port: Port, link: Path | None) -> Iterator[None]:
    """Give the port a second name as long as it lasts. Raises FileExistsError on a foreign file."""
    if link is None:
        yield
        return
    if link.is_symlink():
        link.unlink()
    link.symlink_to(port.name)
    try:
        yield
    finally:
        link.unlink(missing_ok=True)


class PlayingBoard:
    """A board that plays a transmission on a port. ``run`` returns when the script is over."""

    def __init__(self, port: Port, transmission: Transmission, speed: float = 1.0) -> None:
        self._port = port
        self._transmission = transmission
        self._speed = speed
        self._next = 0
        self._sent: list[tuple[Sending, bool]] = []
        self._waiting = bytearray()
        self._full_since_s: float | None = None
        self._complete = False

    @property
    def delivery(self) -> Delivery:
        """What has been sent so far."""
        return delivery(self._sent, complete=self._complete)

    def run(self) -> None:
        """Wait for a reader, play, wait until all is read."""
        while not self._complete:
            self._await_reader()
            self._play()
        self._drain()

    def _await_reader(self) -> None:
        while not self._port.has_reader():
            time.sleep(LOOK_S)
        time.sleep(BOOT_S)

    def _play(self) -> None:
        """Play to the end, or rewind when the reader left before anything happened."""
        self._sent.clear()  # kept over a rewind: until then it is what the last reader was sent
        sendings, start_s = self._transmission.sendings, time.monotonic()
        ends_s = self._transmission.ends_s
        while self._next < len(sendings) and sendings[self._next].due_s <= ends_s:
            script_s = (time.monotonic() - start_s) * self._speed
            reading = self._port.has_reader()
            if not reading and script_s < self._transmission.quiet_until_s:
                self._rewind()
                return
            self._send_due(script_s, reading)
            self._sleep(start_s)
        self._complete = True

    def _rewind(self) -> None:
        self._next = 0
        self._waiting.clear()
        self._full_since_s = None

    def _send_due(self, script_s: float, reading: bool) -> None:
        sendings, ends_s = self._transmission.sendings, self._transmission.ends_s
        script_s = min(script_s, ends_s)
        while self._next < len(sendings) and sendings[self._next].due_s <= script_s:
            room = len(self._waiting) < OWN_BUFFER
            if reading and not room and not self._out_of_patience():
                break
            sending = sendings[self._next]
            self._next += 1
            self._sent.append((sending, reading and room))
            if reading and room:
                self._waiting += sending.data
        if reading:
            self._flush()
        else:
            self._waiting.clear()

    def _out_of_patience(self) -> bool:
        now_s = time.monotonic()
        if self._full_since_s is None:
            self._full_since_s = now_s
        return now_s - self._full_since_s > PATIENCE_S

    def _flush(self) -> None:
        if not self._waiting:
            return
        taken = self._port.send(bytes(self._waiting))
        del self._waiting[:taken]
        if taken:
            self._full_since_s = None

    def _sleep(self, start_s: float) -> None:
        if self._next == len(self._transmission.sendings):
            return
        due_s = start_s + self._transmission.sendings[self._next].due_s / self._speed
        wait_s = min(LONGEST_SLEEP_S, due_s - time.monotonic())
        time.sleep(max(wait_s, LOOK_S if self._waiting else 0.001))

    def _drain(self) -> None:
        since_s = time.monotonic()
        until_s = since_s + (DRAIN_S if self._full_since_s is None else DRAINED_S)
        while (now_s := time.monotonic()) < until_s and self._port.has_reader():
            self._flush()
            if self._waiting or self._port.unread():
                since_s = now_s
            elif now_s - since_s > DRAINED_S:
                return
            time.sleep(LOOK_S)
