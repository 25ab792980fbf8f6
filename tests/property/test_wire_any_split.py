"""However a stream is cut into chunks, and by whichever road, the same samples and events come."""

import random
from collections import Counter
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daq.rig.rig import Cell, Link
from daq.samples import Chunk
from daq.wire.decoded import Decoded, Decoder
from daq.wire.line_layout import layout_of
from daq.wire.packets import PacketDecoder
from daq.wire.text_lines import TextLineDecoder

CELLS = [Cell(name, name, 2000.0) for name in ("left", "right")]
LINKS = {
    "comma": Link(fields=("time_us", "left", "right")),
    "milliseconds, skip": Link(fields=("left", "skip", "time_ms", "right"), separator=";"),
    "blanks": Link(fields=("right", "left", "time_us"), separator=" "),
    "tab, no clock": Link(fields=("left", "right"), separator="\t"),
    "xor": Link(fields=("time_us", "left", "right"), checksum="xor"),
    "crc": Link(fields=("left", "right", "time_us"), checksum="crc"),
    "packet": Link(fields=("left", "right"), format="packet"),
}


def decoder_for(name: str, many: int = 48) -> Decoder:
    link = LINKS[name]
    layout = layout_of(link, CELLS)
    return (
        PacketDecoder(layout, many=many)
        if link.format == "packet"
        else TextLineDecoder(layout, many=many)
    )


def decode(decoder: Decoder, stream: bytes, cuts: list[int]) -> Decoded:
    edges = [0, *sorted(cuts), len(stream)]
    parts = [decoder.feed(Chunk(stream[a:b], 7)) for a, b in pairwise(edges)]
    parts.append(decoder.finish())
    samples = np.concatenate([part.samples for part in parts])
    return Decoded(samples, tuple(event for part in parts for event in part.events))


def stream_for(name: str, seed: int, lines: int) -> bytes:
    link, chance = LINKS[name], random.Random(seed)
    if link.format == "packet":
        return packet_stream(chance, lines)
    return text_stream(chance, link, lines)


@pytest.mark.parametrize("name", LINKS)
@settings(max_examples=40, deadline=None)
@given(data=st.data(), seed=st.integers(0, 2**32), lines=st.integers(0, 160))
def test_any_split_and_either_road_give_the_same(name, data, seed, lines):
    stream = stream_for(name, seed, lines)
    places = st.lists(st.integers(0, len(stream)), max_size=30)
    whole = decode(decoder_for(name, many=1), stream, [])
    cut = decode(decoder_for(name), stream, data.draw(places))
    single = decode(decoder_for(name, many=10**9), stream, list(range(0, len(stream), 11)))
    for other in (cut, single):
        np.testing.assert_array_equal(other.samples, whole.samples)
        assert other.events == whole.events


@pytest.mark.parametrize("name", LINKS)
@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 2**32), cuts=st.lists(st.integers(0, 400), max_size=6))
def test_noise_never_raises_and_every_line_is_accounted_for(name, seed, cuts):
    """lines that are not empty = samples + bad lines + messages, whatever the bytes."""
    chance = random.Random(seed)
    stream = bytearray(stream_for(name, seed, 40))
    for _ in range(chance.randrange(60)):
        place = chance.randrange(len(stream))
        stream[place : place + chance.randrange(3)] = chance.randbytes(chance.randrange(4))
    told = decode(decoder_for(name), bytes(stream), [min(cut, len(stream)) for cut in cuts])
    kinds = Counter(event.kind for event in told.events)
    others = sum(count for kind, count in kinds.items() if kind not in ("gap", "restart"))
    assert len(told.samples) + others == lines_in(name, bytes(stream))


def lines_in(name: str, stream: bytes) -> int:
    if name == "packet":
        return sum(1 for frame in stream.split(b"\0")[:-1] if frame)
    first, *lines = (line.removesuffix(b"\r") for line in stream.split(b"\n"))
    if not lines:
        return 0
    return bool(first) + sum(1 for line in lines[:-1] if line.strip(b" \t") or len(line) > 256)


@settings(max_examples=100, deadline=None)
@given(seed=st.integers(0, 2**32), many=st.sampled_from([1, 10**9]))
def test_no_number_is_invented(seed, many):
    """Without a clock the samples are the numbers of the lines of good form, by a plain reading."""
    chance = random.Random(seed)
    stream = bytearray(stream_for("tab, no clock", seed, 80))
    for _ in range(chance.randrange(80)):
        stream[chance.randrange(len(stream))] = chance.choice(b"0123456789-+\t\r\n #*\xff\x00")
    told = decode(decoder_for("tab, no clock", many), bytes(stream), [])
    plain = [plainly(line) for line in bytes(stream).split(b"\n")[1:-1]]
    assert told.samples["counts"].tolist() == [numbers for numbers in plain if numbers]


def plainly(line: bytes) -> list[int] | None:
    """The two counts of a line by the letter of the protocol page, or None."""
    line = line.removesuffix(b"\r")
    fields = [field.strip(b" ") for field in line.split(b"\t")]
    digits = [field[1:] if field[:1] in (b"+", b"-") else field for field in fields]
    good = len(line) <= 256 and len(fields) == 2
    good = good and all(each.isdigit() and len(each) <= 10 for each in digits)
    numbers = [int(field) for field in fields] if good else [2**24]
    return numbers if all(-(2**23) <= number < 2**23 for number in numbers) else None


def test_the_streams_carry_a_true_crc():
    """CRC-16/IBM-3740 check value, from the published catalogue of CRC parameters."""
    assert crc_by_bits(b"123456789") == 0x29B1


# -- streams as a board sends them, with faults; shares nothing with the decoder ----------------


def crc_by_bits(data: bytes) -> int:
    """CRC-16/IBM-3740, bit by bit: polynomial 0x1021, start 0xFFFF."""
    crc = 0xFFFF
    for byte in data:
        crc ^= byte << 8
        for _ in range(8):
            crc = ((crc << 1) ^ 0x1021 if crc & 0x8000 else crc << 1) & 0xFFFF
    return crc


def _count(chance: random.Random) -> int:
    kind = chance.random()
    if kind < 0.05:
        return chance.choice([-8388608, 8388607, 0, -1])
    return chance.randint(-8388608, 8388607) if kind < 0.5 else chance.randint(-999, 99999)


class Clock:
    """A board's clock in microseconds with jitter, gaps, wraps and restarts."""

    def __init__(self, chance: random.Random) -> None:
        self._chance = chance
        start = chance.choice([0, 3_000_000, 2**32 - 400_000])
        self.now = start + chance.randrange(100_000)
        self.jitter = chance.choice([0, 300, 9000])

    def next(self, wrap: int) -> int:
        kind = self._chance.random()
        steps = self._chance.randint(2, 300) if kind < 0.03 else 1
        if kind > 0.99:
            self.now = self._chance.randrange(3_000_000)
        elif 0.03 < kind < 0.05:
            steps = 0
        self.now += steps * (12_000 + self._chance.randint(-self.jitter, self.jitter))
        stray = self._chance.choice([-70_000_000, -50_000, 90_000, 61_000_000, 2**31])
        shown = self.now + stray if 0.05 < kind < 0.07 else self.now
        return (shown if wrap == 1 else shown // wrap) % 2**32


def text_stream(chance: random.Random, link: Link, lines: int) -> bytes:
    """A stream of text lines, most of them good."""
    clock = Clock(chance)
    out = [b"cut line\r\n"] if chance.random() < 0.7 else []
    out += [_line(chance, link, clock) for _ in range(lines)]
    return b"".join(out)


def _line(chance: random.Random, link: Link, clock: Clock) -> bytes:
    fields = [_field(chance, name, clock) for name in link.fields]
    fault = chance.random()
    if fault < 0.02:
        fields.pop()
    elif fault < 0.04:
        fields.append("17")
    elif fault < 0.07:
        odd = [
            "nan",
            "1.5",
            "",
            "--3",
            "+",
            "12345678901",
            "8388608",
            "-9000000",
            "1_0",
            "0x1",
            "é",
        ]
        fields[chance.randrange(len(fields))] = chance.choice(odd)
    elif fault < 0.10:
        fields[-1] += chance.choice([" ", "\r", "  \t", " " * 12, "7" * 300])
    elif fault < 0.15:
        place = chance.randrange(len(fields))
        fields[place] = chance.choice([" ", "   ", "+", "-", "000"]) + fields[place]
    line = link.separator.join(fields).encode()
    if fault > 0.98:
        line = chance.choice([b"", b"# board says hello", b"  ", b"#", b"# " + b"long" * 90, b"*"])
    else:
        line += _checksum(link, line)
    if 0.15 < fault < 0.17:
        line = line[: chance.randrange(len(line))] + b"*" + line[2:]
    return line + chance.choice([b"\n", b"\n", b"\r\n"])


def _field(chance: random.Random, name: str, clock: Clock) -> str:
    if name in ("time_us", "time_ms"):
        return str(clock.next(1 if name == "time_us" else 1000))
    return str(_count(chance))


def _checksum(link: Link, line: bytes) -> bytes:
    if link.checksum == "crc":
        return b"*%04X" % crc_by_bits(line)
    if link.checksum == "xor":
        value = 0
        for byte in line:
            value ^= byte
        return b"*%02x" % value
    return b""


def stuffed(data: bytes) -> bytes:
    """COBS, written plainly: each run of non-zero bytes preceded by its length plus one."""
    out = bytearray()
    run = bytearray()
    ended_full = False
    for byte in data:
        ended_full = False
        if byte:
            run.append(byte)
            if len(run) == 254:
                out += b"\xff" + run
                run.clear()
                ended_full = True
        else:
            out += bytes([len(run) + 1]) + run
            run.clear()
    if not ended_full:
        out += bytes([len(run) + 1]) + run
    return bytes(out)


def frame(kind: int, number: int, clock: int, body: bytes, count: int) -> bytes:
    """One packet on the wire, with its zero byte."""
    data = bytes([kind, count]) + number.to_bytes(2, "little") + clock.to_bytes(4, "little") + body
    return stuffed(data + crc_by_bits(data).to_bytes(2, "little")) + b"\0"


def sample_frame(number: int, clock: int, counts: list[int]) -> bytes:
    """A packet with a sample."""
    body = b"".join(count.to_bytes(4, "little", signed=True) for count in counts)
    return frame(1, number % 2**16, clock, body, len(counts))


def packet_stream(chance: random.Random, packets: int) -> bytes:
    """A stream of packets, most of them good."""
    clock, number = Clock(chance), chance.choice([0, 65_500])
    out = [b"cut\0"]
    for _ in range(packets):
        fault = chance.random()
        number += 1 if fault > 0.05 else chance.randrange(0, 4)
        counts = [_count(chance), _count(chance)]
        if fault > 0.98:
            counts[1] = 8_388_608
        elif fault > 0.96:
            counts = counts[: chance.randrange(2)] * chance.randint(1, 3)
        told = sample_frame(number, clock.next(1), counts)
        if 0.90 < fault < 0.96:
            place = chance.randrange(len(told))
            told = told[:place] + chance.choice([b"", b"\x01", b"\0", b"\xff"]) + told[place + 1 :]
        elif fault > 0.88:
            told = frame(2, number % 2**16, 5, b"hello", 5) + told
        out.append(told)
    return b"".join(out)
