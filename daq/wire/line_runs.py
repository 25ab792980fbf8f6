"""Many text lines at once: a run of lines of good form is found by one pattern and read in one go.

The caller judges every other line on its own. The outcome is that of judging each line singly, only
sooner, and by few calls: a thread that wakes up for each few lines finds the processor's caches
cold, and then a call of numpy costs several times its work.
"""

import re

import numpy as np
import numpy.typing as npt

from daq.samples import COUNTS_MAX, COUNTS_MIN
from daq.wire.checksums import crc16_of_slices
from daq.wire.line_layout import CHECKSUM_LENGTH, CLOCK_MAX, Layout
from daq.wire.rows import IntArray

_LF, _CR = 10, 13
_ANY = 10**10
_SUM = re.compile(rb"\*[0-9a-fA-F]+")
_HEX = np.full(256, -1, dtype=np.int32)
for _value, _digit in enumerate(b"0123456789abcdef"):
    _HEX[_digit] = _HEX[ord(chr(_digit).upper())] = _value


class LineRuns:
    """Finds and reads runs of lines of one layout."""

    def __init__(self, layout: Layout) -> None:
        self._layout = layout
        self._run = layout.run
        between = bytes([layout.separator]) + b"\t\r\n"
        self._to_blanks = bytes.maketrans(between, b" " * len(between))
        self._low = np.full(layout.fields, -_ANY)
        high = np.full(layout.fields, _ANY)
        self._low[list(layout.cells)], high[list(layout.cells)] = COUNTS_MIN, COUNTS_MAX
        if layout.clock is not None:
            self._low[layout.clock], high[layout.clock] = 0, CLOCK_MAX
        self._span = (high - self._low).astype(np.uint64)

    def end(self, block: bytes, begin: int) -> int:
        """Return where the run of lines of good form that begins at ``begin`` ends."""
        found = self._run.match(block, begin)
        assert found is not None  # an empty run is one
        return found.end()

    def numbers(self, run: bytes) -> IntArray | None:
        """Return the numbers (n, fields) of a run; None if one is out of range or a sum is wrong.

        Then its lines are for the caller to judge singly.
        """
        layout = self._layout
        if not run:
            return np.empty((0, layout.fields), dtype=np.int64)
        if layout.checksum != "none":
            if not _sums_agree(run, layout):
                return None
            run = _SUM.sub(b"", run)
        read = np.fromstring(run.translate(self._to_blanks), dtype=np.int64, sep=" ")
        numbers = read.reshape(-1, layout.fields)
        fine = (numbers - self._low).view(np.uint64) <= self._span  # below the low one: a leap up
        return numbers if fine.all() else None


def _sums_agree(run: bytes, layout: Layout) -> bool:
    """Whether every line of a run states the sum of what stands before its star."""
    text: npt.NDArray[np.uint8] = np.frombuffer(run, dtype=np.uint8)
    line_ends = np.flatnonzero(text == _LF)
    begins = np.concatenate([[0], line_ends[:-1] + 1])
    ends = line_ends - (text[line_ends - 1] == _CR)
    stars = ends - CHECKSUM_LENGTH[layout.checksum]
    told = np.zeros(len(stars), dtype=np.int32)
    for place in range(1, CHECKSUM_LENGTH[layout.checksum]):
        told = told * 16 + _HEX[text[stars + place]]
    if layout.checksum == "crc":
        return bool((crc16_of_slices(text, begins, stars) == told).all())
    bounds = np.column_stack([begins, stars]).ravel()
    return bool((np.bitwise_xor.reduceat(text, bounds)[::2] == told).all())
