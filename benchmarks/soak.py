"""Eight hours at the rig in virtual time, with faults: memory, handles, clocks, pulls found.

`python -m benchmarks.soak 32` lives through 32 rounds of five pulls, some 8 hours. The day itself
stands in `tests/property/long_day.py`.
"""

import statistics
import sys
import tempfile
import time
from pathlib import Path

from benchmarks.table import Row, print_rows

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "property"))
from long_day import live_through

FAST_DISK = Path("/dev/shm")
SETTLED = 2  # rounds after which memory should not grow


def run(rounds: int = 4) -> list[Row]:
    """Live through the day; return what was looked at."""
    begin = time.monotonic()
    place = str(FAST_DISK) if FAST_DISK.is_dir() else None
    with tempfile.TemporaryDirectory(dir=place) as folder:
        day = live_through(Path(folder), rounds)
    seconds = time.monotonic() - begin
    pairs = list(zip(day.maxima_n, day.true_maxima_n, strict=False))
    worst = max(abs(found - true) / true for found, true in pairs)
    half = len(day.memory_kb) // 2
    settled = day.memory_kb[min(SETTLED, half) : half + 1], day.memory_kb[half:]
    grown = statistics.median(settled[1]) - statistics.median(settled[0])
    per_hour = grown / (day.hours / 2)
    return [
        Row(
            "soak: pulls found",
            f"{day.files} files, {len(day.maxima_n)} maxima of {len(day.true_maxima_n)} pulls",
            f"worst maximum {100 * worst:.2f} % off",
            None,
            "all, within 1 %",
            f"{day.hours:.1f} h, {day.samples} samples, {day.lines_lost} lines lost, "
            f"{day.lines_spoilt} spoilt, {day.restarts} restarts, {day.replugs} replugs; "
            f"{seconds:.0f} s",
        ),
        Row(
            "soak: memory and handles",
            f"{day.memory_kb[0] // 1000} to {day.memory_kb[-1] // 1000} MB, "
            f"{per_hour:+.0f} kB an hour",
            f"{day.handles[0]} to {day.handles[-1]} handles",
            None,
            "flat",
        ),
        Row(
            "soak: clocks",
            f"rate off by {day.worst_rate:.1f} standard errors, {day.worst_rate_ppm:.0f} ppm",
            f"live clock {1e6 * day.live_drift_s:.1f} us off the board's",
            None,
            "within 5, within 1 ms",
        ),
    ]


if __name__ == "__main__":
    print_rows(run(int(sys.argv[1]) if len(sys.argv) > 1 else 4))
