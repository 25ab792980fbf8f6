"""Mutated streams through both decoders: no exception, no invented sample, sums, any split.

`python -m benchmarks.wire_fuzz 100000` is the large series, over two processes. The mutations and
what is checked stand in `tests/property/wire_mutations.py`.
"""

import sys
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from benchmarks.table import Row, print_rows
from simulators.simulation import simulate

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "property"))
from wire_mutations import LINKS, Tally, endless, sendings, series, truth_series


def run(streams: int = 8_000) -> list[Row]:
    """Return a row per link, over two processes."""
    simulation = simulate("hardwood-withdrawal", seed=4)
    rows = []
    for name in LINKS:
        lines = sendings(name, simulation)
        half = streams // len(LINKS) // 2
        jobs: list[tuple[Callable[..., Tally], object, range]] = [
            (series, lines, range(half)),
            (series, lines, range(half, 2 * half)),
            (truth_series, simulation, range(max(10, half // 100))),
        ]
        begin = time.monotonic()
        with ProcessPoolExecutor(2) as pool:
            tallies = [job.result() for job in [pool.submit(f, name, *a) for f, *a in jobs]]
        rows.append(_row(name, tallies, time.monotonic() - begin))
    return rows


def _row(name: str, tallies: Sequence[Tally], seconds: float) -> Row:
    failures = [failure for tally in tallies for failure in tally.failures]
    for failure in failures[:10]:
        print(failure)
    mutated_streams = sum(tally.streams for tally in tallies[:2])
    return Row(
        f"wire fuzz, {name}",
        f"{mutated_streams} mutated streams, {tallies[2].streams} with known faults",
        f"{len(failures)} failures",
        None,
        "0 failures",
        f"{sum(t.samples for t in tallies)} samples kept, {sum(t.bad for t in tallies)} lines bad; "
        f"{seconds:.0f} s; an endless line holds {endless(name) // 1000} kB",
    )


if __name__ == "__main__":
    print_rows(run(int(sys.argv[1]) if len(sys.argv) > 1 else 8_000))
