"""Reading and decoding beside the plain loop: ``readline()`` and ``int()``, on the same pty."""

import statistics
import time

import serial
from cobs import cobs

from benchmarks.sending_board import on_pty
from benchmarks.table import Row, print_rows
from daq.rig.rig import Cell, Link
from daq.samples import Chunk
from daq.wire.checksums import crc16
from daq.wire.decoders import make_decoder
from daq.wire.serial_port import SerialPort

CELLS = [Cell(name, name, 2000.0) for name in "abcd"]
TEXT = Link(fields=("time_us", "a", "b", "c", "d"))
PACKET = Link(fields=("a", "b", "c", "d"), format="packet")
RUNS = 5
PACED_LINES_PER_S = 18_000  # more than 3 Mbaud carries: 7,300 lines of four cells
PACED_S = 4.0
_MANY = 20_000

#: Counts of the four cells of line k.
COUNTS = "2118730 + k % 99, -198114 + k % 7, 81 - k % 999, 4000000 - k % 9999"


def run() -> list[Row]:
    """Measure everything; medians of several runs."""
    return [_flooded(), _paced(), _one_line(), *_blocks(), _packets()]


def _by_readline(name: str) -> float:
    """Lines per CPU second of the plain loop."""
    with serial.Serial(name, 3_000_000, timeout=1) as port:
        port.readline()
        begin = time.process_time()
        for _ in range(_MANY // 10):
            fields = [int(field) for field in port.readline().split(b",")]
            assert len(fields) == len(TEXT.fields)
        return _MANY / 10 / (time.process_time() - begin)


def _by_us(name: str) -> float:
    """Lines per CPU second of the port and the decoder."""
    decoder, count = make_decoder(TEXT, CELLS), 0
    with SerialPort(name, 3_000_000) as port:
        port.read()
        begin = time.process_time()
        while count < 4 * _MANY:
            count += len(decoder.feed(port.read()).samples)
        return count / (time.process_time() - begin)


def _share_of_a_core(name: str) -> float:
    """CPU seconds per second of reading and decoding, in percent; nothing may be lost."""
    decoder = make_decoder(TEXT, CELLS)
    with SerialPort(name, 3_000_000) as port:
        decoder.feed(port.read())
        begin, begin_cpu, events = time.monotonic(), time.process_time(), 0
        while time.monotonic() - begin < PACED_S:
            events += len(decoder.feed(port.read()).events)
        share = 100 * (time.process_time() - begin_cpu) / (time.monotonic() - begin)
    assert events <= 1, "lines were lost"
    return share


def _readline_share(name: str) -> float:
    with serial.Serial(name, 3_000_000, timeout=1) as port:
        port.readline()
        begin, begin_cpu = time.monotonic(), time.process_time()
        while time.monotonic() - begin < PACED_S / 2:
            [int(field) for field in port.readline().split(b",")]
        return 100 * (time.process_time() - begin_cpu) / (time.monotonic() - begin)


def _flooded() -> Row:
    ours = statistics.median(on_pty(COUNTS, 0, _by_us) for _ in range(RUNS))
    other = statistics.median(on_pty(COUNTS, 0, _by_readline) for _ in range(RUNS))
    return Row(
        "read + decode, 4 cells, pty flooded",
        f"{ours:,.0f} lines/CPU s",
        f"{other:,.0f} lines/CPU s",
        ours / other,
        ">= 20x",
        "other: readline() + int()",
    )


def _paced() -> Row:
    ours = statistics.median(on_pty(COUNTS, PACED_LINES_PER_S, _share_of_a_core) for _ in range(3))
    other = on_pty(COUNTS, PACED_LINES_PER_S, _readline_share)
    return Row(
        f"read + decode at {PACED_LINES_PER_S:,} lines/s",
        f"{ours:.1f} % of a core",
        f"{other:.0f} %",
        other / ours,
        "< 8 %",
        "none lost; other: readline() + int()",
    )


def _text(count: int) -> list[bytes]:
    return [b"%d,%d,%d,%d,5\n" % (k * 500, 211_873 + k, k - 99, -k) for k in range(count)]


def _cost_us(link: Link, data: bytes, block: int) -> float:
    """CPU microseconds per sample of decoding ``data`` in blocks of so many bytes."""
    costs = []
    for _ in range(RUNS):
        decoder, count = make_decoder(link, CELLS), 0
        begin = time.process_time()
        for place in range(0, len(data), block):
            count += len(decoder.feed(Chunk(data[place : place + block], 0)).samples)
        costs.append(1e6 * (time.process_time() - begin) / count)
    return statistics.median(costs)


def _int_us(lines: list[bytes]) -> float:
    """CPU microseconds per line of split() and int() alone."""
    costs = []
    for _ in range(RUNS):
        begin = time.process_time()
        for line in lines:
            [int(field) for field in line.split(b",")]
        costs.append(1e6 * (time.process_time() - begin) / len(lines))
    return statistics.median(costs)


def _one_line() -> Row:
    decoder = make_decoder(TEXT, CELLS)
    lines = _text(4000)
    begin = time.process_time()
    for line in lines:
        decoder.feed(Chunk(line, 0))
    cost = 1e6 * (time.process_time() - begin) / len(lines)
    return Row("decode, one line a block", f"{cost:.0f} us", "", None, "< 150 us")


def _blocks() -> list[Row]:
    lines = _text(100_000)
    data = b"".join(lines)
    other = _int_us(lines)
    rows = []
    for block in (1 << 12, 1 << 14, 1 << 17):
        ours = _cost_us(TEXT, data, block)
        name = f"decode, blocks of {block >> 10} KiB"
        note = "other: split() + int(), nothing checked"
        rows.append(Row(name, f"{ours:.2f} us/line", f"{other:.2f} us", other / ours, "", note))
    return rows


def _packets() -> Row:
    frames = []
    for k in range(50_000):
        counts = b"".join(v.to_bytes(4, "little", signed=True) for v in (k, -k, 5, 211_873))
        head = bytes([1, 4]) + (k % 65536).to_bytes(2, "little") + (k * 500).to_bytes(4, "little")
        crc = crc16(head + counts).to_bytes(2, "little")
        frames.append(cobs.encode(head + counts + crc) + b"\0")
    ours = _cost_us(PACKET, b"".join(frames), 1 << 14)
    return Row("decode packets, blocks of 16 KiB", f"{ours:.2f} us/packet")


if __name__ == "__main__":
    print_rows(run())
