"""A short day of pulls, idling and faults: all pulls found, nothing grows, the clocks agree.

The long one (8 hours) is a benchmark, `benchmarks/soak.py`.
"""

import pytest
from long_day import SCENARIOS, live_through

pytest.importorskip("resource")


@pytest.mark.slow
def test_a_short_day(tmp_path):
    day = live_through(tmp_path, rounds=1)
    assert day.files == len(SCENARIOS)
    assert day.maxima_n == pytest.approx(day.true_maxima_n, rel=0.01)
    assert day.lines_lost > 20
    assert day.lines_spoilt > 10
    assert day.worst_rate < 5.0
    assert day.live_drift_s < 1e-3
    assert day.handles[-1] < 64
