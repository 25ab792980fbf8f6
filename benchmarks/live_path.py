"""The whole live path (port, decode, guard, watch, record) beside the loop a person writes."""

import resource
import statistics
import tempfile
import time
from pathlib import Path

import numpy as np
import serial

from benchmarks.sending_board import on_pty
from benchmarks.table import Row, print_rows
from daq.acquisition import Acquisition
from daq.force.calibration import Calibration
from daq.force.zero import Zero
from daq.pull_session import PullSession
from daq.rig.rig import Cell, Jack, Lever, Link, Rig, Stop
from daq.samples import sample_dtype
from daq.session_settings import SessionSettings
from daq.sources import BoardSource
from daq.wire.decoded import Decoded
from daq.wire.decoders import make_decoder
from daq.wire.serial_port import SerialPort

RUNS = 5
LINES = 400_000
PLAIN_LINES = 4_000
LINE_BYTES = 41  # with eight digits of clock and seven for each cell
AT_3_MBAUD = 300_000 // LINE_BYTES  # lines a second: ten bits to a byte
AT_MORE = 18_000
PACED_S = 60.0
GAIN = 2140.0
RIG = Rig(
    name="bench",
    build="1",
    link=Link(fields=("time_us", "a", "b", "c", "d"), baud=3_000_000),
    cells=tuple(Cell(n, n, 2000.0, counts_per_newton=GAIN) for n in "abcd"),
    lever=Lever("end", 400.0, 200.0),
    stop=Stop(6000.0, 5000.0),
    jack=Jack(4.0),
)
KNOWN = SessionSettings(zero=Zero((0.0,) * 4, (20.0,) * 4, (80.0,) * 4, samples=100))

#: Counts of the four loaded cells of line k.
COUNTS = "1070000 + k % 99, 1070000 + k % 7, 1080000 - k % 99, 1060000 - k % 98"


def run() -> list[Row]:
    """Measure the path flooded, paced, and its memory."""
    return [
        _flooded(),
        _paced("3 Mbaud", AT_3_MBAUD),
        _paced("more than 3 Mbaud carries", AT_MORE),
        _memory(),
    ]


def _session(name: str, folder: Path) -> Acquisition:
    def source() -> BoardSource:
        return BoardSource(SerialPort(name, RIG.link.baud), make_decoder(RIG.link, RIG.cells))

    return Acquisition(RIG, Calibration.from_rig(RIG), source, folder=folder, settings=KNOWN)


def _ours(name: str) -> float:
    """Lines per CPU second of the whole live path, both threads, while a pull is written."""
    with tempfile.TemporaryDirectory() as folder:
        session = _session(name, Path(folder))
        session.start()
        while session.latest().samples < LINES // 10:
            time.sleep(0.005)
        first, begin = session.latest().samples, time.process_time()
        while session.latest().samples < LINES:
            time.sleep(0.005)
        lines, cpu = session.latest().samples - first, time.process_time() - begin
        session.close()
        assert session.saved, "the pull was not written"
    return lines / cpu


def _plain(name: str) -> float:
    """Lines per CPU second of readline() and int() doing the same sums and writing a text file."""
    maximum, stopped = 0.0, False
    with serial.Serial(name, RIG.link.baud, timeout=1) as port, tempfile.TemporaryFile("w") as out:
        port.readline()
        begin = time.process_time()
        for _ in range(PLAIN_LINES):
            fields = [int(field) for field in port.readline().split(b",")]
            force = RIG.lever.ratio * sum((count - 0.0) / GAIN for count in fields[1:])
            maximum = max(maximum, force)
            stopped = stopped or force > RIG.stop.stop_n
            out.write(f"{fields[0]},{force}\n")
        return PLAIN_LINES / (time.process_time() - begin)


def _flooded() -> Row:
    pairs = [(on_pty(COUNTS, 0, _ours), on_pty(COUNTS, 0, _plain)) for _ in range(RUNS)]
    ratios = [ours / plain for ours, plain in pairs]
    return Row(
        "whole live path, 4 cells, flooded",
        f"{statistics.median(p[0] for p in pairs):,.0f} lines/CPU s",
        f"{statistics.median(p[1] for p in pairs):,.0f} lines/CPU s",
        statistics.median(ratios),
        ">= 20x",
        f"{min(ratios):.0f}-{max(ratios):.0f}x; other: readline() + int(), same sums",
    )


def _paced_share(name: str) -> tuple[float, float]:
    """CPU in percent of a core, and lines a second that came through."""
    with tempfile.TemporaryDirectory() as folder:
        session = _session(name, Path(folder))
        session.start()
        while session.latest().samples == 0:
            time.sleep(0.005)
        first, begin, begin_cpu = session.latest().samples, time.monotonic(), time.process_time()
        time.sleep(PACED_S)
        passed_s = time.monotonic() - begin
        share = 100 * (time.process_time() - begin_cpu) / passed_s
        reading = session.latest()
        session.close()
    assert reading.gaps == 0, f"{reading.lost_samples} samples lost"
    assert sum(reading.bad_lines.values()) <= 1, reading.bad_lines
    return share, (reading.samples - first) / passed_s


def _paced(words: str, lines_per_s: int) -> Row:
    share, came_per_s = on_pty(COUNTS, lines_per_s, _paced_share)
    return Row(
        f"whole live path, {lines_per_s:,} lines/s ({words}), {PACED_S:.0f} s",
        f"{share:.1f} % of a core",
        goal="< 15 %, none lost",
        note=f"none lost; {came_per_s:,.0f} lines/s came, no backlog if as many as were sent",
    )


def _memory() -> Row:
    """Peak memory after 1 and after 10 million samples through guard and watch."""
    session = PullSession(
        RIG, Calibration.from_rig(RIG), lambda message: None, KNOWN, has_board_clock=True
    )
    block = np.zeros(1000, sample_dtype(4))
    block["counts"] = 1_070_000
    peaks = []
    for million in range(10):
        for step in range(1000):
            first = (million * 1000 + step) * 1000
            block["index"] = np.arange(first, first + 1000)
            block["board_us"] = block["index"] * 55
            block["arrival_ns"] = block["board_us"] * 1000
            decoded = Decoded(block.copy(), ())
            trip = session.guard(decoded, int(block["arrival_ns"][-1]))
            session.take(decoded, trip, int(block["arrival_ns"][-1]))
        peaks.append(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
    return Row(
        "peak memory, 10 million samples",
        f"{peaks[-1]:.0f} MB",
        f"{peaks[0]:.0f} MB at 1 million",
        peaks[-1] / peaks[0],
        "flat",
    )


if __name__ == "__main__":
    print_rows(run())
