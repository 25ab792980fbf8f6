"""A live reading to vary."""

from dataclasses import replace

import pytest

from daq.live_reading import CellReading, LiveReading, Phase


@pytest.fixture
def reading_at():
    def make(force_n: float = 2310.0, **changes: object) -> LiveReading:
        base = LiveReading(
            host_ns=0,
            live=True,
            unknown_because="",
            force_n=force_n,
            at_cells_n=force_n / 2,
            ratio=2.0,
            cells=(CellReading("left", force_n / 4, 1961.33, 0.5),),
            climb_n_per_s=50.0,
            maximum_n=force_n,
            median3_maximum_n=force_n,
            phase=Phase.RISING,
            pull_number=1,
            pull_elapsed_s=42.0,
            stop_n=6200.0,
            warn_n=5200.0,
            trip=None,
            still_loaded=False,
            extrapolated=False,
            zeroed=True,
            zero_note="",
            samples=100,
            samples_per_s=93.0,
        )
        return replace(base, **changes)  # type: ignore[arg-type]

    return make
