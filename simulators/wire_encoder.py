"""Samples to bytes, text lines or packets, written from docs/wire_protocol.md and nothing else."""

import binascii
from collections.abc import Sequence
from dataclasses import dataclass

CLOCK_WRAP = 1 << 32
SEQUENCE_WRAP = 1 << 16
KIND_SAMPLE, KIND_MESSAGE = 0x01, 0x02
COBS_BLOCK = 254


def crc16(data: bytes) -> int:
    """Return CRC-16/IBM-3740: polynomial 0x1021, start 0xFFFF, nothing reflected."""
    return binascii.crc_hqx(data, 0xFFFF)


def cobs(data: bytes) -> bytes:
    """Return ``data`` without zero bytes: each block led by the distance to the next zero."""
    out = bytearray()
    *whole, last = data.split(b"\0")
    for block in whole:
        out += _cobs_block(block, ends_in_zero=True)
    return bytes(out + _cobs_block(last, ends_in_zero=False, first=not out))


def _cobs_block(block: bytes, *, ends_in_zero: bool, first: bool = True) -> bytes:
    out = bytearray()
    while len(block) >= COBS_BLOCK:
        out += b"\xff" + block[:COBS_BLOCK]
        block = block[COBS_BLOCK:]
        if not block and not ends_in_zero:
            return bytes(out)
    out += bytes([len(block) + 1]) + block
    return bytes(out)


@dataclass(frozen=True, slots=True)
class TextWire:
    """Text lines. ``fields`` in order; ``cells`` are the fields of the cells, in their order."""

    fields: tuple[str, ...]
    cells: tuple[str, ...]
    separator: str = ","
    checksum: str = "none"
    line_end: bytes = b"\n"

    def sample(self, sequence: int, clock_us: int, counts: Sequence[int]) -> bytes:
        """Return one line; the text carries no sequence number."""
        values = dict(zip(self.cells, counts, strict=True))
        values["time_us"] = clock_us % CLOCK_WRAP
        values["time_ms"] = clock_us // 1000 % CLOCK_WRAP
        values["skip"] = sequence % 100
        return self.closed(self.separator.join(str(int(values[name])) for name in self.fields))

    def closed(self, body: str) -> bytes:
        """Return a body with its checksum and line end."""
        data = body.encode("ascii")
        if self.checksum == "xor":
            value = 0
            for byte in data:
                value ^= byte
            data += b"*%02X" % value
        elif self.checksum == "crc":
            data += b"*%04X" % crc16(data)
        return data + self.line_end

    def message(self, sequence: int, clock_us: int, text: str) -> bytes:
        """Return a message of the board; it carries neither number, clock nor checksum."""
        del sequence, clock_us
        return b"# " + text.encode("ascii") + self.line_end

    def cut(self, line: bytes) -> bytes:
        """Return the tail of a line, cut inside its first field."""
        return line[3:]

    def joined(self, line: bytes, following: bytes) -> bytes:
        """Return two lines whose line end between got lost."""
        return line[: -len(self.line_end)] + following

    def spoilt(self, line: bytes, position: int, letter: int) -> bytes:
        """Return the line with one byte of its body exchanged for a letter."""
        position %= len(line) - len(self.line_end)
        return line[:position] + bytes([letter]) + line[position + 1 :]


@dataclass(frozen=True, slots=True)
class PacketWire:
    """COBS frames, little-endian, with sequence number, clock and CRC."""

    def sample(self, sequence: int, clock_us: int, counts: Sequence[int]) -> bytes:
        """Return one sample frame."""
        body = b"".join(int(count).to_bytes(4, "little", signed=True) for count in counts)
        return self._frame(KIND_SAMPLE, len(counts), sequence, clock_us, body)

    def message(self, sequence: int, clock_us: int, text: str) -> bytes:
        """Return one message frame; its number is that of the sample before."""
        body = text.encode("ascii")
        return self._frame(KIND_MESSAGE, len(body), sequence, clock_us, body)

    def _frame(self, kind: int, size: int, sequence: int, clock_us: int, body: bytes) -> bytes:
        head = bytes([kind, size]) + (sequence % SEQUENCE_WRAP).to_bytes(2, "little")
        head += (clock_us % CLOCK_WRAP).to_bytes(4, "little")
        return cobs(head + body + crc16(head + body).to_bytes(2, "little")) + b"\0"

    def cut(self, line: bytes) -> bytes:
        """Return the tail of a frame."""
        return line[3:]

    def joined(self, line: bytes, following: bytes) -> bytes:
        """Return two frames whose zero between got lost."""
        return line[:-1] + following

    def spoilt(self, line: bytes, position: int, letter: int) -> bytes:
        """Return the frame with one data byte exchanged; the framing stays whole."""
        data = bytearray(_cobs_read(line[:-1]))
        data[4 + position % (len(data) - 6)] ^= letter or 1
        return cobs(bytes(data)) + b"\0"


Wire = TextWire | PacketWire


def _cobs_read(frame: bytes) -> bytes:
    """Return the data of a frame of our own (no frame here reaches 254 bytes)."""
    out, at = bytearray(), 0
    while at < len(frame):
        code = frame[at]
        out += frame[at + 1 : at + code]
        at += code
        if at < len(frame):
            out.append(0)
    return bytes(out)
