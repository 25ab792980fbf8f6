"""``kill -9`` in mid-pull: the file opens, says it was cut short, holds what was flushed."""

import json
import signal
import subprocess
import sys
import time

import h5py
import pytest

from simulators.serving import BoardOrder, serve
from tui.commands.demo import demo_rig_file

PULLSTAND = [sys.executable, "-P", "-m", "tui"]
SPEED = 30.0
DEADLINE_S = 30.0

pytestmark = pytest.mark.slow


def wait_for_rows(folder, rows: int):
    """Wait until a recording in ``folder`` has grown past a size that so many rows need."""
    deadline = time.monotonic() + DEADLINE_S
    while time.monotonic() < deadline:
        for path in folder.glob("*.h5"):
            if path.stat().st_size > rows * 30:
                return path
        time.sleep(0.02)
    raise AssertionError("no recording grew")


def test_a_killed_pull_leaves_a_file_that_is_reduced_and_marked(tmp_path):
    """reduce reads it, flags it; repair tells what is there; plain h5py opens it."""
    with serve(BoardOrder("hardwood-withdrawal", seed=4, speed=SPEED)) as board:
        process = subprocess.Popen(
            [
                *(*PULLSTAND, "pull", "--rig", str(demo_rig_file()), "--port", board.port),
                *("--out", str(tmp_path), "--headless", "--pulls", "1"),
            ],
            stdout=subprocess.DEVNULL,
        )
        path = wait_for_rows(tmp_path, 3000)
        process.send_signal(signal.SIGKILL)
        process.wait(10)
    with h5py.File(path) as file:
        rows = len(file["entry/raw/counts"])
    assert rows > 1000
    done = subprocess.run(
        [*PULLSTAND, "reduce", str(path), "--json"], capture_output=True, text=True, check=True
    )
    (result,) = json.loads(done.stdout)
    assert "cut short" in result["flags"]
    assert result["max_force_n"] > 100
    done = subprocess.run(
        [*PULLSTAND, "repair", str(path), "--json"], capture_output=True, text=True, check=True
    )
    report = json.loads(done.stdout)
    assert 0 < report["recovered_samples"] <= rows
    assert report["lost_estimate_s"] is not None
