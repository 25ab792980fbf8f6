"""The raw counts of the last seconds, straight from a source: for weights, before any force."""

import time
from collections import deque

import numpy as np

from daq.samples import CountArray, FloatArray
from daq.sources import Source
from daq.wire.decoded import Decoded
from daq.wire.sample_clock import LiveClock

KEEP_S = 15.0


class RawStretch:
    """Counts and seconds as they come; a restart of the board starts them anew."""

    def __init__(self, cells: int, *, has_board_clock: bool) -> None:
        self._cells = cells
        self._clock = LiveClock.start(has_board_clock=has_board_clock)
        self._blocks: deque[tuple[np.ndarray, FloatArray]] = deque()
        self.heard_s = time.monotonic()
        self.restarts = 0
        self.samples = 0

    def read(self, source: Source) -> None:
        """Wait a moment for samples and keep them. Raises DeviceFault, EndOfSource."""
        decoded, now_ns = source.read()
        self.take(decoded)
        if len(decoded.samples):
            self.heard_s = now_ns / 1e9

    def take(self, decoded: Decoded) -> None:
        """Keep a block."""
        if any(event.kind == "restart" for event in decoded.events):
            self._blocks.clear()
            self.restarts += 1
        self._clock, seconds = self._clock.step(decoded.samples)
        if not len(seconds):
            return
        self.samples += len(seconds)
        self._blocks.append((decoded.samples["counts"], seconds))
        while self._blocks[0][1][-1] < seconds[-1] - KEEP_S:
            self._blocks.popleft()

    def latest(self) -> tuple[CountArray, FloatArray]:
        """Return counts (n, cells) and seconds (n,) of the last KEEP_S seconds."""
        if not self._blocks:
            return np.empty((0, self._cells), np.int32), np.empty(0)
        counts, seconds = zip(*self._blocks, strict=True)
        return np.concatenate(counts), np.concatenate(seconds)
