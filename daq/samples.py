"""What a sample is: one row of counts as the board sent it, with two times and its marks."""

from dataclasses import dataclass
from enum import IntFlag

import numpy as np
import numpy.typing as npt

COUNTS_MIN = -(1 << 23)
COUNTS_MAX = (1 << 23) - 1

FloatArray = npt.NDArray[np.float64]
CountArray = npt.NDArray[np.int32]


class Flag(IntFlag):
    """Marks a sample carries from wire to report. The values are part of the file format."""

    SATURATED = 1 << 0  # a converter stood at an end value: the force is at least this
    GAP = 1 << 1  # samples were lost just before this one
    RESTART = 1 << 2  # the board's clock started again just before this one
    SPIKE = 1 << 3  # lone reading without a recovery shape: never the maximum
    SUSPECT = 1 << 4  # a number, but not a believable one (garbled digit, factor-2 jump)
    STUCK = 1 << 5  # the same counts for too long
    EXTRAPOLATED = 1 << 6  # beyond the range the calibration verified


#: Flags that bar a sample from being the maximum of a pull.
NOT_A_MAXIMUM = Flag.SATURATED | Flag.SPIKE | Flag.SUSPECT


def sample_dtype(cells: int) -> np.dtype[np.void]:
    """Return the structured type of a sample of ``cells`` channels.

    ``index`` counts good samples since the port was opened; ``board_us`` is the board's clock in
    microseconds, unwrapped and continued over restarts (0 throughout where the line carries none);
    ``arrival_ns`` is the host's monotonic clock when the bytes were read; ``counts`` are raw.
    """
    return np.dtype(
        [
            ("index", "<u8"),
            ("board_us", "<u8"),
            ("arrival_ns", "<i8"),
            ("counts", "<i4", (cells,)),
            ("flags", "<u2"),
        ]
    )


def no_samples(cells: int) -> np.ndarray:
    """Return an empty block of samples of ``cells`` channels."""
    return np.empty(0, dtype=sample_dtype(cells))


@dataclass(frozen=True, slots=True)
class Chunk:
    """Bytes as one read gave them, stamped with the host's monotonic clock (may be empty)."""

    data: bytes
    arrival_ns: int
