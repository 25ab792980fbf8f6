"""Kills whole headless pulls in a phase of the pull, and looks at what is left.

The board plays in a thread of this process, so that what had been received is known.
Used by the small series in the tests and the large one in the benchmarks.
"""

import contextlib
import io
import json
import random
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

import h5py
import numpy as np

from daq.record.reader import read_recording
from simulators.pty_board import PlayingBoard, open_port
from simulators.simulation import Simulation, simulate
from simulators.transmission import GOOD, transmit, wire_for
from tui import cli
from tui.commands.demo import demo_rig_file

SPEED = 60.0
START_S = 30.0  # of patience with a process
LOOK_S = 0.0005
RESTING_N_PER_S = 4.0
END_UNSURE = 300  # samples: 3 s at the rig
COPY_BYTES = 100_000  # a file without a sample is smaller
SCENARIOS = ("hardwood-withdrawal", "split")
#: By the clock of the board; then two that are found by the files.
PHASES = ("before", "toe", "climb", "rest", "near maximum", "parted", "slack")
MAKING, ENDING, SEALING = "file is made", "pull ends", "file is finished"
ALL_PHASES = (*PHASES, MAKING, ENDING, SEALING)


@dataclass(frozen=True, slots=True)
class PullKill:
    """What one kill left. ``lost_s`` is in seconds as a person at the rig would count them.

    ``kept`` and ``received`` are samples; ``state`` is what the file says: "no file", "open",
    "result", "force", "closing" or "finished". ``wrong`` lists what must not be.
    """

    phase: str
    at_s: float
    received: int
    kept: int
    lost_s: float
    state: str
    leftovers: int
    wrong: tuple[str, ...]


class Script:
    """A simulated session, and when in it a kill belongs to which phase."""

    def __init__(self, scenario: str, seed: int) -> None:
        self.simulation: Simulation = simulate(scenario, seed)
        self.transmission = transmit(self.simulation, wire_for(self.simulation))
        time_s, force_n = self.simulation.fine_time_s, self.simulation.fine_force_n
        pull = self.simulation.truth.pulls[0]
        top_s, most_n = pull.time_of_max_s, pull.max_force_n
        slope = np.gradient(force_n, 0.001)
        slope = np.convolve(slope, np.ones(301) / 301, "same")
        rising = (time_s >= pull.start_of_load_s) & (time_s < top_s)
        low = force_n < 0.15 * most_n
        near = np.abs(time_s - top_s) < 1.5
        rest = rising & (np.abs(slope) < RESTING_N_PER_S) & ~low
        self._times = {
            "before": time_s[time_s < pull.start_of_load_s],
            "toe": time_s[rising & low],
            "climb": time_s[rising & ~low & ~rest & ~near],
            "rest": time_s[rest & ~near],
            "near maximum": time_s[near],
            "parted": time_s[(time_s > top_s + 1.5) & (time_s < pull.end_of_load_s)],
            "slack": time_s[time_s > pull.end_of_load_s],
        }
        if not len(self._times["parted"]):  # it let go at once
            self._times["parted"] = time_s[(time_s > top_s) & (time_s < top_s + 3.0)]
        self.lasts_s = self.simulation.truth.duration_s - 3.0
        self.begins, self.ends, self.ends_s = 0, len(self.simulation.board_us), 0.0

    def moment_s(self, phase: str, chance: random.Random) -> float:
        """Return a time in a phase, in s of the script."""
        if phase == ENDING:
            return min(self.ends_s + SPEED * chance.uniform(-0.06, 0.08), self.lasts_s)
        return float(chance.choice(self._times[phase]))


class Board:
    """A board on a port, playing in a thread."""

    def __init__(self, script: Script) -> None:
        self._port = open_port()
        self.name = self._port.name
        self._playing = PlayingBoard(self._port, script.transmission, SPEED)
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        with contextlib.suppress(OSError):  # the port is closed to end it
            self._playing.run()

    @property
    def script_s(self) -> float:
        """How far the script is, in its own seconds."""
        sent = self._playing._sent
        return sent[-1][0].due_s if sent else -1.0

    def taken(self) -> tuple[int, int]:
        """Return how many lines were sent, and how many bytes of them the reader has not taken."""
        lines = len(self._playing._sent)
        return lines, len(self._playing._waiting) + self._port.unread()

    def received(self, lines: int, unread: int) -> int:
        """Return how many good samples the reader had, or a few more, from what `taken` told."""
        good = [sending for sending, out in self._playing._sent[:lines] if out]
        good = [sending for sending in good if sending.outcome == GOOD]
        while good and unread >= len(good[-1].data):
            unread -= len(good.pop().data)
        return len(good)

    def close(self) -> None:
        """End it."""
        self._playing._complete = True
        self._port.close()
        self._thread.join(START_S)


def pull_kills(
    kills: int, seed: int, phases: tuple[str, ...] = ALL_PHASES, seeds: tuple[int, ...] = (4,)
) -> Iterator[PullKill]:
    """Kill ``kills`` pulls in each phase, at times drawn from ``seed``."""
    scripts = [Script(name, number) for name in SCENARIOS for number in seeds]
    for script in scripts:
        with TemporaryDirectory() as folder:
            _learn_the_end(script, Path(folder))
    chance = random.Random(seed)
    for number in range(kills):
        for phase in phases:
            with TemporaryDirectory() as folder:
                yield _one(scripts[number % len(scripts)], phase, chance, Path(folder))


def _start(board: Board, folder: Path) -> "subprocess.Popen[bytes]":
    return subprocess.Popen(
        [
            *(sys.executable, "-P", "-m", "tui", "pull", "--rig", str(demo_rig_file())),
            *("--port", board.name, "--out", str(folder), "--headless", "--pulls", "2"),
        ],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
    )


def _learn_the_end(script: Script, folder: Path) -> None:
    """Let one pull run to its end: which samples belong to it, and when its file is finished."""
    board = Board(script)
    process = _start(board, folder)
    try:
        _until(lambda: _is_sealed(folder), process)
        script.ends_s = board.script_s
    finally:
        _end(process)
        board.close()
    (path,) = folder.glob("*.h5")
    recording = read_recording(path)
    rows = _rows(script, recording.samples)
    begun = recording.header.started_ns  # the pull is known to be on from here
    begins = int(np.searchsorted(recording.samples["arrival_ns"], begun))
    script.begins, script.ends = int(rows[min(begins, len(rows) - 1)]), int(rows[-1]) + 1


def _is_sealed(folder: Path) -> bool:
    for path in folder.glob("*.h5"):
        with path.open("rb") as file:
            file.seek(max(0, path.stat().st_size - 200))
            return b"pullstand seal" in file.read()
    return False


def _one(script: Script, phase: str, chance: random.Random, folder: Path) -> PullKill:
    board = Board(script)
    process = _start(board, folder)
    try:
        if phase in (MAKING, SEALING):
            if phase == SEALING:
                _until(lambda: board.script_s > script.ends_s - 10.0, process)
            seen = _new_name if phase == MAKING else _copied
            late_s = min(script.ends_s + 0.3 * SPEED, script.lasts_s)
            _until(lambda: seen(folder) or board.script_s > late_s, process)
            time.sleep(chance.uniform(0.0, 0.004 if phase == MAKING else 0.03))
        else:
            due_s = script.moment_s(phase, chance)
            _until(lambda: board.script_s >= due_s, process)
        at_s, taken = board.script_s, board.taken()
        process.kill()
        process.wait()
        received = board.received(*taken)
    finally:
        _end(process)
        board.close()
    return _look(script, phase, folder, received, at_s)


def _words(process: "subprocess.Popen[bytes]") -> bytes:
    return process.stderr.read() if process.stderr else b""


def _end(process: "subprocess.Popen[bytes]") -> None:
    process.kill()
    process.wait()
    if process.stderr:
        process.stderr.close()


def _new_name(folder: Path) -> bool:
    return any(True for _ in folder.iterdir())


def _copied(folder: Path) -> bool:
    """Whether the copy is there in which a pull is ended."""
    with contextlib.suppress(FileNotFoundError):
        return any(path.stat().st_size > COPY_BYTES for path in folder.glob(".*.new-*"))
    return False


def _until(done: Callable[[], bool], process: "subprocess.Popen[bytes]") -> None:
    end = time.monotonic() + START_S
    while not done():
        if process.poll() is not None:
            raise AssertionError(f"the pull ended by itself: {_words(process)!r}")
        if time.monotonic() > end:
            raise AssertionError("the moment for the kill never came")
        time.sleep(LOOK_S)


# -- what is left ---------------------------------------------------------------------------------


def _look(script: Script, phase: str, folder: Path, received: int, at_s: float) -> PullKill:
    paths = sorted(folder.glob("*.h5"))
    leftovers = [path for path in folder.iterdir() if path not in paths]
    due = min(received, script.ends)
    wrong: list[str] = [f"{len(paths)} files"] if len(paths) > 1 else []
    if not paths:
        lost = max(0, due - script.begins)
        return _kill(script, phase, at_s, received, 0, lost, "no file", leftovers, wrong)
    path = paths[0]
    try:
        state = _state(path)
    except Exception as error:
        wrong.append(f"plain h5py: {error!r}")
        return _kill(script, phase, at_s, received, 0, due, "unreadable", leftovers, wrong)
    recording = read_recording(path)
    rows = _rows(script, recording.samples)
    if not np.array_equal(recording.samples["counts"], script.simulation.counts[rows]):
        wrong.append("a sample that was never sent")
    if (np.diff(rows) != 1).any():
        wrong.append("a hole")
    last = int(rows[-1]) + 1 if len(rows) else script.begins
    if state == "finished":  # where a pull ends may differ by a block
        wrong += [f"ends at {last}, not {script.ends}"] if script.ends - last > END_UNSURE else []
        due = last
    if recording.complete != (state == "finished"):
        wrong.append(f"complete {recording.complete}, but {state}")
    wrong += _commands(path, len(rows), finished=state == "finished")
    return _kill(
        script, phase, at_s, received, len(rows), max(0, due - last), state, leftovers, wrong
    )


def _kill(
    script: Script,
    phase: str,
    at_s: float,
    received: int,
    kept: int,
    lost: int,
    state: str,
    leftovers: list[Path],
    wrong: list[str],
) -> PullKill:
    lost_s = lost / (script.simulation.truth.samples_per_s * SPEED)
    return PullKill(phase, at_s, received, kept, lost_s, state, len(leftovers), tuple(wrong))


def _rows(script: Script, samples: np.ndarray) -> np.ndarray:
    """Return which sample of the simulation each one is, by the board's clock."""
    return np.searchsorted(script.simulation.board_us, samples["board_us"])


def _state(path: Path) -> str:
    """Return how far a file came, as plain h5py sees it; every table is read."""
    with h5py.File(path) as plain:
        entry = plain["entry"]
        entry["raw/counts"][:]
        entry["raw/board_us"][:]
        said = str(entry.attrs["state"])
        if said == "finished":
            return "finished" if b"pullstand seal" in path.read_bytes()[-200:] else "closing"
        return "force" if "force" in entry else "result" if "result" in entry else "open"


def _commands(path: Path, rows: int, finished: bool) -> list[str]:
    """Ask ``reduce`` and ``repair`` as a person would; return what they said wrongly."""
    wrong = []
    code, told = _said("reduce", path)
    if code or ("cut short" in told[0]["flags"]) == finished:
        wrong.append(f"reduce: {code}, {told}")
    code, found = _said("repair", path)
    if code or found["recovered_samples"] != rows or found["lost_samples"]:
        wrong.append(f"repair: {code}, {found}")
    elif found["state"] != ("whole" if finished else "cut short"):
        wrong.append(f"repair: {found['state']}")
    return wrong


def _said(command: str, path: Path) -> tuple[int, "list[dict[str, object]] | dict[str, object]"]:
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        code = cli.main([command, str(path), "--json"])
    return code, json.loads(out.getvalue() or "null")
