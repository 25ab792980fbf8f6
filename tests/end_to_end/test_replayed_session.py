"""Real threads and a real file, on samples of the simulated rig: screen = file = report."""

import json
import subprocess
import sys

import h5py
import numpy as np
import pytest

from analysis.campaign import load_results
from daq.acquisition import Acquisition
from daq.force.calibration import Calibration
from daq.rig.rig_file import read_rig
from daq.samples import sample_dtype
from daq.session_settings import SessionSettings
from daq.sources import ReplaySource
from simulators.simulation import simulate
from tui.commands.demo import demo_rig_file
from tui.headless import run_headless

SPEED = 60.0


@pytest.fixture(scope="module")
def session_of_two(tmp_path_factory):
    """Two simulated pulls through a running session; what was simulated, seen and kept."""
    simulation = simulate("hardwood-withdrawal", seed=3, pulls=2)
    samples = np.zeros(simulation.samples, dtype=sample_dtype(2))
    samples["index"] = np.arange(simulation.samples)
    samples["board_us"] = simulation.board_us
    samples["counts"] = simulation.counts
    rig = read_rig(demo_rig_file())
    session = Acquisition(
        rig,
        Calibration.from_rig(rig),
        lambda: ReplaySource(samples, simulation.time_s, SPEED),
        folder=tmp_path_factory.mktemp("pulls"),
        settings=SessionSettings(auto_zero=True, specimen={"label": "A-01"}),
    )
    session.start()
    document, fault = run_headless(session, 2, None)
    assert fault is None
    return simulation, session, document


def test_each_pull_is_a_file_that_agrees_with_the_truth(session_of_two):
    """Maximum within 1 % of the force at the specimen, kind as simulated."""
    simulation, session, _ = session_of_two
    results = load_results(session.saved)
    assert len(results) == 2
    for result, true in zip(results, simulation.truth.pulls, strict=True):
        assert result.max_force_n == pytest.approx(true.max_force_n, rel=0.01)
        assert result.time_to_max_s == pytest.approx(true.time_to_max_s, abs=0.5)
        assert result.kind.value == true.kind


def test_the_counts_in_the_file_are_the_counts_of_the_board(session_of_two):
    """Bit for bit, without a hole, from before the first load on."""
    simulation, session, _ = session_of_two
    for path in session.saved:
        with h5py.File(path) as file:
            index = file["entry/raw/index"][:].astype(int)
            counts = file["entry/raw/counts"][:]
        assert np.array_equal(np.diff(index), np.ones(len(index) - 1))
        assert np.array_equal(counts, simulation.counts[index])


def test_screen_file_and_report_show_one_maximum(session_of_two):
    """The session's own maximum, the file's, and the reduced one are the same number."""
    _, session, _ = session_of_two
    results = load_results(session.saved)
    for summary, result, path in zip(session.summaries, results, session.saved, strict=True):
        with h5py.File(path) as file:
            derived = float(np.max(file["entry/force/at_specimen_n"][:]))
        assert summary.peak.force_n == pytest.approx(result.max_force_n, rel=1e-12)
        assert derived == pytest.approx(result.max_force_n, rel=1e-12)


def test_the_chain_is_told_with_both_forces(session_of_two):
    """Counts, at the cells, ratio, at the specimen."""
    _, session, _ = session_of_two
    for result in load_results(session.saved):
        assert "N at the cells x 2.000 =" in result.chain
        assert "N at the specimen" in result.chain


def test_a_replay_sees_what_the_session_saw(session_of_two):
    """The same chain from the file: the command's maximum is the recorded one."""
    _, session, _ = session_of_two
    command = [sys.executable, "-P", "-m", "tui", "replay", str(session.saved[0])]
    done = subprocess.run(
        [*command, "--speed", "100", "--json"], capture_output=True, text=True, check=True
    )
    seen = json.loads(done.stdout)
    assert seen["max_force_n"] == pytest.approx(session.summaries[0].peak.force_n, rel=1e-9)
    assert seen["samples"] == load_results(session.saved[:1])[0].extra["samples"]
