"""kill -9 in large series: while samples come, and while files are made and finished.

The loss is what the child had handed over and the file does not hold; the goal is 0.25 s.
`python -m benchmarks.kills 50` is the large series: 200 kills.
"""

import sys
import tempfile
from pathlib import Path

from benchmarks.table import Row, print_rows

CRASH_TESTS = Path(__file__).parents[1] / "tests" / "crash"
SERIES = (
    ("samples come at 93/s", 93.0, 1e9, 2.5),
    ("samples come at 1000/s", 1000.0, 1e9, 2.5),
    ("files made and finished, 1000/s", 1000.0, 0.5, 2.5),
    ("files made and finished, flood", 0.0, 0.08, 1.0),
)


def run(kills: int = 10) -> list[Row]:
    """Return a row per series of ``kills`` kills."""
    sys.path.insert(0, str(CRASH_TESTS))
    return [
        _series(number, name, kills, rate, finish_after, up_to_s)
        for number, (name, rate, finish_after, up_to_s) in enumerate(SERIES)
    ]


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
        ratio=worst_s / 0.25 if rate else None,
        goal="<= 1 (0.25 s)" if rate else "<= 50 samples",
        note=f"{sum(kill.damaged for kill in series)} wrong samples; {finished} were whole",
    )


if __name__ == "__main__":
    print_rows(run(int(sys.argv[1]) if len(sys.argv) > 1 else 10))
