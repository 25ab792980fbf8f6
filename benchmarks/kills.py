"""kill -9 in large series: a recorder while samples come and files are made, and whole pulls.

The loss is what had been handed over (of a whole pull: what the board had sent) and the file does
not hold; the goal is 0.25 s. `python -m benchmarks.kills 50` is the large series of the recorder,
`python -m benchmarks.kills whole 20` that of whole headless pulls: 200 kills each.
"""

import sys
import tempfile
from collections import Counter
from collections.abc import Iterable
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING

from benchmarks.table import Row, print_rows

if TYPE_CHECKING:
    from pull_kill_series import PullKill

CRASH_TESTS = Path(__file__).parents[1] / "tests" / "crash"
sys.path.insert(0, str(CRASH_TESTS))
SERIES = (
    ("samples come at 93/s", 93.0, 1e9, 2.5),
    ("samples come at 1000/s", 1000.0, 1e9, 2.5),
    ("files made and finished, 1000/s", 1000.0, 0.5, 2.5),
    ("files made and finished, flood", 0.0, 0.08, 1.0),
)
LEAST_S = 0.25


def run(kills: int = 10) -> list[Row]:
    """Return a row per series of ``kills`` kills of a recorder, and per phase of whole pulls."""
    recorder = [
        _series(number, name, kills, rate, finish_after, up_to_s)
        for number, (name, rate, finish_after, up_to_s) in enumerate(SERIES)
    ]
    return recorder + whole_pulls(max(1, kills // 5))


def _series(
    seed: int, name: str, kills: int, rate: float, finish_after: float, up_to_s: float
) -> Row:
    from kill_series import kill_series

    with tempfile.TemporaryDirectory() as folder:
        series = list(kill_series(Path(folder), kills, rate, seed, finish_after, up_to_s))
    worst_s = max(kill.lost_s for kill in series)
    worst = max(kill.given - kill.found for kill in series)
    lost = f"{worst_s:.3f} s, {worst} samples" if rate else f"{worst} samples"
    finished = sum(kill.complete for kill in series)
    return Row(
        name=f"kill -9, {name}",
        ours=f"{len(series)} of {kills} open with plain h5py",
        other=f"most lost {lost}",
        ratio=worst_s / LEAST_S if rate else None,
        goal="<= 1 (0.25 s)" if rate else "<= 50 samples",
        note=f"{sum(kill.damaged for kill in series)} wrong samples; {finished} were whole",
    )


def whole_pulls(kills: int, seed: int = 1) -> list[Row]:
    """Return a row per phase, of ``kills`` headless pulls killed in each, and one of them all."""
    from pull_kill_series import ALL_PHASES, pull_kills

    seen = []
    for kill in pull_kills(kills, seed):
        seen.append(kill)
        if kill.wrong or kill.lost_s > LEAST_S:
            print(kill, flush=True)
    in_order = sorted(seen, key=lambda kill: ALL_PHASES.index(kill.phase))
    by_phase = groupby(in_order, key=lambda kill: kill.phase)
    return [*(_phase_row(phase, tuple(them)) for phase, them in by_phase), _phase_row("all", seen)]


def _phase_row(phase: str, kills: "Iterable[PullKill]") -> Row:
    kills = tuple(kills)
    files = [kill for kill in kills if kill.state != "no file"]
    opened = sum(kill.state != "unreadable" for kill in files)
    worst_s = max(kill.lost_s for kill in kills)
    states = Counter(kill.state for kill in kills)
    return Row(
        name=f"kill -9 of a whole pull, {phase}",
        ours=f"{len(kills)} kills: {opened} of {len(files)} files open with plain h5py",
        other=f"most lost {worst_s:.3f} s",
        ratio=worst_s / LEAST_S,
        goal="<= 1 (0.25 s)",
        note=f"{sum(map(bool, (kill.wrong for kill in kills)))} with something wrong; "
        + ", ".join(f"{count} {state}" for state, count in states.items())
        + f"; {sum(kill.leftovers for kill in kills)} unnamed leftovers",
    )


if __name__ == "__main__":
    if sys.argv[1:2] == ["whole"]:
        print_rows(whole_pulls(int(sys.argv[2]) if len(sys.argv) > 2 else 1))
    else:
        print_rows(run(int(sys.argv[1]) if len(sys.argv) > 1 else 10))
