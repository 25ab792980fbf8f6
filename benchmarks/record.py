"""Recording against other ways to write the same rows in the same batches: CPU seconds a million.

Raw: the same bytes by one unbuffered write a batch. Plain h5py: the same tables, slices and a flush
a batch, without checksums and without care for a full disk. All are put on the disk (fsync) as
often as a pull is: each fifth batch.
"""

import os
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import h5py
import numpy as np

from benchmarks.table import Row, print_rows
from daq.record import header as headers
from daq.record import layout
from daq.record.pull_file import PullFile
from daq.samples import sample_dtype

HEADER = Path(__file__).parents[1] / "tests" / "unit" / "daq" / "record" / "data" / "header.json"
SAMPLES = 1_000_000
RUNS = 5
BATCHES = (50_000, 3_600, 200, 19)  # in blocks; 0.2 s at 18,000, 1,000 and 93 samples/s

Write = Callable[[Path, np.ndarray, int], float]


def run() -> list[Row]:
    """Return two rows for each size of batch: against a raw write, against plain h5py."""
    return [row for batch in BATCHES for row in _compare(batch)]


def _compare(batch: int) -> list[Row]:
    samples = np.zeros(batch, sample_dtype(2))
    samples["counts"] = 123_456
    count = min(SAMPLES, 400 * batch)
    spent: dict[Write, list[float]] = {_record: [], _write_raw: [], _write_h5py: []}
    for _ in range(RUNS):  # in turn, so that a busy machine troubles all
        for write, seconds in spent.items():
            seconds.append(_timed(write, samples, count))
    return [
        _row(f"append, batches of {batch}", "raw write", "< 3", spent[_record], spent[_write_raw]),
        _row(f"append, batches of {batch}", "plain h5py", "", spent[_record], spent[_write_h5py]),
    ]


def _row(name: str, other: str, goal: str, ours: list[float], others: list[float]) -> Row:
    ratios = [a / b for a, b in zip(ours, others, strict=True)]
    return Row(
        name=name,
        ours=f"{statistics.median(ours):.3f} s CPU a million",
        other=f"{statistics.median(others):.3f} s {other}",
        ratio=statistics.median(ratios),
        goal=goal,
        note=f"{RUNS} runs, ratio {min(ratios):.1f} to {max(ratios):.1f}",
    )


def _timed(write: Write, samples: np.ndarray, count: int) -> float:
    with tempfile.TemporaryDirectory() as folder:
        return write(Path(folder), samples, count) * 1e6 / count


def _record(folder: Path, samples: np.ndarray, count: int) -> float:
    header = headers.from_json(HEADER.read_text(encoding="utf-8"))
    pull = PullFile.create(folder, header, 2)
    begun = time.process_time()
    for number in range(count // len(samples)):
        pull.append(samples)
        pull.commit(sync=number % 5 == 0)
    spent = time.process_time() - begun
    pull.abort("measured")
    return spent


def _write_raw(folder: Path, samples: np.ndarray, count: int) -> float:
    with (folder / "raw").open("xb", buffering=0) as file:
        begun = time.process_time()
        for number in range(count // len(samples)):
            file.write(samples.tobytes())
            if number % 5 == 0:
                os.fsync(file.fileno())
        return time.process_time() - begun


def _write_h5py(folder: Path, samples: np.ndarray, count: int) -> float:
    with h5py.File(folder / "plain.h5", "w") as file:
        for name in layout.RAW_FIELDS:
            shape = samples[name].shape[1:]
            file.create_dataset(
                name,
                (0, *shape),
                maxshape=(None, *shape),
                chunks=(layout.ROWS_PER_CHUNK, *shape),
                dtype=samples[name].dtype,
            )
        begun = time.process_time()
        for number in range(count // len(samples)):
            for name in layout.RAW_FIELDS:
                table = file[name]
                start = len(table)
                table.resize(start + len(samples), axis=0)
                table[start:] = samples[name]
            file.flush()
            if number % 5 == 0:
                os.fsync(file.id.get_vfd_handle())
        return time.process_time() - begun


if __name__ == "__main__":
    print_rows(run())
