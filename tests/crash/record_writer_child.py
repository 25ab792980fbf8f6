"""A child that records until it is killed: tells on stdout how many samples it has handed over.

    record_writer_child.py FOLDER RATE FINISH_AFTER

RATE: samples per second (0: flood, a commit after every block). FINISH_AFTER: seconds after which
it finishes the file and begins the next (so that kills fall into finishing and creating as well).
"""

import os
import sys
import time
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np

from daq.record import header as headers
from daq.record.events import Event, EventKind
from daq.record.pull_file import Forces, PullFile
from daq.samples import sample_dtype

HEADER = Path(__file__).parents[1] / "unit" / "daq" / "record" / "data" / "header.json"
BLOCK_S = 0.02
COMMIT_S, SYNC_S = 0.2, 1.0


def main() -> None:
    folder, rate, finish_after = Path(sys.argv[1]), float(sys.argv[2]), float(sys.argv[3])
    header = headers.from_json(HEADER.read_text(encoding="utf-8"))
    while True:
        header = replace(header, started_at=header.started_at + timedelta(seconds=1))
        record_one(folder, header, rate, finish_after)


def record_one(folder: Path, header: headers.RunHeader, rate: float, finish_after: float) -> None:
    pull = PullFile.create(folder, header, 2)
    begun = committed = synced = time.monotonic()
    given = 0
    while (now := time.monotonic()) - begun < finish_after:
        wanted = int((now - begun) * rate) if rate else given + 50
        pull.append(block(given, wanted - given))
        given = max(given, wanted)
        tell(f"{pull.path.name} {given}")
        if not rate or now - committed >= COMMIT_S:
            pull.event(Event(EventKind.MARK, given, time.monotonic_ns(), "block"))
            pull.commit(sync=now - synced >= SYNC_S)
            committed = now
            synced = now if now - synced >= SYNC_S else synced
        if rate:
            time.sleep(BLOCK_S)
    count = np.arange(given, dtype=float)
    pull.finish({"max_force_n": 1.0}, header.zero_before, Forces(count, count, count))


def block(start: int, count: int) -> np.ndarray:
    samples = np.zeros(max(0, count), sample_dtype(2))
    samples["index"] = np.arange(start, start + len(samples))
    samples["board_us"] = samples["index"] * 10752
    samples["arrival_ns"] = time.monotonic_ns()
    samples["counts"] = samples["index"][:, None] * 3 + np.array([0, 1])
    return samples


def tell(line: str) -> None:
    os.write(1, f"{line}\n".encode())


if __name__ == "__main__":
    main()
