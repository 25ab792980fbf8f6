"""Where samples come from: a board on a port, or a recording played again."""

import time
from collections.abc import Sequence
from typing import Protocol

import numpy as np

from daq.faults import DeviceFault
from daq.wire.decoded import Decoded, Decoder
from daq.wire.serial_port import SerialPort

REPLAY_POLL_S = 0.02


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


class ReplaySource:
    """A recording, played at its own pace times ``speed``; arrivals are made anew."""

    def __init__(
        self, samples: np.ndarray, seconds: Sequence[float] | np.ndarray, speed: float = 1.0
    ) -> None:
        self._samples = samples
        self._due_ns = (np.asarray(seconds) * 1e9 / speed).astype(np.int64)
        self._next = 0
        self._start_ns: int | None = None

    @property
    def cells(self) -> int:
        """Number of load-cell channels."""
        return int(self._samples.dtype["counts"].shape[0])

    def read(self) -> tuple[Decoded, int]:
        """Wait a moment and return the samples that are due."""
        if self._next >= len(self._samples):
            raise EndOfSource
        time.sleep(REPLAY_POLL_S)
        now_ns = time.monotonic_ns()
        if self._start_ns is None:
            self._start_ns = now_ns
        end = int(np.searchsorted(self._due_ns, now_ns - self._start_ns, side="right"))
        block = self._samples[self._next : end].copy()
        block["arrival_ns"] = now_ns
        self._next = end
        return Decoded(block, ()), now_ns

    def finish(self) -> Decoded:
        """Nothing is held back."""
        return Decoded(self._samples[:0], ())

    def set_alarm(self, *, raised: bool) -> None:
        """A replay drives no line."""

    def close(self) -> None:
        """Nothing to let go."""
