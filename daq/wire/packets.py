"""COBS packets to samples, as docs/wire_protocol.md has them; any split gives the same samples."""

import struct

import numpy as np
from cobs import cobs

from daq.samples import COUNTS_MAX, COUNTS_MIN, Chunk
from daq.wire.board_clock import BoardClock
from daq.wire.checksums import crc16
from daq.wire.decoded import Decoded, excerpt
from daq.wire.line_layout import Layout
from daq.wire.rows import Oddity, Rows

_SAMPLE, _MESSAGE = 1, 2
_HEAD = 8
_CRC = 2
_LONGEST = 256
_KEPT = 512


class PacketDecoder:
    """Reads frames that end in a zero byte. Memory stays bounded, and nothing raises."""

    def __init__(self, layout: Layout) -> None:
        skipped = layout.clock is not None
        self._counts = layout.fields - skipped
        # counts stand in the order of the fields without the clock
        self._columns = [
            cell - (skipped and layout.clock is not None and cell > layout.clock)
            for cell in layout.cells
        ]
        self._shape = struct.Struct(f"<BBHI{self._counts}iH")
        self._clock = BoardClock(len(layout.cells), 1)
        self._begun = b""
        self._first = True

    @property
    def cells(self) -> int:
        """Number of load-cell channels in a sample."""
        return len(self._columns)

    def feed(self, chunk: Chunk) -> Decoded:
        """Take bytes (perhaps none) and return the samples and events that became complete."""
        *frames, begun = (self._begun + chunk.data).split(b"\0")
        self._begun = begun[:_KEPT]
        odd: list[Oddity] = []
        if self._first and frames:
            self._first = False
            cut = frames.pop(0)
            if cut:
                odd.append(Oddity(0, "first line", chunk.arrival_ns, excerpt(cut)))
        good: list[tuple[int, ...]] = []
        for frame in frames:
            told = self._read(frame)
            if isinstance(told, Oddity):
                odd.append(told._replace(position=len(good), arrival_ns=chunk.arrival_ns))
            elif told is not None:
                good.append(told)
        return self._clock.take(self._rows(good, chunk.arrival_ns), odd)

    def finish(self) -> Decoded:
        """Return what was held back; an unfinished frame is lost."""
        return self._clock.take(self._rows([], 0), [], final=True)

    def _rows(self, good: list[tuple[int, ...]], arrival_ns: int) -> Rows:
        numbers = np.array(good, dtype=np.int64).reshape(len(good), self._counts + 5)
        return Rows(
            clock=numbers[:, 3],
            sequence=numbers[:, 2],
            counts=numbers[:, [4 + column for column in self._columns]].astype(np.int32),
            arrival_ns=np.full(len(good), arrival_ns, dtype=np.int64),
        )

    def _read(self, frame: bytes) -> tuple[int, ...] | Oddity | None:
        """Return the numbers of a good sample, what else the frame is, or None for an empty one."""
        if not frame:
            return None
        told = _open(frame)
        if isinstance(told, str):
            return Oddity(0, told, 0, excerpt(frame))
        if told[0] == _MESSAGE:
            return Oddity(0, "message", 0, excerpt(told[_HEAD:-_CRC]))
        if told[1] != self._counts:
            return Oddity(0, "short" if told[1] < self._counts else "long", 0, excerpt(frame))
        numbers = self._shape.unpack(told)
        if not all(COUNTS_MIN <= count <= COUNTS_MAX for count in numbers[4:-1]):
            return Oddity(0, "out of range", 0, excerpt(frame))
        return numbers


def _open(frame: bytes) -> bytes | str:
    """Return what is in a whole frame, or the kind of bad line it is."""
    if len(frame) > _LONGEST:
        return "long"
    try:
        data = cobs.decode(frame)
    except cobs.DecodeError:
        return "not a number"
    if len(data) < _HEAD + _CRC:
        return "short"
    if data[0] not in (_SAMPLE, _MESSAGE):
        return "not a number"
    told = _HEAD + _CRC + data[1] * (4 if data[0] == _SAMPLE else 1)
    if len(data) != told:
        return "short" if len(data) < told else "long"
    (crc,) = struct.unpack_from("<H", data, len(data) - _CRC)
    return data if crc == crc16(data[:-_CRC]) else "checksum"
