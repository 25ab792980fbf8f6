"""The port: bytes with the time they came, the alarm line, and clear words when it fails.

The only place that knows pyserial. One thread reads, drives the alarm line and closes.
"""

import errno
import select
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import serial
from serial.tools import list_ports

from daq.faults import DeviceFault
from daq.samples import Chunk

_WAIT_S = 0.02  # for the first byte
#: While bytes stream fast a read begins so long after the one before: fewer wake-ups, and still
#: every byte is judged within 5 ms.
_GATHER_S = 0.0035
_FAST_BYTES_PER_S = 64_000.0
_FULL = 4_000  # bytes: a system hands over some 4 kB at most, and has more to give at once
_RATE_MEMORY_S = 0.05
_MOST = 1 << 16
_READS_NOTHING = "readiness to read but returned no data"  # how the library words a pulled cable


@dataclass(frozen=True, slots=True)
class AttachedPort:
    """A port as the system lists it; empty where it does not know."""

    device: str
    by_id: str
    vid_pid: str
    serial_number: str
    description: str


def attached_ports() -> list[AttachedPort]:
    """Return the ports of real adapters and boards, in the order of their names."""
    return [
        AttachedPort(
            device=port.device,
            by_id=_by_id(port.device),
            vid_pid="" if port.vid is None else f"{port.vid:04X}:{port.pid:04X}",
            serial_number=port.serial_number or "",
            description="" if port.description in (None, "n/a") else port.description,
        )
        for port in sorted(list_ports.comports())
        if port.vid is not None or port.hwid not in (None, "n/a")
    ]


def _by_id(device: str) -> str:
    """Return the port's name that outlasts replugging, where the system keeps one."""
    folder = Path("/dev/serial/by-id")
    if not folder.is_dir():
        return ""
    target = Path(device).resolve()
    return next((str(name) for name in sorted(folder.iterdir()) if name.resolve() == target), "")


class SerialPort:
    """An open port, its alarm line raised. Raises DeviceFault only."""

    def __init__(
        self,
        port: str,
        baud: int = 115200,
        alarm_line: Literal["rts", "dtr", "none"] = "none",
    ) -> None:
        self.name = port
        self._alarm_line = alarm_line
        self._rate = 0.0  # bytes a second, of late
        self._read_ns = time.monotonic_ns()
        self._port = _open(port, baud)  # raises both lines
        self._descriptor = _descriptor(self._port)
        # with a descriptor to wait on, a read itself need not wait
        self._port.timeout = _WAIT_S if self._descriptor is None else 0

    def __enter__(self) -> "SerialPort":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def read(self) -> Chunk:
        """Return what came, stamped when it was read; empty when nothing came for 20 ms.

        The first byte ends the wait, except while bytes stream fast: then a few milliseconds are
        gathered, as waking up for each line costs more than reading it.
        """
        try:
            if self._rate > _FAST_BYTES_PER_S:
                passed_s = (time.monotonic_ns() - self._read_ns) / 1e9
                time.sleep(max(0.0, _GATHER_S - passed_s))
            data = self._read_what_is_there()
        except (OSError, TypeError, ValueError) as why:  # whatever a driver says of a lost device
            raise DeviceFault(self._went_away(why)) from why
        now_ns = time.monotonic_ns()
        self._note_rate(len(data), now_ns)
        return Chunk(data, now_ns)

    def _read_what_is_there(self) -> bytes:
        if self._descriptor is None:
            first = bytes(self._port.read(1))
            return first + bytes(self._port.read(self._port.in_waiting)) if first else b""
        data = part = self._read_within(_WAIT_S)
        while len(part) >= _FULL and len(data) < _MOST:
            part = self._read_within(0.0)
            data += part
        return data

    def _read_within(self, wait_s: float) -> bytes:
        assert self._descriptor is not None
        if not select.select([self._descriptor], [], [], wait_s)[0]:
            return b""
        return bytes(self._port.read(_MOST))

    def _note_rate(self, count: int, now_ns: int) -> None:
        span_s = max((now_ns - self._read_ns) / 1e9, 1e-6)
        self._read_ns = now_ns
        weight = min(1.0, span_s / _RATE_MEMORY_S)
        self._rate += weight * (count / span_s - self._rate)

    def set_alarm(self, *, raised: bool) -> None:
        """Raise the alarm line (all is well) or drop it; a pulled cable reads as dropped."""
        try:
            if self._alarm_line == "rts":
                self._port.rts = raised
            elif self._alarm_line == "dtr":
                self._port.dtr = raised
        except (OSError, TypeError, ValueError) as why:
            if getattr(why, "errno", None) not in (errno.ENOTTY, errno.EINVAL):  # pty: no such line
                raise DeviceFault(self._went_away(why)) from why

    def close(self) -> None:
        """Close the port; call it in the thread that reads."""
        try:
            self._port.close()
        except (OSError, TypeError, ValueError):
            return  # it went away before: nothing is left to close

    def _went_away(self, why: Exception) -> str:
        words = "unplugged, or read by another program" if _READS_NOTHING in str(why) else why
        return f"the board on {self.name} went away ({words}): look at the cable and the board"


def _descriptor(port: Any) -> int | None:
    """Return what ``select`` can wait on, where the port has it (Windows ports have not)."""
    try:
        number = port.fileno()
        select.select([number], [], [], 0)
    except (AttributeError, OSError, TypeError, ValueError):
        return None
    return int(number)


def _open(port: str, baud: int) -> Any:
    try:
        return serial.serial_for_url(port, baud, timeout=_WAIT_S, exclusive=True)
    except (OSError, ValueError) as why:
        raise DeviceFault(_why_not_open(port, baud, why)) from why


def _why_not_open(port: str, baud: int, why: Exception) -> str:
    """Return one sentence: what is wrong with the port, and what to do."""
    number, text = getattr(why, "errno", None), str(why)
    if "://" in port:
        known = "a port name, or a URL such as socket://127.0.0.1:4001"
        return f"cannot open {port} ({text}): give {known}"
    if number == errno.ENOENT or "FileNotFoundError" in text:
        return f"there is no port {port}: {_ports_in_words()}"
    if number in (errno.EBUSY, errno.EAGAIN) or (number is None and "PermissionError" in text):
        return f"{port} is busy: close the other program that has it open, then try again"
    if number in (errno.EACCES, errno.EPERM):
        return (
            f"no permission to open {port}: join the group that owns it (often dialout or uucp: "
            '"sudo usermod -aG dialout $USER", then log in again) or add a udev rule'
        )
    if "baud" in text.lower():
        return f"{port} cannot do {baud} baud ({text}): set link.baud to what the board uses"
    return f"{port} does not work as a serial port ({text}): {_ports_in_words()}"


def _ports_in_words() -> str:
    names = [port.device for port in attached_ports()]
    if not names:
        return 'no board is attached (look at the cable, or try "pullstand demo")'
    return f"attached now: {', '.join(names)}"
