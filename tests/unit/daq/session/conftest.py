"""A two-cell rig, and a session fed with drawn forces in virtual time."""

import numpy as np
import pytest

from daq.force.calibration import Calibration
from daq.pull_session import PullSession
from daq.rig.rig import Cell, Jack, Lever, Link, Rig, Stop
from daq.samples import sample_dtype
from daq.session_settings import SessionSettings
from daq.wire.decoded import Decoded, WireEvent

GAIN = 2000.0  # counts per newton at each cell
ZERO = (12_000, -5_000)
PERIOD_US = 10_000


def a_rig() -> Rig:
    """A 2:1 lever on two cells of 2 kN; stop at 6 kN."""
    return Rig(
        name="test rig",
        build="1",
        link=Link(fields=("time_us", "left", "right")),
        cells=(
            Cell("left", "left", 2000.0, counts_per_newton=GAIN),
            Cell("right", "right", 2000.0, counts_per_newton=GAIN),
        ),
        lever=Lever("end", 400.0, 200.0),
        stop=Stop(6000.0, 5000.0),
        jack=Jack(4.0),
    )


class Bench:
    """Feeds a session; keeps what it offers to the recorder."""

    def __init__(self, **settings):
        self.rig = a_rig()
        self.offered = []
        self.session = PullSession(
            self.rig,
            Calibration.from_rig(self.rig),
            self.offered.append,
            SessionSettings(**settings),
            has_board_clock=True,
        )
        self.index = 0
        self.trips = []

    @property
    def now_ns(self) -> int:
        """Virtual host time of the next sample."""
        return self.index * PERIOD_US * 1000

    def feed(self, force_n, *, chunk=5, flags=0, events: tuple[WireEvent, ...] = ()):
        """Feed specimen forces, shared equally; the events come with the first block."""
        force_n = np.asarray(force_n, dtype=float)
        for start in range(0, len(force_n), chunk):
            part = force_n[start : start + chunk]
            block = np.zeros(len(part), dtype=sample_dtype(2))
            block["index"] = np.arange(self.index, self.index + len(part))
            block["board_us"] = block["index"] * PERIOD_US
            block["arrival_ns"] = block["board_us"].astype(np.int64) * 1000
            each = np.round(part / 4 * GAIN).astype(int)
            wobble = np.where(block["index"].astype(int) % 2, 3, -3)
            block["counts"] = np.stack([each + ZERO[0] + wobble, each + ZERO[1] - wobble], axis=1)
            block["flags"] = flags
            self.index += len(part)
            self.take(Decoded(block, events if start == 0 else ()))

    def take(self, decoded: Decoded):
        """One step, as the reader does it."""
        trip = self.session.guard(decoded, self.now_ns)
        if trip is not None:
            self.trips.append(trip)
        return self.session.take(decoded, trip, self.now_ns)

    def silence(self, seconds: float):
        """An empty read after ``seconds``."""
        now_ns = self.now_ns + round(seconds * 1e9)
        decoded = Decoded(np.empty(0, dtype=sample_dtype(2)), ())
        trip = self.session.guard(decoded, now_ns)
        if trip is not None:
            self.trips.append(trip)
        self.session.take(decoded, trip, now_ns)
        return now_ns


@pytest.fixture
def bench():
    """A factory of benches."""
    return Bench
