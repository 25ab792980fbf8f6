"""Recordings in memory, made of simulated pulls: invented, no rig was involved."""

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from daq.force.calibration import Calibration
from daq.force.zero import take_zero
from daq.record.pull_file import PullFile
from daq.record.reader import Recording
from daq.rig.rig_file import read_rig
from daq.run_header import run_header, zero_record
from daq.samples import sample_dtype
from daq.wall_anchor import WallAnchor
from simulators.simulated_rig import DEMO_RIG_FILE
from simulators.simulation import simulate


def recording_of(simulation, specimen=None):
    """A simulated pull as it would be read from its file."""
    rig, anchor = read_rig(DEMO_RIG_FILE), WallAnchor.now()
    samples = np.zeros(simulation.samples, dtype=sample_dtype(2))
    samples["index"] = np.arange(simulation.samples)
    samples["board_us"] = simulation.board_us
    samples["arrival_ns"] = np.round(simulation.time_s * 1e9) + 1_000_000
    samples["counts"] = simulation.counts
    before, after = (
        take_zero(simulation.counts[part], simulation.time_s[part])
        for part in (slice(50, 400), slice(-300, None))
    )
    header = run_header(
        rig,
        Calibration.from_rig(rig),
        anchor,
        started_ns=0,
        pull_number=1,
        zero_before=before,
        specimen={"label": "T-01"} if specimen is None else specimen,
        session={},
        has_board_clock=True,
    )
    return Recording(
        path=Path("T-01.h5"),
        header=header,
        samples=samples,
        events=(),
        events_not_kept=0,
        result={},
        zero_after=zero_record(after, anchor),
        history=(),
        complete=True,
        cut_short="",
    )


@cache
def simulated(name, seed):
    return simulate(name, seed)


@pytest.fixture
def recorded():
    """A function from scenario, seed and specimen to a recording and its truth."""

    def make(name="hardwood-withdrawal", seed=3, specimen=None):
        simulation = simulated(name, seed)
        return recording_of(simulation, specimen), simulation.truth.pulls[0]

    return make


@pytest.fixture
def write_file(tmp_path):
    """A function that writes a recording into a file of its own and returns the path."""

    def write(recording, number=1):
        header = replace(recording.header, pull_number=number)
        file = PullFile.create(tmp_path, header, len(header.cells))
        file.append(recording.samples)
        file.commit()
        return file.finish({}, recording.zero_after, None)

    return write
