"""Kills a recording child at a random moment and looks at what the file then holds.

Used by the small series in the tests and the large one in the benchmarks.
"""

import random
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import h5py
import numpy as np

from daq.record.reader import Recording, read_recording

CHILD = Path(__file__).with_name("record_writer_child.py")


@dataclass(frozen=True, slots=True)
class Kill:
    """What one kill left: the newest file, samples handed over and found, and what that loses."""

    path: Path
    given: int
    found: int
    lost_s: float
    plain_rows: int
    complete: bool
    damaged: int  # samples found that are not those handed over


def kill_series(
    folder: Path,
    kills: int,
    rate: float,
    seed: int,
    finish_after: float = 1e9,
    up_to_s: float = 1.5,
) -> Iterator[Kill]:
    """Kill ``kills`` children, each at a random time up to ``up_to_s`` after its first block."""
    chance = random.Random(seed)
    for number in range(kills):
        place = folder / f"kill-{number:03d}"
        place.mkdir(parents=True)
        yield _look(place, _killed(place, rate, finish_after, chance.uniform(0, up_to_s)), rate)


def _killed(place: Path, rate: float, finish_after: float, after_s: float) -> bytes:
    command = [sys.executable, str(CHILD), str(place), str(rate), str(finish_after)]
    log = place / "told.txt"
    with log.open("wb") as told, subprocess.Popen(command, stdout=told) as child:
        deadline = time.monotonic() + 30
        while not log.stat().st_size and time.monotonic() < deadline:
            time.sleep(0.001)
        time.sleep(after_s)
        child.kill()
        child.wait()
    return log.read_bytes()


def _look(place: Path, told: bytes, rate: float) -> Kill:
    path = max(place.glob("*.h5"))
    lines = [line.split() for line in told.decode().splitlines() if line]
    given = max((int(count) for name, count in lines if name == path.name), default=0)
    with h5py.File(path) as plain:
        plain_rows = len(plain["entry/raw/counts"])
        plain["entry/raw/counts"][:]
    recording = read_recording(path)
    found = len(recording.samples)
    lost_s = (given - found) / rate if rate else 0.0
    return Kill(path, given, found, lost_s, plain_rows, recording.complete, _damaged(recording))


def _damaged(recording: Recording) -> int:
    samples = recording.samples
    right = np.arange(len(samples))[:, None] * 3 + np.array([0, 1])
    return int(np.any(samples["counts"] != right, axis=1).sum())
