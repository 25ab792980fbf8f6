"""Where samples come from: a board on a port, or a recording played again."""

import time
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from daq.faults import DeviceFault
from daq.wire.decoded import Decoded, Decoder
from daq.wire.serial_port import SerialPort

REPLAY_POLL_S = 0.02
HURRIED_S = 0.25  # of the recording, at a time


class Source(Protocol):
    """Something that gives samples as they come. One thread reads it and closes it."""

    @property
    def cells(self) -> int:
        """Number of load-cell channels."""
        ...

    def read(self) -> tuple[Decoded, int]:
        """Wait a moment (some 20 ms) for samples; return them, maybe none, and the host's time.

        Raises DeviceFault when the device went away, EndOfSource when there is no more to come.
        """
        ...

    def now_ns(self) -> int:
        """Return the time that arrivals are told in: the host's, or that of a replay."""
        ...

    def finish(self) -> Decoded:
        """No more will be read: return what was held back."""
        ...

    def set_alarm(self, *, raised: bool) -> None:
        """Raise the alarm line while all is well, drop it on a trip."""
        ...

    def close(self) -> None:
        """Let the device go."""
        ...


class EndOfSource(Exception):  # noqa: N818 - not an error: a replay came to its end
    """A replay came to its end."""


class BoardSource:
    """A board on a serial port."""

    def __init__(self, port: SerialPort, decoder: Decoder) -> None:
        self._port = port
        self._decoder = decoder

    @property
    def cells(self) -> int:
        """Number of load-cell channels."""
        return self._decoder.cells

    def read(self) -> tuple[Decoded, int]:
        """Read what is there and decode it."""
        chunk = self._port.read()
        return self._decoder.feed(chunk), chunk.arrival_ns

    def now_ns(self) -> int:
        """Return the host's monotonic time."""
        return time.monotonic_ns()

    def finish(self) -> Decoded:
        """Return what the decoder held back."""
        return self._decoder.finish()

    def set_alarm(self, *, raised: bool) -> None:
        """Drive the port's alarm line; a port that is gone reads as an alarm anyway."""
        try:
            self._port.set_alarm(raised=raised)
        except DeviceFault:
            return

    def close(self) -> None:
        """Close the port."""
        self._port.close()


@dataclass(slots=True)
class Playhead:
    """How a replay goes on: a screen sets it, the reader moves ``at_s`` (s of the recording).

    Up to ``hurry_to_s`` everything is given at once, through the same rules, so that what they
    remember (maximum, phase, marks) is right. ``stay``: stand at the end instead of ending.
    """

    speed: float = 1.0
    paused: bool = False
    hurry_to_s: float = 0.0
    stay: bool = False
    at_s: float = 0.0

    @property
    def hurrying(self) -> bool:
        """Whether it is on the way to where it shall stand."""
        return self.at_s < self.hurry_to_s


class ReplaySource:
    """A recording, played as the playhead says. Its time is that of the recording.

    ``seconds`` (n,) are the times of the samples since the first. While it stands still no time
    passes, so nothing goes stale; at any speed silences last as long as they did.
    """

    def __init__(
        self,
        samples: np.ndarray,
        seconds: Sequence[float] | np.ndarray,
        speed: float = 1.0,
        head: Playhead | None = None,
    ) -> None:
        self._samples = samples
        self._seconds = np.asarray(seconds, dtype=np.float64)
        self._head = head or Playhead(speed)
        self._next = 0
        self._began_ns = self._looked_ns = time.monotonic_ns()

    @property
    def cells(self) -> int:
        """Number of load-cell channels."""
        return int(self._samples.dtype["counts"].shape[0])

    def read(self) -> tuple[Decoded, int]:
        """Wait a moment, unless hurrying, and return the samples that are due."""
        head = self._head
        if self._next >= len(self._samples):
            if not head.stay:
                raise EndOfSource
            head.hurry_to_s = head.at_s
        self._move(head)
        end = int(np.searchsorted(self._seconds, head.at_s, side="right"))
        block = self._samples[self._next : end].copy()
        block["arrival_ns"] = self._began_ns + (self._seconds[self._next : end] * 1e9).astype(
            np.int64
        )
        self._next = end
        return Decoded(block, ()), self.now_ns()

    def _move(self, head: Playhead) -> None:
        """Move the playhead on, at most to the end of the recording."""
        if head.hurrying:
            moved_s = min(HURRIED_S, head.hurry_to_s - head.at_s)
            self._looked_ns = time.monotonic_ns()
        else:
            time.sleep(REPLAY_POLL_S)
            now_ns = time.monotonic_ns()
            moved_s = 0.0 if head.paused else (now_ns - self._looked_ns) / 1e9 * head.speed
            self._looked_ns = now_ns
        if self._next < len(self._samples):
            head.at_s = min(head.at_s + moved_s, float(self._seconds[-1]))

    def now_ns(self) -> int:
        """Return the time of the recording, from when it was opened."""
        return self._began_ns + int(self._head.at_s * 1e9)

    def finish(self) -> Decoded:
        """Nothing is held back."""
        return Decoded(self._samples[:0], ())

    def set_alarm(self, *, raised: bool) -> None:
        """A replay drives no line."""

    def close(self) -> None:
        """Nothing to let go."""
