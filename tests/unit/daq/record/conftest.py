"""A small recording to look at: invented, no rig was involved."""

from pathlib import Path

import numpy as np
import pytest

from daq.record import header as headers
from daq.record.events import Event, EventKind
from daq.record.pull_file import Forces, PullFile
from daq.samples import sample_dtype

HEADER = Path(__file__).parent / "data" / "header.json"


def block(start, count, cells=2):
    """Return samples whose every field tells its place."""
    samples = np.zeros(count, sample_dtype(cells))
    samples["index"] = np.arange(start, start + count)
    samples["board_us"] = samples["index"] * 10752
    samples["arrival_ns"] = samples["index"] * 10_752_000 + 7
    samples["counts"] = (np.arange(start, start + count)[:, None] * 10) - np.arange(cells)
    samples["flags"] = samples["index"] % 17 == 3
    return samples


@pytest.fixture
def header():
    return headers.from_json(HEADER.read_text(encoding="utf-8"))


@pytest.fixture
def samples_at():
    return block


@pytest.fixture
def write_open(tmp_path, header):
    """Return a function that begins a pull of ``batches`` commits of 23 samples and an event."""

    def write(batches=8, header=header, folder=tmp_path):
        pull = PullFile.create(folder, header, len(header.cells))
        for number in range(batches):
            pull.append(block(number * 23, 23, len(header.cells)))
            pull.event(Event(EventKind.MARK, number * 23, number, f"mark {number}", 4.5))
            pull.commit(sync=number % 5 == 0)
        return pull

    return write


@pytest.fixture
def forces_of():
    """Return a function that makes force of a number of samples: any numbers will do."""

    def forces(count):
        return Forces(np.arange(count) * 0.0107, np.arange(count) * 1.0, np.arange(count) * 2.0)

    return forces


@pytest.fixture
def finished(write_open, forces_of):
    """Return the path of a finished recording of 184 samples."""
    pull = write_open()
    return pull.finish({"kind": "failed", "max_force_n": 4690.5}, None, forces_of(pull.rows))
