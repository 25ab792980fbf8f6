"""One session whose guard notes how long after the byte it decided. Run by `stop_latency`.

The board writes the host's own monotonic clock as the counts of its last cell, so the two can be
subtracted; that cell is told to weigh next to nothing.
"""

import json
import sys
import threading
import time
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
from textual.app import App

from benchmarks.live_path import KNOWN, RIG
from daq.acquisition import Acquisition
from daq.force.calibration import Calibration
from daq.rig.rig import Cell
from daq.sources import BoardSource
from daq.wire.decoders import make_decoder
from daq.wire.serial_port import SerialPort
from tui.console import Console

WARM_S = 1.0
WRAP = 1 << 23
TIMED_RIG = replace(RIG, cells=(*RIG.cells[:3], Cell("d", "d", 2000.0, counts_per_newton=1e6)))


class Stopwatch:
    """Microseconds from the write of each sample to the decision on it."""

    def __init__(self) -> None:
        self._begin = time.monotonic()
        self.delays_us: list[np.ndarray] = []

    def note(self, samples: np.ndarray) -> None:
        """The guard has just judged these."""
        now_us = time.monotonic_ns() // 1000
        if len(samples) and time.monotonic() - self._begin > WARM_S:
            self.delays_us.append((now_us - samples["counts"][:, -1].astype(np.int64)) % WRAP)


def session(port: str, folder: Path, watch: Stopwatch) -> Acquisition:
    """Return a session whose guard is timed."""

    def source() -> BoardSource:
        link = TIMED_RIG.link
        return BoardSource(SerialPort(port, link.baud), make_decoder(link, TIMED_RIG.cells))

    calibration = Calibration.from_rig(TIMED_RIG)
    made = Acquisition(TIMED_RIG, calibration, source, folder=folder, settings=KNOWN)
    live: Any = made._session
    judge = live.guard

    def timed(decoded: Any, now_ns: int) -> Any:
        trip = judge(decoded, now_ns)
        watch.note(decoded.samples)
        return trip

    live.guard = timed
    return made


def in_console(made: Acquisition, looks_per_s: float, seconds: float, *, hang: bool) -> None:
    """Paint the console on this terminal for so many seconds; ``hang``: then block its loop."""

    class Timed(Console):
        def on_mount(self) -> None:
            super().on_mount()
            self.set_timer(seconds, lambda: self.exit(0))
            if hang:
                self.set_timer(WARM_S, lambda: time.sleep(seconds - WARM_S))

    Timed(made, looks_per_s=looks_per_s).run(mouse=False)


def on_the_ui_loop(port: str, looks_per_s: float, seconds: float, watch: Stopwatch) -> None:
    """The other way: the screen's own timer reads the port and decides."""
    source, decoder = SerialPort(port, RIG.link.baud), make_decoder(RIG.link, RIG.cells)

    class OnTheLoop(App[int]):
        def on_mount(self) -> None:
            self.set_interval(1 / looks_per_s, self.look)
            self.set_timer(seconds, lambda: self.exit(0))

        def look(self) -> None:
            watch.note(decoder.feed(source.read()).samples)

    OnTheLoop().run(mouse=False)


def main() -> None:
    """``stop_latency_child.py MODE PORT LOOKS_PER_S SECONDS RESULT_FILE``."""
    mode, port, looks, seconds, result = sys.argv[1:]
    watch = Stopwatch()
    if mode == "ui loop":
        on_the_ui_loop(port, float(looks), float(seconds), watch)
    else:
        with TemporaryDirectory() as folder:
            made = session(port, Path(folder), watch)
            made.start()
            if mode == "idle":
                threading.Event().wait(float(seconds))
            else:
                in_console(made, float(looks), float(seconds), hang=mode == "hang")
            made.close()
    delays = np.concatenate(watch.delays_us)
    Path(result).write_text(json.dumps(np.percentile(delays, [50, 99, 100]).tolist()))


main()
