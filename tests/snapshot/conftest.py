"""A frozen session for the console: readings for every state, a trace that needs no clock."""

import time
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
import pytest

from daq.live_reading import (
    CellReading,
    LiveReading,
    Phase,
    Recording,
    RecordingState,
    TraceBlock,
    Trip,
)
from daq.samples import Flag
from tui.session import empty_block

STOP_N, WARN_N, RATIO = 6200.0, 5200.0, 2.004


def reading_at(force_n: float = 2310.0, **changes: object) -> LiveReading:
    """Return a live reading of an invented pull (Ossel Brook Workshop) at a specimen force."""
    at_cells = force_n / RATIO
    base = LiveReading(
        host_ns=0,
        live=True,
        unknown_because="",
        force_n=force_n,
        at_cells_n=at_cells,
        ratio=RATIO,
        cells=(
            CellReading("left", 0.57 * at_cells, 1961.33, 0.57),
            CellReading("right", 0.43 * at_cells, 1961.33, 0.43),
        ),
        climb_n_per_s=47.0,
        maximum_n=max(force_n, 2352.0),
        median3_maximum_n=max(force_n, 2350.0),
        phase=Phase.RISING,
        pull_number=9,
        pull_elapsed_s=42.0,
        stop_n=STOP_N,
        warn_n=WARN_N,
        trip=None,
        still_loaded=False,
        extrapolated=False,
        zeroed=True,
        zero_note="at 09:14 from 186 quiet samples",
        samples=4000,
        samples_per_s=93.1,
        bad_lines={},
        recording=RecordingState(Recording.WRITING, "D-07.h5", "", 48_000_000_000),
        specimen={"label": "D-07", "series": "inserts", "species": "European ash", "pilot_mm": 8.5},
        next_label="A-02",
    )
    return replace(base, **changes)  # type: ignore[arg-type]


STATES: dict[str, LiveReading] = {
    "slack": reading_at(
        12.0,
        phase=Phase.SLACK,
        pull_number=0,
        pull_elapsed_s=0.0,
        climb_n_per_s=0.0,
        maximum_n=float("nan"),
        recording=RecordingState(Recording.ARMED, "", "", 48_000_000_000),
    ),
    "rising": reading_at(),
    "resting": reading_at(2290.0, phase=Phase.RESTING, climb_n_per_s=-4.0),
    "near": reading_at(5410.0, pull_elapsed_s=101.0, extrapolated=True),
    "close": reading_at(5980.0, pull_elapsed_s=118.0, extrapolated=True),
    "stop": reading_at(
        6244.0,
        pull_elapsed_s=124.0,
        trip=Trip(
            "specimen force", 8123, 6244.0, "specimen force 6.24 kN is over the stop 6.20 kN"
        ),
    ),
    "unknown": reading_at(
        float("nan"),
        live=False,
        at_cells_n=float("nan"),
        climb_n_per_s=float("nan"),
        unknown_because="no line from the board for 1.3 s",
        trip=Trip("silence", 8123, float("nan"), "no line from the board for 0.5 s"),
    ),
    "no-zero": reading_at(
        float("nan"),
        live=False,
        at_cells_n=float("nan"),
        maximum_n=float("nan"),
        phase=Phase.SLACK,
        pull_number=0,
        pull_elapsed_s=float("nan"),
        unknown_because="no zero taken: hook slack, hands off, then zero",
        zeroed=False,
        zero_note="",
        recording=RecordingState(Recording.ARMED, "", "", 48_000_000_000),
    ),
    "wound-back": reading_at(
        14.0,
        phase=Phase.SLACK,
        maximum_n=6244.0,
        pull_elapsed_s=float("nan"),
        trip=Trip("specimen force", 8123, 6244.0, "specimen force 6.24 kN is over the stop"),
    ),
    "falling": reading_at(3100.0, phase=Phase.FALLING, maximum_n=4378.0, climb_n_per_s=-210.0),
    "loaded": reading_at(
        912.0, phase=Phase.PARTED, maximum_n=4378.0, still_loaded=True, pull_elapsed_s=88.0
    ),
    "parted": reading_at(
        31.0,
        phase=Phase.PARTED,
        maximum_n=4378.0,
        pull_elapsed_s=91.0,
        recording=RecordingState(Recording.SAVED, "D-07.h5", "", 48_000_000_000),
    ),
    "faults": reading_at(
        bad_lines={"short": 2, "checksum": 1},
        gaps=1,
        lost_samples=14,
        zeroed=False,
        zero_note="",
        recording=RecordingState(Recording.FAULT, "", "disk full: recording ended", 20_000_000),
        notices=("board restarted: take a new zero",),
    ),
}


def trace_to(force_n: float, seconds: float) -> TraceBlock:
    """Return a staircase up to a force: strokes of 1.5 s every 6 s, treads that sag."""
    t = np.arange(0.0, seconds, 1 / 93.1)
    stroke, within = np.divmod(t, 6.0)
    height = np.minimum(within / 1.5, 1.0) - 0.1 * np.clip(within - 1.5, 0, None) / 4.5
    force = force_n * (stroke + height) / (seconds / 6.0)
    flags = np.where(force > 4400.0, int(Flag.EXTRAPOLATED), 0).astype(np.uint16)
    return TraceBlock(t, force + 8.0 * np.sin(37.0 * t), flags)


@dataclass
class FakeSession:
    """Plays one frozen reading; writes down what it was asked."""

    reading: LiveReading
    trace: TraceBlock = field(default_factory=empty_block)
    asked: list[tuple[object, ...]] = field(default_factory=list)
    moving: bool = True
    refuse: Exception | None = None
    ended_because: str | None = None
    behind_s: float = 0.0  # how old the newest reading is

    def latest(self) -> LiveReading:
        if self.moving:
            self.reading = replace(self.reading, samples=self.reading.samples + 6)
        return replace(self.reading, host_ns=time.monotonic_ns() - int(1e9 * self.behind_s))

    def take_trace(self) -> TraceBlock:
        block, self.trace = self.trace, empty_block()
        return block

    def _note(self, *what: object) -> None:
        if self.refuse is not None:
            raise self.refuse
        self.asked.append(what)

    def zero(self) -> None:
        self._note("zero")

    def undo_zero(self) -> None:
        self._note("undo_zero")

    def acknowledge(self) -> None:
        self._note("acknowledge")

    def mark(self, text: str) -> None:
        self._note("mark", text)

    def discard(self, reason: str) -> None:
        self._note("discard", reason)

    def judge(self, mode: str, note: str) -> None:
        self._note("judge", mode, note)

    def set_specimen(self, specimen: Mapping[str, str | float]) -> None:
        self._note("set_specimen", dict(specimen))

    def keep_word(self, change, reason, file=None) -> None:
        self._note("keep_word", dict(change), file)

    def weigh(self, *, on: bool) -> None:
        self._note("weigh", on)

    def close(self) -> None:
        self._note("close")


def session_in(state: str) -> FakeSession:
    """Return a session that stands in a state."""
    reading = STATES[state]
    if reading.pull_number == 0:
        return FakeSession(reading)
    seconds = reading.pull_elapsed_s if reading.pull_elapsed_s > 0 else 120.0
    top = reading.maximum_n if reading.live else 2300.0
    return FakeSession(reading, trace_to(top, seconds), moving=state != "unknown")


@pytest.fixture
def in_state():
    return session_in


@pytest.fixture
def states():
    return STATES
