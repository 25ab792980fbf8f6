"""kill -9 at random moments: every file opens plainly and loses at most the last batch.

A small series; `benchmarks/kills.py` runs the large one.
"""

import pytest
from kill_series import kill_series

pytestmark = pytest.mark.slow


def test_killed_while_samples_come(tmp_path):
    for kill in kill_series(tmp_path, kills=3, rate=93, seed=11, up_to_s=0.9):
        assert kill.lost_s <= 0.25
        assert kill.damaged == 0
        assert not kill.complete


def test_killed_while_files_are_made_and_finished(tmp_path):
    for kill in kill_series(tmp_path, kills=4, rate=0, seed=12, finish_after=0.05, up_to_s=0.4):
        assert kill.given - kill.found <= 50  # one block: here every block is committed
        assert kill.damaged == 0
