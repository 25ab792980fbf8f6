"""Mutated streams and what may come of them; for a small series in tests and a large benchmark.

Every stream is a slice of what the simulated board sends, spoilt by up to a dozen mutations drawn
from a seed. What may become a sample is read plainly, line by line and frame by frame, by code of
its own, from the protocol page.
"""

import random
import tracemalloc
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from cobs import cobs

from daq.rig.rig import Cell, Link
from daq.samples import Chunk
from daq.wire.decoded import Decoded, Decoder
from daq.wire.decoders import make_decoder
from simulators.faults import FaultOrder
from simulators.scenario import ScenarioError
from simulators.simulation import Simulation
from simulators.transmission import delivery, transmit, wire_bytes, wire_for

CELLS = [Cell(name, name, 2000.0) for name in ("left", "right")]
FIELDS = ("time_us", "left", "right")
LINKS = {
    "text": Link(fields=FIELDS),
    "text xor": Link(fields=FIELDS, checksum="xor"),
    "text crc": Link(fields=FIELDS, checksum="crc"),
    "packet": Link(fields=("left", "right"), format="packet"),
}
SLICE = 60  # lines of a stream at most
SPLITS = 6
LOST_UNSURE = 1 / 400  # a gap of so many lines is counted to one line: steps jitter
#: Faults whose sums the simulated board knows; several of each in one session.
FAULTS = ("first-line-cut", "missing", "merged", "garbled", "spike", "stall", "silence", "restart")


@dataclass(slots=True)
class Tally:
    """What a series came to."""

    streams: int = 0
    samples: int = 0
    bad: int = 0
    failures: list[str] = field(default_factory=list)

    def fail(self, name: str, seed: int, what: str) -> None:
        """Keep a failure with what makes it again."""
        self.failures.append(f"{name} seed {seed}: {what}")


def sendings(name: str, simulation: Simulation) -> list[bytes]:
    """Return the lines or frames of a session on one of the links."""
    link = LINKS[name]
    wire = wire_for(simulation, link.format, link.checksum)
    return [sending.data for sending in transmit(simulation, wire).sendings]


def mutated(lines: Sequence[bytes], chance: random.Random) -> bytes:
    """Return a slice of ``lines`` with up to a dozen mutations."""
    first = chance.randrange(len(lines) - SLICE)
    part = list(lines[first : first + chance.randrange(2, SLICE)])
    for _ in range(chance.randrange(3)):
        at = chance.randrange(len(part))
        kind = chance.randrange(4)
        if kind == 0:
            part.insert(at, part[at])
        elif kind == 1:
            part.insert(chance.randrange(len(part)), part.pop(at))
        elif kind == 2:
            part[at : at + chance.randrange(8)] = []
            part = part or [lines[first]]
        else:
            part[at] = part[at][: chance.randrange(len(part[at]) + 1)]
    stream = bytearray(b"".join(part)) or bytearray(b"\n")
    for _ in range(chance.randrange(10)):
        _spoil(stream, chance)
    return bytes(stream)


def _spoil(stream: bytearray, chance: random.Random) -> None:
    at = chance.randrange(len(stream))
    kind = chance.randrange(7)
    if kind == 0:
        stream[at] ^= 1 << chance.randrange(8)
    elif kind == 1:
        stream[at] = chance.choice(b"0123456789-+,\r\n\x00\xff#* ")
    elif kind == 2:
        stream[at:at] = chance.randbytes(chance.randrange(1, 6))
    elif kind == 3 and len(stream) > 8:
        del stream[at : at + chance.randrange(1, 6)]
    elif kind == 4:
        stream[at:at] = bytes([chance.choice(b"079\x00\xff, ")]) * chance.choice([3, 300, 3000])
    elif kind == 5:
        stream[at : at + 1] = b"%d" % chance.choice([2**24, -1, 0, 2**31, 2**32, 8388607, -8388608])
    else:
        stream[at:at] = chance.choice([b"\n", b"\x00", b"\r\n", b"# hello\n", b"nan,", b"1,2,3\n"])


def decoded(decoder: Decoder, stream: bytes, cuts: Sequence[int]) -> Decoded:
    """Return what comes of a stream that is cut at ``cuts``."""
    edges = [0, *sorted(cuts), len(stream)]
    parts = [decoder.feed(Chunk(stream[a:b], 7)) for a, b in pairwise(edges)]
    parts.append(decoder.finish())
    events = tuple(event for part in parts for event in part.events)
    return Decoded(np.concatenate([part.samples for part in parts]), events)


# -- read plainly, from the protocol page ---------------------------------------------------------


def believable(name: str, stream: bytes) -> list[tuple[int, ...]]:
    """Return the counts of every line or frame that may become a sample, in order."""
    if name == "packet":
        return [counts for frame in stream.split(b"\0")[1:-1] if (counts := _frame(frame))]
    lines = stream.split(b"\n")[1:-1]
    return [counts for line in lines if (counts := _line(LINKS[name].checksum, line))]


def _line(checksum: str, line: bytes) -> tuple[int, ...] | None:
    line = line.removesuffix(b"\r")
    if len(line) > 256 or line.startswith(b"#"):
        return None
    if checksum != "none":
        line, star, told = line.rpartition(b"*")
        right = b"%04x" % crc(line) if checksum == "crc" else b"%02x" % xor(line)
        if not star or told.lower() != right:
            return None
    fields = [field.strip(b" \t") for field in line.split(b",")]
    bare = [field[1:] if field[:1] in (b"+", b"-") else field for field in fields]
    if len(fields) != 3 or not all(each.isdigit() and len(each) <= 10 for each in bare):
        return None
    clock, *counts = map(int, fields)
    return tuple(counts) if 0 <= clock < 2**32 and _in_range(counts) else None


def _frame(frame: bytes) -> tuple[int, ...] | None:
    try:
        data = cobs.decode(frame) if 0 < len(frame) <= 256 else b""
    except cobs.DecodeError:
        return None
    if len(data) != 18 or data[:2] != b"\x01\x02":
        return None
    if crc(data[:-2]) != int.from_bytes(data[-2:], "little"):
        return None
    counts = [int.from_bytes(data[at : at + 4], "little", signed=True) for at in (8, 12)]
    return tuple(counts) if _in_range(counts) else None


def _in_range(counts: Sequence[int]) -> bool:
    return all(-(2**23) <= count < 2**23 for count in counts)


def crc(data: bytes) -> int:
    """CRC-16/IBM-3740, bit by bit."""
    value = 0xFFFF
    for byte in data:
        value ^= byte << 8
        for _ in range(8):
            value = ((value << 1) ^ 0x1021 if value & 0x8000 else value << 1) & 0xFFFF
    return value


def xor(data: bytes) -> int:
    """Exclusive or of all bytes."""
    value = 0
    for byte in data:
        value ^= byte
    return value


def lines_in(name: str, stream: bytes) -> int:
    """Return how many lines or frames must come out as something."""
    if name == "packet":
        *frames, rest = stream.split(b"\0")
        return sum(1 for frame in frames if frame) + (len(rest) > 256)
    *lines, rest = stream.split(b"\n")
    told = len(rest) > 257  # a line without an end is told once it is too long, a CR not counted
    if not lines:
        return told
    first, *lines = (line.removesuffix(b"\r") for line in lines)
    return bool(first) + sum(1 for line in lines if line.strip(b" \t") or len(line) > 256) + told


def is_within(found: Sequence[tuple[int, ...]], there: Sequence[tuple[int, ...]]) -> bool:
    """Whether ``found`` is ``there`` with some left out, in order."""
    rest = iter(there)
    return all(any(each == other for other in rest) for each in found)


# -- the series -----------------------------------------------------------------------------------


def series(name: str, lines: Sequence[bytes], seeds: range) -> Tally:
    """Run mutated streams on one link."""
    tally = Tally()
    for seed in seeds:
        chance = random.Random(f"{name} {seed}")
        stream = mutated(lines, chance)
        try:
            whole = decoded(make_decoder(LINKS[name], CELLS), stream, [])
            cuts = [chance.randrange(len(stream) + 1) for _ in range(SPLITS)]
            cut = decoded(make_decoder(LINKS[name], CELLS), stream, cuts)
        except Exception as error:
            tally.fail(name, seed, repr(error))
            continue
        _judge(tally, name, seed, stream, whole, cut)
    return tally


def _judge(tally: Tally, name: str, seed: int, stream: bytes, whole: Decoded, cut: Decoded) -> None:
    kinds = Counter[str]()
    for event in whole.events:
        kinds[event.kind] += 1 if event.kind in ("gap", "restart") else event.count
    told = sum(count for kind, count in kinds.items() if kind not in ("gap", "restart"))
    samples = [tuple(row) for row in whole.samples["counts"].tolist()]
    tally.streams += 1
    tally.samples += len(samples)
    tally.bad += told - kinds["message"]
    if len(samples) + told != lines_in(name, stream):
        tally.fail(name, seed, f"{len(samples)} + {told} of {lines_in(name, stream)} lines")
    if not is_within(samples, believable(name, stream)):
        tally.fail(name, seed, "a sample that no line holds")
    if whole.events != cut.events or not np.array_equal(whole.samples, cut.samples):
        tally.fail(name, seed, "another split, another result")
    clock = whole.samples["board_us"].astype(np.int64)
    if (np.diff(clock) <= 0).any() and name != "packet":
        tally.fail(name, seed, "time runs backwards")


def truth_series(name: str, simulation: Simulation, seeds: range) -> Tally:
    """Faults the board knows of: kept, bad by kind and lost are what it says, to the sample."""
    tally, link = Tally(), LINKS[name]
    for seed in seeds:
        chance = random.Random(seed)
        kinds = chance.sample(FAULTS, chance.randrange(1, 5))
        orders = [FaultOrder(kind, times=chance.randrange(1, 4)) for kind in kinds]
        try:
            sent = transmit(
                simulation, wire_for(simulation, link.format, link.checksum), orders, seed
            )
        except ScenarioError:
            continue  # so many faults do not fit into one pull
        told = decoded(make_decoder(link, CELLS), wire_bytes(sent), [])
        true = delivery(((each, True) for each in sent.sendings), complete=True)
        bad = sum(event.count for event in told.events if event.is_bad_line)
        lost = sum(event.count for event in told.events if event.kind == "gap")
        tally.streams += 1
        tally.samples += len(told.samples)
        tally.bad += bad
        sum_off = abs(len(told.samples) + bad + lost - true.samples_sent)
        if sum_off > lost * LOST_UNSURE and "restart" not in kinds:
            words = f"{len(told.samples)} + {bad} + {lost}, sent {true.samples_sent} ({kinds})"
            tally.fail(name, seed, words)
        if len(told.samples) > true.good:
            tally.fail(name, seed, f"{len(told.samples)} kept of {true.good} good ({kinds})")
    return tally


def endless(name: str, megabytes: int = 64) -> int:
    """Feed a line that never ends; return the most memory held for it, in bytes."""
    decoder, block = make_decoder(LINKS[name], CELLS), b"7" * 65_536
    decoder.feed(Chunk(b"\n\0" + block, 7))
    tracemalloc.start()
    for _ in range(megabytes * 16):
        decoder.feed(Chunk(block, 7))
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return most
