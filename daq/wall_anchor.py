"""The one meeting of the two clocks of a run: wall and monotonic, read together once.

Afterwards only the monotonic clock is asked, so a wall clock that is set back changes nothing.
"""

import time
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta


@dataclass(frozen=True, slots=True)
class WallAnchor:
    """A moment on both clocks: an aware time with UTC offset, and monotonic nanoseconds."""

    wall: datetime
    monotonic_ns: int

    @classmethod
    def now(cls) -> "WallAnchor":
        """Read both clocks."""
        return cls(datetime.now(UTC).astimezone(), time.monotonic_ns())

    def at(self, monotonic_ns: int) -> datetime:
        """Return the wall time of a monotonic moment of this run."""
        return self.wall + timedelta(microseconds=(monotonic_ns - self.monotonic_ns) / 1000)
