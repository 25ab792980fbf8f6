"""kill -9 while changes are added: the recording stands as it was or with the change, whole."""

import random
import subprocess
import sys
import time

import pytest
from record_writer_child import HEADER, block

from daq.record import header as headers
from daq.record.pull_file import PullFile
from daq.record.reader import read_recording

CHILD = """
import sys
from pathlib import Path
import numpy as np
from daq.record.history import add_history
for number in range(10_000):
    add_history(Path(sys.argv[1]), {"number": number}, "a change", {"x_n": np.zeros(5000)})
    print(number, flush=True)
"""

pytestmark = pytest.mark.slow


@pytest.mark.parametrize("seed", range(3))
def test_killed_while_a_change_is_added(tmp_path, seed):
    pull = PullFile.create(tmp_path, headers.from_json(HEADER.read_text(encoding="utf-8")), 2)
    pull.append(block(0, 3000))
    path = pull.finish({"max_force_n": 1.0}, None, None)
    told = tmp_path / "told.txt"
    command = [sys.executable, "-c", CHILD, str(path)]
    with told.open("wb") as out, subprocess.Popen(command, stdout=out) as child:
        deadline = time.monotonic() + 30
        while not told.stat().st_size and time.monotonic() < deadline:
            time.sleep(0.001)
        time.sleep(random.Random(seed).uniform(0, 0.2))
        child.kill()

    recording = read_recording(path)

    added = len(told.read_text().split())
    assert recording.complete
    assert len(recording.samples) == 3000
    assert len(recording.history) in (added, added + 1)
    assert [change.change["number"] for change in recording.history] == list(
        range(len(recording.history))
    )
