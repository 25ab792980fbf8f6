"""The frozen snapshot a screen may look at: all it shows, none of it shared with a thread."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from daq.samples import FloatArray


class Phase(StrEnum):
    """Where a pull stands."""

    SLACK = "slack"  # below the start force
    RISING = "rising"
    RESTING = "resting"  # loaded, crank stopped
    FALLING = "falling"  # below the peak by the rule, not yet parted
    PARTED = "parted"  # failed
    EASED = "eased"  # wound back whole


class Recording(StrEnum):
    """What the recorder is doing."""

    OFF = "off"  # nothing is kept (no folder, or a replay)
    ARMED = "armed"  # the last 15 s are held, a pull will start by itself
    WRITING = "writing"
    SAVED = "saved"  # the last pull is on disk; armed again
    FAULT = "fault"  # not recording: words in RecordingState.message


@dataclass(frozen=True, slots=True)
class RecordingState:
    """The recorder's state, file and room left on its disk."""

    state: Recording = Recording.OFF
    file: str = ""
    message: str = ""
    disk_free_bytes: int | None = None


@dataclass(frozen=True, slots=True)
class Trip:
    """The guard tripped: why, where, in words. Latched until acknowledged at low force."""

    cause: str  # "specimen force", "cell force", "saturated", "silence", "channel missing",
    # "board restart", "queue full", "recorder fault"
    index: int  # of the sample that tripped it, or of the next one
    force_n: float  # at the specimen; NaN where the cause is not a force
    message: str


@dataclass(frozen=True, slots=True)
class CellReading:
    """One cell: its force, its capacity, and its part of the sum (NaN near zero load)."""

    name: str
    force_n: float
    capacity_n: float
    share: float


@dataclass(frozen=True, slots=True)
class LiveReading:
    """One look at the rig. Forces in N, times in s; NaN where ``live`` is False."""

    host_ns: int  # monotonic, when this was made
    live: bool  # False: the number must not be shown; ``unknown_because`` says why
    unknown_because: str
    force_n: float  # at the specimen
    at_cells_n: float  # sum of the cells; times ratio = force_n (unless calibrated at the specimen)
    ratio: float
    cells: tuple[CellReading, ...]
    climb_n_per_s: float  # over the last 2 s
    maximum_n: float  # largest unflagged sample of this pull (or of the last, when slack)
    median3_maximum_n: float
    phase: Phase
    pull_number: int  # 1 for the first pull of the session; 0 before it
    pull_elapsed_s: float
    stop_n: float
    warn_n: float
    trip: Trip | None
    still_loaded: bool  # parted, but above the safe force: do not reach in
    extrapolated: bool  # beyond what the calibration verified
    verified: bool = field(default=True, kw_only=True)  # whether weights stand behind the numbers
    zeroed: bool
    zero_note: str  # when and how the zero was taken, or why it was refused
    samples: int
    samples_per_s: float
    bad_lines: Mapping[str, int] = field(default_factory=dict)
    gaps: int = 0
    lost_samples: int = 0
    recording: RecordingState = RecordingState()
    specimen: Mapping[str, str | float] = field(default_factory=dict)  # what is on the rig now
    next_label: str = ""
    notices: tuple[str, ...] = ()  # newest last, at most 8: what a person should know

    @property
    def room_n(self) -> float:
        """Force left to the stop."""
        return self.stop_n - self.force_n


@dataclass(frozen=True, slots=True, eq=False)
class TraceBlock:
    """Samples for drawing: time (s, rising), specimen force (N, never NaN), flags; all ``(n,)``.

    A gap is a flag on the first sample after it. The blocks follow one another without overlap.
    """

    seconds: FloatArray
    force_n: FloatArray
    flags: npt.NDArray[np.uint16]
