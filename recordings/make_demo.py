"""Make the demo campaign again, bit for bit: story.toml and rig.toml to weights, plan, recordings.

    python recordings/make_demo.py            fill recordings/demo
    python recordings/make_demo.py --check    make it elsewhere and compare every byte

Ossel Brook Workshop is invented. Each pull is mechanics on the simulated rig, read through the
session that also runs at a real rig; only the clocks are the story's. Forces are true newtons in
the mechanics and believed ones in the story: the plates of the calibration are heavier than said.
"""

import argparse
import hashlib
import platform
import shutil
import sys
import tempfile
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import h5py
import numpy as np
from demo_story import (
    DEMO,
    Attempt,
    attempts,
    changed,
    check_lines,
    ratio_line,
    read_story,
    the_plan,
    weights_text,
)

from analysis.campaign_plan import departure_of
from analysis.plan_folder import record_departure, write_plan
from daq.force.calibration import Calibration
from daq.force.checks_file import CHECK_WEIGHTS, ratio_file
from daq.pull_session import PullSession
from daq.record.history import add_history
from daq.record.pull_file import PullFile
from daq.record.recorder import Begin, End, Later, Message, Note, Rows
from daq.rig.rig import Rig
from daq.rig.rig_file import read_rig
from daq.samples import Flag, sample_dtype
from daq.session_settings import SessionSettings
from daq.wall_anchor import WallAnchor
from daq.wire.decoded import Decoded, WireEvent
from simulators.scenario import Range, Scenario
from simulators.simulated_rig import SimulatedRig, load_simulated_rig
from simulators.simulation import Simulation, simulate

GIVEN = ("story.toml", "rig.toml", "calibration.json", "calibration-reweighed.json")
SUMS = "checksums.txt"
MADE_BY = "make_demo"
BLOCK = 5  # samples a read
ROUNDS = 6  # of fitting the strength to the maximum that was read
CLOSE_N = 3.0
ZERO_SAMPLES = 40
BOOT_S = 1.2


# -- from the mechanics to a file --------------------------------------------------------------


class StoryClock:
    """The clocks of the story: they stand where the session has come to."""

    def __init__(self, anchor: WallAnchor) -> None:
        self.anchor = anchor
        self.now_ns = anchor.monotonic_ns

    def wall(self) -> datetime:
        """Return the wall time."""
        return self.anchor.at(self.now_ns)

    def monotonic_ns(self) -> int:
        """Return the monotonic clock."""
        return self.now_ns


class Desk:
    """Takes what a session offers and writes one file of it, without the derived force."""

    def __init__(self, folder: Path, number: int, clock: StoryClock) -> None:
        self._folder = folder
        self._number = number
        self._clock = clock
        self._file: PullFile | None = None
        self.path = folder

    def take(self, message: Message) -> None:
        """Take one message."""
        match message:
            case Begin(header=header, past=past):
                told = replace(header, pull_number=self._number, program_version=MADE_BY)
                self._file = PullFile.create(self._folder, told, len(told.cells), self._clock)
                self.path = self._file.path
                for block in past:
                    self._file.append(block)
                self._file.commit()
            case Rows(samples=samples) if self._file:
                self._file.append(samples)
            case Note(event=event) if self._file:
                self._file.event(event)
            case End(result=result, zero_after=zero_after) if self._file:
                self._file.finish(dict(result), zero_after, None)
                self._file = None
            case Later():
                raise AssertionError("words of a person come after the pull here")

    def commit(self) -> None:
        """Commit what came."""
        if self._file:
            self._file.commit()


def make_pull(attempt: Attempt, story: Mapping[str, Any], rig: Rig, folder: Path) -> Path:
    """Pull, record, judge; return the file."""
    calibration = Calibration.from_rig(rig)
    seed = story["campaign"]["seed"] + attempt.number
    simulation = fitted(attempt, story, calibration, seed)
    clock = StoryClock(WallAnchor(attempt.begins, _since_boot_ns(attempt.begins)))
    desk = Desk(folder, attempt.number, clock)
    settings = SessionSettings(attempt.specimen, auto_zero=True)
    session = PullSession(
        rig, calibration, desk.take, settings, has_board_clock=True, anchor=clock.anchor
    )
    samples, events = read_by_the_host(simulation, attempt, clock.now_ns, seed)
    for start in range(0, len(samples), BLOCK):
        block = samples[start : start + BLOCK]
        clock.now_ns = int(block["arrival_ns"][-1]) + 1_000_000
        told = tuple(e for e in events if block["index"][0] <= e.index <= block["index"][-1])
        decoded = Decoded(block, told)
        session.take(decoded, session.guard(decoded, clock.now_ns), clock.now_ns)
        if start % (4 * BLOCK) == 0:
            desk.commit()
    if attempt.unplugged_at is not None:
        clock.now_ns += 20_000_000
        session.link_lost("the cable was pulled out", clock.now_ns)
    _judge(attempt, desk.path, clock)
    return desk.path


def fitted(
    attempt: Attempt, story: Mapping[str, Any], calibration: Calibration, seed: int
) -> Simulation:
    """Simulate with the strength (or the stop) at which the maximum read is the story's."""
    plates = story["campaign"]["plates_weigh"]
    true_rig = load_simulated_rig(DEMO / "rig.toml")
    aim_n = attempt.max_n * plates
    for _ in range(ROUNDS):
        simulation = simulate(*_at(attempt, aim_n, true_rig, plates, seed))
        read_n = _maximum_read(simulation, calibration, true_rig.ratio)
        if abs(read_n - attempt.max_n) < CLOSE_N:
            return simulation
        aim_n = round(aim_n * attempt.max_n / read_n, 1)
    raise SystemExit(f"{attempt.label}: reads {read_n:.0f} N, the story says {attempt.max_n:.0f}")


def _at(
    attempt: Attempt, aim_n: float, rig: SimulatedRig, plates: float, seed: int
) -> tuple[Scenario, int, int, SimulatedRig]:
    """Return what to simulate for a maximum about ``aim_n``, true newtons."""
    if attempt.scenario.kind == "at least":
        strong = Range(1.4 * aim_n, 1.4 * aim_n)
        scenario = changed(attempt.scenario, "specimen", strength_n=strong)
        return scenario, seed, 1, replace(rig, stop_n=aim_n)
    scenario = changed(attempt.scenario, "specimen", strength_n=Range(aim_n, aim_n))
    return scenario, seed, 1, replace(rig, stop_n=rig.stop_n * plates)


def _maximum_read(simulation: Simulation, calibration: Calibration, ratio: float) -> float:
    counts = simulation.counts
    net = counts - counts[:ZERO_SAMPLES].mean(axis=0)
    return float(calibration.cell_forces_n(net).sum(axis=1).max()) * ratio


def read_by_the_host(
    simulation: Simulation, attempt: Attempt, first_ns: int, seed: int
) -> tuple[np.ndarray, tuple[WireEvent, ...]]:
    """Return the samples as the decoder hands them on, and what else it saw."""
    rng = np.random.default_rng([seed, 7])
    samples = np.zeros(simulation.samples, dtype=sample_dtype(simulation.counts.shape[1]))
    late_s = rng.uniform(0.0005, 0.004, simulation.samples)
    samples["board_us"] = simulation.board_us
    samples["arrival_ns"] = first_ns + np.round((simulation.time_s + late_s) * 1e9)
    samples["counts"] = simulation.counts
    events: tuple[WireEvent, ...] = ()
    if attempt.unplugged_at is not None:
        force = simulation.counts.sum(axis=1) - simulation.counts[0].sum()
        samples = samples[: int(np.argmax(force > attempt.unplugged_at * force.max()))]
    if attempt.restart:
        samples, events = _restarted(samples)
    samples["index"] = np.arange(1, len(samples) + 1)
    return samples, events


def _restarted(samples: np.ndarray) -> tuple[np.ndarray, tuple[WireEvent, ...]]:
    """Let the board start anew while the hook is slack: silence, another zero, its banner."""
    second = samples["board_us"] / 1e6
    before = int(np.argmax(second > 3.0))
    after = int(np.argmax(second > 3.0 + BOOT_S))
    kept = np.concatenate([samples[:before], samples[after:]])
    kept["flags"][before] = int(Flag.RESTART | Flag.GAP)
    kept["counts"][before:] += np.array([900, -400], dtype=np.int32)
    index, arrival_ns = before + 1, int(kept["arrival_ns"][before])
    banner = WireEvent("message", index, arrival_ns, 1, "# ossel-brook cells left,right")
    return kept, (banner, WireEvent("restart", index, arrival_ns, 0))


def _since_boot_ns(begins: datetime) -> int:
    """Return a monotonic clock that began an hour before that day's eight o'clock."""
    morning = begins.replace(hour=7, minute=0, second=0)
    return int((begins - morning).total_seconds()) * 1_000_000_000


def _judge(attempt: Attempt, path: Path, clock: StoryClock) -> None:
    """Add a person's words, as given at the rig straight after the pull."""
    clock.now_ns += 15_000_000_000
    if attempt.mode:
        add_history(path, {"mode": attempt.mode}, "judged at the rig", clock=clock)
    if attempt.reason:
        clock.now_ns += 20_000_000_000
        add_history(path, {"invalid": attempt.reason}, attempt.reason, clock=clock)


# -- the folder --------------------------------------------------------------------------------


def make_all(folder: Path) -> None:
    """Fill an empty folder."""
    story = read_story()
    for name in GIVEN:
        shutil.copyfile(DEMO / name, folder / name)
    (folder / "weights.csv").write_text(weights_text(5.0), "utf-8", newline="\n")
    (folder / "weights-reweighed.csv").write_text(weights_text(5.18), "utf-8", newline="\n")
    rig = read_rig(DEMO / "rig.toml")
    checks = check_lines(story, rig, Calibration.from_rig(rig))
    (folder / CHECK_WEIGHTS).write_text(checks, "utf-8", newline="\n")
    ratio_file(folder / "rig.toml").write_text(ratio_line(story, rig), "utf-8", newline="\n")
    plan = the_plan(story, rig)
    write_plan(folder / "plan", plan)
    done: set[str] = set()
    why = ""
    for attempt in attempts(story, plan):
        path = make_pull(attempt, story, rig, folder)
        what = departure_of(plan, done, attempt.label) if "run" in attempt.specimen else None
        if what:
            record_departure(folder / "plan", attempt.label, what, why, attempt.begins)
        done.add(attempt.label)
        why = attempt.reason
        print(path.name)  # noqa: T201
    (folder / SUMS).write_text(sums(folder), "utf-8", newline="\n")


def sums(folder: Path) -> str:
    """Return what made the files, and a checksum for each."""
    head = (
        f"# made with Python {platform.python_version()}, numpy {np.__version__}, "
        f"h5py {h5py.__version__}, HDF5 {h5py.version.hdf5_version}\n"
    )
    names = sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file())
    return head + "".join(
        f"{hashlib.sha256((folder / name).read_bytes()).hexdigest()}  {name}\n"
        for name in names
        if name != SUMS
    )


def main() -> int:
    """Make the campaign, or check it."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--check", action="store_true", help="compare, change nothing")
    check = parser.parse_args().check
    with tempfile.TemporaryDirectory() as name:
        fresh = Path(name) / "demo"
        fresh.mkdir()
        make_all(fresh)
        if check:
            return _compare(fresh)
        for path in [*DEMO.rglob("*")]:
            if path.is_file() and path.name not in GIVEN:
                path.unlink()
        shutil.copytree(fresh, DEMO, dirs_exist_ok=True)
    return 0


def _compare(fresh: Path) -> int:
    names = {p.relative_to(root) for root in (fresh, DEMO) for p in root.rglob("*") if p.is_file()}
    differ = [
        name
        for name in sorted(names - {Path(SUMS)})
        if not ((fresh / name).exists() and (DEMO / name).exists())
        or (fresh / name).read_bytes() != (DEMO / name).read_bytes()
    ]
    for name in differ:
        print(f"differs: {name}")  # noqa: T201
    print(f"{len(names) - 1} files, {len(differ)} differ")  # noqa: T201
    return 1 if differ else 0


if __name__ == "__main__":
    sys.exit(main())
