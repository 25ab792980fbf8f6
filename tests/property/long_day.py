"""A day at the rig in virtual time: pulls, idling, faults; through decoder, session, recorder.

The board's clock is a little off and wraps; arrivals come late, in bursts; lines are lost and
spoilt; the board restarts, the cable is pulled. What was true is known. For a short check in tests
and a long one as a benchmark.
"""

import gc
import os
import random
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import numpy as np

from daq.faults import Fault
from daq.force.calibration import Calibration
from daq.pull_session import PullSession
from daq.record.reader import read_recording
from daq.record.recorder import Recorder
from daq.rig.rig_file import read_rig
from daq.samples import Chunk
from daq.session_settings import SessionSettings
from daq.wall_anchor import WallAnchor
from daq.wire.decoders import make_decoder
from daq.wire.sample_clock import fit_clock
from simulators.simulated_rig import DEMO_RIG_FILE
from simulators.simulation import Simulation, simulate

SCENARIOS = (
    "hardwood-withdrawal",
    "softwood-withdrawal",
    "split",
    "fastener-fracture",
    "head-pull-through",
)
SEED = 11
CHUNK_S = 0.25
IDLE_S = 45.0
CLOCK_RATE = 1.004  # host seconds to each second of the board
START_NS = 5_000_000_000_000
BANNER = b"# cells 2 firmware 3\n"
LOST, SPOILT = 0.0015, 0.0008  # of the lines
WRAP = 1 << 32


@dataclass(slots=True)
class Day:
    """What became of it."""

    hours: float = 0.0
    samples: int = 0
    lines_lost: int = 0
    lines_spoilt: int = 0
    true_maxima_n: list[float] = field(default_factory=list)
    maxima_n: list[float] = field(default_factory=list)
    files: int = 0
    memory_kb: list[int] = field(default_factory=list)  # after each round, rounds alike
    handles: list[int] = field(default_factory=list)
    worst_rate: float = 0.0  # of the fits: off by so many of their own standard errors
    worst_rate_ppm: float = 0.0
    live_drift_s: float = 0.0  # of the live clock against the board's, wraps and all
    restarts: int = 0
    replugs: int = 0


class Rig:
    """The session, its decoder and recorder, and the clocks of the story."""

    def __init__(self, folder: Path, chance: random.Random) -> None:
        self.rig = read_rig(DEMO_RIG_FILE)
        self.recorder = Recorder(folder)
        self.chance = chance
        self.now_ns = START_NS
        self.day = Day()
        self.session = PullSession(
            self.rig,
            Calibration.from_rig(self.rig),
            self.recorder.handle,
            SessionSettings(auto_zero=True),
            has_board_clock=True,
            anchor=WallAnchor(WallAnchor.now().wall, START_NS),
        )
        self.board_s = 0.0  # true board time since the start of the day
        self.clock_from_s = 0.0  # where the board's own clock was 0
        self.plug_in()

    def plug_in(self) -> None:
        """A board that boots."""
        self.decoder = make_decoder(self.rig.link, self.rig.cells)
        self.restart()

    def restart(self) -> None:
        """Its clock starts again."""
        self.clock_from_s = self.board_s
        self.waiting = b"\n" + BANNER

    def feed(self, seconds: np.ndarray, counts: np.ndarray) -> None:
        """Send samples of ``seconds`` since now, in chunks as an adapter gives them."""
        slots = np.floor(seconds / CHUNK_S).astype(int)
        begin_s = self.board_s
        for slot in np.unique(slots):
            here = slots == slot
            lines = b"".join(self._lines(begin_s + seconds[here], counts[here]))
            self.board_s = begin_s + float(seconds[here][-1])
            late_s = self.chance.uniform(0.0005, 0.016)
            host_ns = START_NS + round((self.board_s * CLOCK_RATE + late_s) * 1e9)
            self.now_ns = max(self.now_ns + 1, host_ns)
            self._step(Chunk(self.waiting + lines, self.now_ns))
            self.waiting = b""

    def _lines(self, at_s: np.ndarray, counts: np.ndarray) -> Iterator[bytes]:
        clock_us = np.floor((at_s - self.clock_from_s + 0.02) * 1e6).astype(np.int64) % WRAP
        for clock, row in zip(clock_us.tolist(), counts.tolist(), strict=True):
            kind = self.chance.random()
            if kind < LOST:
                self.day.lines_lost += 1
                continue
            line = b"%d,%d,%d\n" % (clock, *row)
            if kind < LOST + SPOILT:
                self.day.lines_spoilt += 1
                at = self.chance.randrange(len(line) - 1)
                line = line[:at] + b"?" + line[at + 1 :]
            yield line

    def _step(self, chunk: Chunk) -> None:
        decoded = self.decoder.feed(chunk)
        trip = self.session.guard(decoded, self.now_ns)
        self.session.take(decoded, trip, self.now_ns)
        self.recorder.tick(self.now_ns)
        if self.session.state.guard.trip is not None and self.session.zeroed:
            try:
                self.session.acknowledge(self.now_ns)
            except Fault:
                return  # still loaded: a person waits

    def replug(self) -> None:
        """The cable is pulled, and back after a while."""
        self.session.link_lost("the cable was pulled", self.now_ns)
        self.board_s += 20.0
        self.now_ns = START_NS + round(self.board_s * CLOCK_RATE * 1e9)
        self.session.link_back()
        self.plug_in()
        self.day.replugs += 1


def live_through(folder: Path, rounds: int, seed: int = 1) -> Day:
    """Live through ``rounds`` rounds of pulls, one of each scenario; return what became of it."""
    rig = Rig(folder, random.Random(seed))
    day = rig.day
    for number in range(rounds):
        if number % 8 == 6:
            rig.restart()
            day.restarts += 1
        if number % 8 == 7:
            rig.replug()
        for name in SCENARIOS:
            _one_pull(rig, name)
        _look(rig, folder)
    day.hours = rig.board_s / 3600
    day.samples = rig.session.samples
    newest = rig.session.newest
    assert newest is not None
    return day


@cache
def simulated(name: str) -> Simulation:
    """The same board at every pull, or its zero would jump."""
    return simulate(name, SEED)


def _one_pull(rig: Rig, name: str) -> None:
    simulation = simulated(name)
    rate = simulation.truth.samples_per_s
    quiet = simulation.counts[: round(2 * rate)]
    idle = np.arange(round(IDLE_S * rate)) / rate + 1 / rate
    rig.feed(idle, quiet[np.random.default_rng(1).integers(0, len(quiet), len(idle))])
    seconds = simulation.board_us / 1e6
    rig.feed(seconds - seconds[0] + 1 / rate, simulation.counts)
    rig.day.true_maxima_n.append(simulation.truth.max_force_n)


def _look(rig: Rig, folder: Path) -> None:
    """Read what the round recorded, take it away, and look at memory and handles."""
    day = rig.day
    for path in sorted(folder.glob("*.h5")):
        recording = read_recording(path)
        if not recording.complete:
            continue
        day.files += 1
        day.maxima_n.append(float(recording.result["maximum_n"]))
        if not (recording.samples["flags"] & 4).any():
            fit = fit_clock(recording.samples, has_clock=True)
            day.worst_rate = max(day.worst_rate, abs(fit.rate - CLOCK_RATE) / fit.rate_error)
            day.worst_rate_ppm = max(day.worst_rate_ppm, abs(fit.rate - CLOCK_RATE) * 1e6)
        path.unlink()
    newest = rig.session.newest
    if newest is not None and not day.restarts and not day.replugs:
        live_s = float(newest.seconds[-1])
        day.live_drift_s = abs(live_s - (rig.board_s - rig.clock_from_s) + _first_s(rig))
    gc.collect()
    day.memory_kb.append(_memory_kb())
    day.handles.append(len(list(Path("/proc/self/fd").iterdir())))


def _first_s(rig: Rig) -> float:
    clock = rig.session.state.clock
    return (clock.first_us or 0) / 1e6 - 0.02


def _memory_kb() -> int:
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGESIZE") // 1024
