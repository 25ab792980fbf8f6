"""Reducing 1,000 recordings (90 s at 93 samples/s, two cells) beside one file at a time.

The plain loop is a process of its own that reads and reduces file after file; ours is the command's
road, start of its processes included. Both are measured in the same run, on the same files.
"""

import resource
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from analysis.campaign import recording_files, reduce_many
from benchmarks.reduction_truth import recording_of
from benchmarks.table import Row, print_rows
from daq.record.pull_file import PullFile
from daq.record.reader import Recording
from simulators.simulation import simulate

FILES = 1000
TAKEN_S = 90.0
DIFFERENT = ("hardwood-withdrawal", "softwood-withdrawal", "split", "head-pull-through")
COMMIT_ROWS = 25  # a quarter of a second
PLAIN = """
import sys, time
from pathlib import Path
from analysis.reduction import reduce_recording
from daq.record.reader import read_recording
begin = time.perf_counter()
for file in sorted(Path(sys.argv[1]).glob("*.h5")):
    reduce_recording(read_recording(file), file)
print(time.perf_counter() - begin)
"""


def run() -> list[Row]:
    """Write the files, reduce them both ways."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_files(folder, FILES)
        plain_s = _plain_s(folder)
        tenth_s, _ = _ours_s(folder, FILES // 10)
        small_mb, before_s = _peak_mb(), _processor_s()
        ours_s, count = _ours_s(folder, FILES)
        large_mb, used_s = _peak_mb(), _processor_s() - before_s
    assert count == FILES
    return [
        Row(
            f"reduce {FILES} pulls, 2 processes",
            f"{ours_s:.1f} s",
            f"{plain_s:.1f} s one at a time",
            ours_s / plain_s,
            "< 10 s",
            f"{1000 * used_s / FILES:.1f} ms of a processor a pull",
        ),
        Row(
            "reduce: 10 times as many pulls",
            f"{ours_s:.1f} s",
            f"{tenth_s:.1f} s for {FILES // 10}",
            ours_s / tenth_s,
            "<= 10: linear",
        ),
        Row(
            "reduce: peak memory of the largest process",
            f"{large_mb:.0f} MB",
            f"{small_mb:.0f} MB for {FILES // 10}",
            large_mb / small_mb,
            "about 1: flat",
        ),
    ]


def write_files(folder: Path, count: int) -> None:
    """Write ``count`` recordings: a few simulated pulls, over and over, each a file of its own."""
    pulls = [_cut(recording_of(simulate(name, seed=7))) for name in DIFFERENT]
    for number in range(count):
        recording = pulls[number % len(pulls)]
        header = replace(recording.header, pull_number=number + 1)
        file = PullFile.create(folder, header, len(header.cells))
        for start in range(0, len(recording.samples), COMMIT_ROWS * 40):
            file.append(recording.samples[start : start + COMMIT_ROWS * 40])
            file.commit()
        file.finish({}, recording.zero_after, None)


def _cut(recording: Recording) -> Recording:
    """Return the 90 s of a pull that hold its climb and its end."""
    at_s = recording.samples["board_us"] / 1e6
    top = int(np.argmax(recording.samples["counts"].sum(axis=1)))
    end_s = min(float(at_s[-1]), float(at_s[top]) + 8.0)
    part = (at_s <= end_s) & (at_s > end_s - TAKEN_S)
    return replace(recording, samples=recording.samples[part])


def _plain_s(folder: Path) -> float:
    command = [sys.executable, "-c", PLAIN, str(folder)]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    return float(done.stdout)


def _ours_s(folder: Path, count: int) -> tuple[float, int]:
    files = tuple(recording_files([folder]))[:count]
    begin = time.perf_counter()
    done = sum(outcome.result is not None for outcome in reduce_many(files, {}, processes=2))
    return time.perf_counter() - begin, done


def _peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024


def _processor_s() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


if __name__ == "__main__":
    print_rows(run())
