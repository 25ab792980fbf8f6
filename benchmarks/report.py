"""A report of 300 pulls (90 s at 93 samples/s, two cells): seconds, memory, size of the page.

Each report is a process of its own, the way a person runs it, start included.
"""

import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from benchmarks.reduction_truth import recording_of
from benchmarks.table import Row, print_rows
from daq.record.pull_file import PullFile
from simulators.simulation import simulate

PULLS, FEW = 300, 30
TAKEN_S = 90.0
GOAL_S = 20.0
DIFFERENT = ("hardwood-withdrawal", "softwood-withdrawal", "split", "head-pull-through")
LEVELS, BOARDS = ("dry", "wax"), "ABCDE"
COMMIT_ROWS = 1000
REPORT = """
import resource, sys
from tui.cli import main
code = main(["report", sys.argv[1], "-o", sys.argv[2], "--by", "coating", "--block", "board"])
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
sys.exit(code)
"""


def run() -> list[Row]:
    """Report 300 pulls, and 30 of them."""
    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        for count in (FEW, PULLS):
            (place / str(count)).mkdir()
            _write(place / str(count), count)
        few_s, few_mb, _ = _report(place / str(FEW))
        whole_s, whole_mb, page_mb = _report(place / str(PULLS))
    return [
        Row(
            f"report of {PULLS} pulls",
            f"{whole_s:.1f} s",
            f"{few_s:.1f} s for {FEW}",
            whole_s / few_s,
            f"< {GOAL_S:g} s",
            f"page {page_mb:.1f} MB",
        ),
        Row(
            "report: peak memory",
            f"{whole_mb:.0f} MB",
            f"{few_mb:.0f} MB for {FEW}",
            whole_mb / few_mb,
            "about 1: flat",
        ),
    ]


def _write(folder: Path, count: int) -> None:
    """Write a few simulated pulls over and over, as pulls of two levels on five boards."""
    pulls = [recording_of(simulate(name, seed=7)) for name in DIFFERENT]
    for number in range(count):
        recording = pulls[number % len(pulls)]
        at_s = recording.samples["board_us"] / 1e6
        end_s = min(at_s[-1], at_s[np.argmax(recording.samples["counts"].sum(axis=1))] + 8.0)
        rows = recording.samples[(at_s <= end_s) & (at_s > end_s - TAKEN_S)]
        specimen = {
            "label": f"P-{number + 1:03d}",
            "coating": LEVELS[number // len(pulls) % len(LEVELS)],
            "board": BOARDS[number % len(BOARDS)],
        }
        header = replace(recording.header, pull_number=number + 1, specimen=specimen)
        file = PullFile.create(folder, header, len(header.cells))
        for start in range(0, len(rows), COMMIT_ROWS):
            file.append(rows[start : start + COMMIT_ROWS])
            file.commit()
        file.finish({}, recording.zero_after, None)


def _report(folder: Path) -> tuple[float, float, float]:
    """Return seconds, peak memory in MB and size of the page in MB."""
    page = folder.with_suffix(".html")
    begin = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-c", REPORT, str(folder), str(page)],
        check=True,
        capture_output=True,
        text=True,
    )
    return time.perf_counter() - begin, float(done.stdout), page.stat().st_size / 1e6


if __name__ == "__main__":
    print_rows(run())
