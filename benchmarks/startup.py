"""From the shell to the help, and from the port's first byte to the first live number."""

import json
import statistics
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

from benchmarks.table import Row, print_rows
from simulators.serving import BoardOrder, serve
from tui.commands.demo import demo_rig_file

RUNS = 9
PULLSTAND = [sys.executable, "-P", "-m", "tui"]


def run() -> list[Row]:
    """Measure both."""
    return [_help(), _first_number()]


def _seconds(words: Sequence[str]) -> float:
    begin = time.perf_counter()
    subprocess.run(words, stdout=subprocess.DEVNULL, check=True)
    return time.perf_counter() - begin


def _help() -> Row:
    pairs = [
        (_seconds([*PULLSTAND, "--help"]), _seconds([sys.executable, "-c", "pass"]))
        for _ in range(RUNS)
    ]
    ours = 1000 * statistics.median(pair[0] for pair in pairs)
    bare = 1000 * statistics.median(pair[1] for pair in pairs)
    return Row(
        "pullstand --help",
        f"{ours:.0f} ms",
        f"{bare:.0f} ms",
        ours / bare,
        "< 100 ms",
        "bare Python",
    )


def _first_number() -> Row:
    """Headless from the shell: until the first sample was read, and how much of it was start-up."""
    times = []
    for _ in range(3):
        with serve(BoardOrder("split", seed=1)) as board, TemporaryDirectory() as folder:
            begin = time.perf_counter()
            done = subprocess.run(
                [
                    *(*PULLSTAND, "pull", "--rig", str(demo_rig_file()), "--port", board.port),
                    *("--out", str(Path(folder)), "--headless", "--seconds", "0.2", "--json"),
                ],
                capture_output=True,
                text=True,
                check=True,
            )
            times.append(time.perf_counter() - begin - 0.2)
            assert json.loads(done.stdout)["samples"] > 0
    return Row(
        "shell to first samples, headless, and closed again",
        f"{statistics.median(times):.2f} s",
        goal="first number < 1 s",
        note="whole process less the 0.2 s asked for",
    )


if __name__ == "__main__":
    print_rows(run())
