"""What the console needs of a running session, and nothing more: the screen decides nothing."""

from collections.abc import Mapping
from pathlib import Path
from typing import Protocol

import numpy as np
import numpy.typing as npt

from daq.force.calibration import Calibration
from daq.live_reading import LiveReading, TraceBlock
from daq.rig.rig import Rig
from daq.samples import CountArray, FloatArray

FlagArray = npt.NDArray[np.uint16]


def empty_block() -> TraceBlock:
    """Return a block of no samples."""
    return TraceBlock(np.empty(0), np.empty(0), np.empty(0, np.uint16))


class Session(Protocol):
    """A rig as the console sees it. No call may wait for the line or the disk.

    A request that cannot be met raises ``daq.faults.Fault`` with a sentence, or appears later in
    ``LiveReading.notices``; the console shows either.
    """

    @property
    def ended_because(self) -> str | None:
        """Why the session stopped by itself; None while it runs."""
        ...

    def latest(self) -> LiveReading:
        """Return the newest reading."""
        ...

    def take_trace(self) -> TraceBlock:
        """Return the samples that came since the last call."""
        ...

    def zero(self) -> None:
        """Ask for a new zero; refused unless the force is quiet."""
        ...

    def undo_zero(self) -> None:
        """Go back to the zero before the last one."""
        ...

    def acknowledge(self) -> None:
        """Release the latched stop; refused while the force is not low."""
        ...

    def mark(self, text: str) -> None:
        """Mark this moment in the recording."""
        ...

    def discard(self, reason: str) -> None:
        """Call the last pull invalid (kept, with the reason); an empty reason takes that back."""
        ...

    def judge(self, mode: str, note: str) -> None:
        """Say how the last pull failed (one of ``MODES``); an empty mode takes that back."""
        ...

    def keep_word(self, change: Mapping[str, str], reason: str, file: Path | None = None) -> None:
        """Add a note, a photo's place, a mode ... to the last pull, or to the recording named."""
        ...

    def weigh(self, *, on: bool) -> None:
        """Begin or end a time of known weights: no pull begins, the guard goes on."""
        ...

    def recent_counts(self) -> tuple[CountArray, FloatArray]:
        """Return raw counts (n, cells) and seconds (n,) of the last seconds."""
        ...

    def use_rig(self, rig: Rig) -> None:
        """Go on with changed limits of the same rig, once slack."""
        ...

    def use_calibration(self, calibration: Calibration) -> None:
        """Go on with another calibration of the same cells, once slack."""
        ...

    def set_specimen(self, specimen: Mapping[str, str | float]) -> None:
        """Say what is on the rig now."""
        ...

    def close(self) -> None:
        """End the session: finish the file, let go of the port."""
        ...
