"""From the byte to the stop decision, while the console paints: microseconds, p50 / p99 / most.

1,000 or 18,000 samples a second over a pty; each mode in a process of its own on a terminal of
120 x 40.
"""

import fcntl
import json
import os
import statistics
import struct
import subprocess
import sys
import termios
import threading
import tty
from pathlib import Path
from tempfile import TemporaryDirectory

from benchmarks.table import Row, print_rows

SECONDS = 6.0
RUNS = 3
CHILD = Path(__file__).with_name("stop_latency_child.py")
USUAL, DENSE = 1, 18  # lines a millisecond
GOALS = {USUAL: "p50 < 1 ms, p99 < 5 ms", DENSE: "p99 < 5 ms"}
MODES = (
    ("idle", "idle", 15, USUAL),
    ("console painting, 15 looks/s", "console", 15, USUAL),
    ("console painting, 30 looks/s", "console", 30, USUAL),
    ("console hanging", "hang", 15, USUAL),
    ("18,000 lines/s, idle", "idle", 15, DENSE),
    ("18,000 lines/s, console painting, 15 looks/s", "console", 15, DENSE),
)

# argv: the descriptor, lines a millisecond. The last cell tells when its line was written, in us.
_BOARD = """
import os, sys, time
board, lines, count, begin = int(sys.argv[1]), int(sys.argv[2]), 0, time.monotonic()
try:
    while True:
        time.sleep(0.001)
        due = int((time.monotonic() - begin) * 1000 * lines)
        now_us = time.monotonic_ns() // 1000 % 2**23
        data = b"".join(
            b"%d,%d,1070010,1080000,%d\\n"
            % (k * 1000 // lines % 2**32, 1070000 + k % 3, now_us)
            for k in range(count, due)
        )
        count = due
        while data:
            data = data[os.write(board, data):]
except OSError:
    pass
"""


def run() -> list[Row]:
    """Measure every mode in turn, several times; medians."""
    others = {lines: _median("ui loop", 15, lines) for lines in (USUAL, DENSE)}
    return [
        _row(name, _median(mode, looks, lines), others[lines], GOALS[lines])
        for name, mode, looks, lines in MODES
    ]


def _row(name: str, ours: list[float], other: list[float], goal: str) -> Row:
    return Row(
        f"byte to stop decision, {name}",
        _words(ours),
        _words(other),
        other[1] / ours[1],
        goal,
        "p50 / p99 / most; other: decided on the UI loop; ratio of p99",
    )


def _words(percentiles: list[float]) -> str:
    return " / ".join(f"{value / 1000:.2f}" for value in percentiles) + " ms"


def _median(mode: str, looks: float, lines: int) -> list[float]:
    runs = [_measure(mode, looks, lines) for _ in range(RUNS)]
    return [statistics.median(column) for column in zip(*runs, strict=True)]


def _measure(mode: str, looks: float, lines: int) -> list[float]:
    board, host = os.openpty()
    tty.setraw(host)
    screen, terminal = os.openpty()
    fcntl.ioctl(terminal, termios.TIOCSWINSZ, struct.pack("HHHH", 40, 120, 0, 0))
    threading.Thread(target=_drain, args=(screen,), daemon=True).start()
    writer = subprocess.Popen(
        [sys.executable, "-c", _BOARD, str(board), str(lines)], pass_fds=[board]
    )
    with TemporaryDirectory() as folder:
        result = Path(folder) / "delays.json"
        words = [mode, os.ttyname(host), str(looks), str(SECONDS), str(result)]
        try:
            subprocess.run(
                [sys.executable, "-m", "benchmarks.stop_latency_child", *words],
                cwd=CHILD.parents[1],
                env={**os.environ, "TERM": "xterm-256color"},
                stdin=terminal,
                stdout=terminal,
                stderr=subprocess.PIPE,
                check=True,
                timeout=SECONDS + 60,
            )
            delays: list[float] = json.loads(result.read_text())
        finally:
            writer.kill()
            writer.wait()
            for descriptor in (board, host, terminal):
                os.close(descriptor)
    return delays


def _drain(screen: int) -> None:
    """Be the terminal: take what is painted."""
    try:
        while os.read(screen, 65536):
            pass
    except OSError:
        return


if __name__ == "__main__":
    print_rows(run())
