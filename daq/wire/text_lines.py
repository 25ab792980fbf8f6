"""Text lines to samples, as docs/wire_protocol.md has them. Any split gives the same samples."""

from functools import reduce
from operator import xor

import numpy as np

from daq.samples import COUNTS_MAX, COUNTS_MIN, Chunk
from daq.wire.board_clock import BoardClock
from daq.wire.checksums import crc16
from daq.wire.decoded import Decoded, excerpt
from daq.wire.line_layout import CHECKSUM_LENGTH, CLOCK_MAX, LONGEST_LINE, Layout
from daq.wire.line_runs import LineRuns
from daq.wire.rows import IntArray, Oddity, Rows
from daq.wire.stream_cutter import StreamCutter

_MANY = 1  # lines from which reading them together is quicker than one at a time
_HEX_DIGITS = frozenset(b"0123456789abcdefABCDEF")


class TextLineDecoder:
    """Reads lines of decimal integers. Memory stays bounded whatever comes, and nothing raises."""

    def __init__(self, layout: Layout, *, many: int = _MANY) -> None:
        self._layout = layout
        self._pattern = layout.pattern
        self._many = many
        self._runs = LineRuns(layout)
        self._cells = _columns(layout.cells)
        self._clock = BoardClock(len(layout.cells), layout.tick_us)
        self._cutter = StreamCutter(b"\n", LONGEST_LINE + 1)  # room for a CR

    @property
    def cells(self) -> int:
        """Number of load-cell channels in a sample."""
        return len(self._layout.cells)

    def feed(self, chunk: Chunk) -> Decoded:
        """Take bytes (perhaps none) and return the samples and events that became complete."""
        odd: list[Oddity] = []
        cut = self._cutter.feed(chunk.data)
        first = cut.first.removesuffix(b"\r")
        if first:
            odd.append(Oddity(0, "first line", chunk.arrival_ns, excerpt(first)))
        rows = self._read(cut.whole, odd, chunk.arrival_ns)
        if cut.endless:
            told = excerpt(cut.endless)
            odd.append(Oddity(len(rows), cut.endless_kind, chunk.arrival_ns, told))
        return self._clock.take(rows, odd)

    def finish(self) -> Decoded:
        """Return what was held back; an unfinished line is lost."""
        return self._clock.take(self._rows(_no_numbers(self._layout), 0), [], final=True)

    def _read(self, block: bytes, odd: list[Oddity], arrival_ns: int) -> Rows:
        numbers = None
        if block.count(b"\n") >= self._many:
            numbers = self._read_together(block, odd, arrival_ns)
        if numbers is None:
            numbers = self._read_singly(block, odd, arrival_ns)
        return self._rows(numbers, arrival_ns)

    def _rows(self, numbers: IntArray, arrival_ns: int) -> Rows:
        layout = self._layout
        return Rows(
            clock=None if layout.clock is None else numbers[:, layout.clock],
            sequence=None,
            counts=numbers[:, self._cells].astype(np.int32),
            arrival_ns=np.full(len(numbers), arrival_ns, dtype=np.int64),
        )

    def _read_singly(self, block: bytes, odd: list[Oddity], arrival_ns: int) -> IntArray:
        """Read line by line."""
        good: list[list[int]] = []
        for line in block.split(b"\n")[:-1]:
            numbers = self._judge(line, odd, len(good), arrival_ns)
            if numbers is not None:
                good.append(numbers)
        return np.array(good, dtype=np.int64) if good else _no_numbers(self._layout)

    def _read_together(self, block: bytes, odd: list[Oddity], arrival_ns: int) -> IntArray | None:
        """Read run by run; None where only a look at each line tells which are good."""
        runs: list[bytes] = []
        between: list[Oddity] = []
        rows = at = 0
        while at < len(block):
            end = self._runs.end(block, at)
            if end > at:
                runs.append(block[at:end])
                rows += block.count(b"\n", at, end)
            else:
                end = block.index(b"\n", at) + 1
                if self._judge(block[at : end - 1], between, rows, arrival_ns) is not None:
                    return None
            at = end
        numbers = self._runs.numbers(b"".join(runs))
        if numbers is not None:
            odd += between
        return numbers

    def _judge(
        self, line: bytes, odd: list[Oddity], position: int, arrival_ns: int
    ) -> list[int] | None:
        """Return the numbers of a line of good form; else note what it is and return None."""
        line = line.removesuffix(b"\r")
        told = self._numbers(line) if len(line) <= LONGEST_LINE else "long"
        if isinstance(told, list):
            return told
        if told:
            odd.append(Oddity(position, told, arrival_ns, excerpt(line)))
        return None

    def _numbers(self, line: bytes) -> list[int] | str:
        """Return the numbers of a line, or what kind of line it is ("" for an empty one)."""
        if line.startswith(b"#"):
            return "message"
        if not line.strip(b" \t"):
            return ""
        fields = line
        if self._layout.checksum != "none":
            fields = line[: -CHECKSUM_LENGTH[self._layout.checksum]]
            if not checksum_agrees(line, fields, self._layout.checksum):
                return "checksum"
        match = self._pattern.fullmatch(fields)
        if match is None:
            return self._what_is_wrong(fields)
        numbers = [int(number) for number in match.groups()]
        return numbers if self._in_range(numbers) else "out of range"

    def _in_range(self, numbers: list[int]) -> bool:
        layout = self._layout
        if layout.clock is not None and not 0 <= numbers[layout.clock] <= CLOCK_MAX:
            return False
        return all(COUNTS_MIN <= numbers[cell] <= COUNTS_MAX for cell in layout.cells)

    def _what_is_wrong(self, fields: bytes) -> str:
        if not fields.isascii():
            return "not a number"
        mark = bytes([self._layout.separator])
        count = len(fields.split(None if mark == b" " else mark))
        if count == self._layout.fields:
            return "not a number"
        return "short" if count < self._layout.fields else "long"


def _columns(cells: tuple[int, ...]) -> slice | list[int]:
    """Return what picks the columns of the cells: a slice of neighbours is quicker."""
    row = range(cells[0], cells[0] + len(cells))
    return slice(row.start, row.stop) if cells == tuple(row) else list(cells)


def _no_numbers(layout: Layout) -> IntArray:
    return np.empty((0, layout.fields), dtype=np.int64)


def checksum_agrees(line: bytes, fields: bytes, kind: str) -> bool:
    """Whether a line ends in a star and the right hexadecimal digits of what precedes it."""
    star, digits = line[len(fields) : len(fields) + 1], line[len(fields) + 1 :]
    whole = star == b"*" and len(digits) == CHECKSUM_LENGTH[kind] - 1
    if not whole or not _HEX_DIGITS.issuperset(digits):
        return False
    return int(digits, 16) == (crc16(fields) if kind == "crc" else reduce(xor, fields, 0))
