"""COBS packets to samples, as docs/wire_protocol.md has them; any split gives the same samples."""

import struct
from itertools import compress

import numpy as np
import numpy.typing as npt
from cobs import cobs

from daq.samples import COUNTS_MAX, COUNTS_MIN, Chunk
from daq.wire.board_clock import BoardClock
from daq.wire.checksums import crc16, crc16_of_slices
from daq.wire.decoded import Decoded, excerpt
from daq.wire.line_layout import Layout
from daq.wire.rows import Oddity, Rows
from daq.wire.stream_cutter import StreamCutter

SAMPLE, MESSAGE = 1, 2  # kinds of packet
_HEAD = 8
_CRC = 2
_LONGEST = 256
_MANY = 100  # frames from which arrays are quicker than one frame at a time

Mask = npt.NDArray[np.bool_]


class PacketDecoder:
    """Reads frames that end in a zero byte. Memory stays bounded, and nothing raises."""

    def __init__(self, layout: Layout, *, many: int = _MANY) -> None:
        skipped = layout.clock is not None
        self._counts = layout.fields - skipped
        # counts stand in the order of the fields without the clock
        self._columns = [
            cell - (skipped and layout.clock is not None and cell > layout.clock)
            for cell in layout.cells
        ]
        self._body = struct.Struct(f"<{self._counts}i")
        self._dtype = _packet_dtype(self._counts)
        self._many = many
        self._clock = BoardClock(len(layout.cells), 1)
        self._cutter = StreamCutter(b"\0", _LONGEST)

    @property
    def cells(self) -> int:
        """Number of load-cell channels in a sample."""
        return len(self._columns)

    def feed(self, chunk: Chunk) -> Decoded:
        """Take bytes (perhaps none) and return the samples and events that became complete."""
        odd: list[Oddity] = []
        cut = self._cutter.feed(chunk.data)
        if cut.first:
            odd.append(Oddity(0, "first line", chunk.arrival_ns, excerpt(cut.first)))
        frames = cut.whole.split(b"\0")[:-1]
        many = len(frames) >= self._many
        good = (self._open_together if many else self._open_singly)(frames, odd, chunk.arrival_ns)
        rows = self._rows(good, chunk.arrival_ns)
        if cut.endless:
            told = excerpt(cut.endless)
            odd.append(Oddity(len(rows), cut.endless_kind, chunk.arrival_ns, told))
        return self._clock.take(rows, odd)

    def finish(self) -> Decoded:
        """Return what was held back; an unfinished frame is lost."""
        return self._clock.take(self._rows(b"", 0), [], final=True)

    def _rows(self, good: bytes, arrival_ns: int) -> Rows:
        """Return the rows of good samples, decoded and joined."""
        packets = np.frombuffer(good, dtype=self._dtype)
        return Rows(
            clock=packets["clock"].astype(np.int64),
            sequence=packets["sequence"].astype(np.int64),
            counts=packets["counts"][:, self._columns],
            arrival_ns=np.full(len(packets), arrival_ns, dtype=np.int64),
        )

    def _open_singly(self, frames: list[bytes], odd: list[Oddity], arrival_ns: int) -> bytes:
        """Return the good samples, decoded and joined; the rest goes to ``odd``."""
        good: list[bytes] = []
        for frame in frames:
            self._add(frame, good, odd, arrival_ns)
        return b"".join(good)

    def _add(self, frame: bytes, good: list[bytes], odd: list[Oddity], arrival_ns: int) -> None:
        if not frame:
            return
        told = self._judge(frame)
        if isinstance(told, Oddity):
            odd.append(told._replace(position=len(good), arrival_ns=arrival_ns))
        else:
            good.append(told)

    def _open_together(self, frames: list[bytes], odd: list[Oddity], arrival_ns: int) -> bytes:
        """The same, with checksums and ranges looked at for all frames at once."""
        opened = [_unstuffed(frame) for frame in frames]
        likely = [len(data) == self._dtype.itemsize for data in opened]
        packets = np.frombuffer(b"".join(compress(opened, likely)), dtype=self._dtype)
        right = self._plainly_right(packets)
        if len(packets) == len(frames) and right.all():
            return packets.tobytes()
        fine = np.array(likely)
        fine[fine] = right
        good: list[bytes] = []
        for frame, data, is_fine in zip(frames, opened, fine.tolist(), strict=True):
            if is_fine:
                good.append(data)
            else:
                self._add(frame, good, odd, arrival_ns)
        return b"".join(good)

    def _plainly_right(self, packets: np.ndarray) -> Mask:
        """Return which packets of the right length are good samples."""
        right: Mask = (packets["kind"] == SAMPLE) & (packets["cells"] == self._counts)
        begins = np.arange(len(packets)) * self._dtype.itemsize
        crc = crc16_of_slices(packets.view(np.uint8), begins, begins + self._dtype.itemsize - _CRC)
        right &= crc == packets["crc"]
        counts = packets["counts"]
        right &= ((counts >= COUNTS_MIN) & (counts <= COUNTS_MAX)).all(axis=1)
        return right

    def _judge(self, frame: bytes) -> bytes | Oddity:
        """Return a good sample, decoded, or what else the frame is."""
        told = opened(frame)
        if isinstance(told, str):
            return Oddity(0, told, 0, excerpt(frame))
        if told[0] == MESSAGE:
            return Oddity(0, "message", 0, excerpt(told[_HEAD:-_CRC]))
        if told[1] != self._counts:
            return Oddity(0, "short" if told[1] < self._counts else "long", 0, excerpt(frame))
        if not all(
            COUNTS_MIN <= count <= COUNTS_MAX for count in self._body.unpack_from(told, _HEAD)
        ):
            return Oddity(0, "out of range", 0, excerpt(frame))
        return told


def _packet_dtype(counts: int) -> np.dtype[np.void]:
    return np.dtype(
        [
            ("kind", "u1"),
            ("cells", "u1"),
            ("sequence", "<u2"),
            ("clock", "<u4"),
            ("counts", "<i4", (counts,)),
            ("crc", "<u2"),
        ]
    )


def _unstuffed(frame: bytes) -> bytes:
    """Return what is in a frame, or nothing where it cannot be."""
    try:
        return bytes(cobs.decode(frame)) if len(frame) <= _LONGEST else b""
    except cobs.DecodeError:
        return b""


def opened(frame: bytes) -> bytes | str:
    """Return what is in a frame that is a whole packet, or the kind of bad line it is."""
    if len(frame) > _LONGEST:
        return "long"
    try:
        data = cobs.decode(frame)
    except cobs.DecodeError:
        return "not a number"
    if len(data) < _HEAD + _CRC:
        return "short"
    if data[0] not in (SAMPLE, MESSAGE):
        return "not a number"
    told = _HEAD + _CRC + data[1] * (4 if data[0] == SAMPLE else 1)
    if len(data) != told:
        return "short" if len(data) < told else "long"
    (crc,) = struct.unpack_from("<H", data, len(data) - _CRC)
    return data if crc == crc16(data[:-_CRC]) else "checksum"
