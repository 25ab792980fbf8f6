"""The two clocks of a run, wall and monotonic, and their one meeting: read together once.

Afterwards only the monotonic clock is asked, so a wall clock that is set back changes nothing.
"""

import time
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Protocol


class Clock(Protocol):
    """What tells the time to whoever writes a file: the host, or a scenario told again."""

    def wall(self) -> datetime:
        """Return the wall time, with its UTC offset."""
        ...

    def monotonic_ns(self) -> int:
        """Return the monotonic clock."""
        ...


class HostClock:
    """This computer's clocks."""

    def wall(self) -> datetime:
        """Return the wall time, with its UTC offset."""
        return datetime.now(UTC).astimezone()

    def monotonic_ns(self) -> int:
        """Return the monotonic clock."""
        return time.monotonic_ns()


HOST_CLOCK = HostClock()


@dataclass(frozen=True, slots=True)
class WallAnchor:
    """A moment on both clocks: an aware time with UTC offset, and monotonic nanoseconds."""

    wall: datetime
    monotonic_ns: int

    @classmethod
    def now(cls) -> "WallAnchor":
        """Read both clocks."""
        return cls(HOST_CLOCK.wall(), HOST_CLOCK.monotonic_ns())

    def at(self, monotonic_ns: int) -> datetime:
        """Return the wall time of a monotonic moment of this run."""
        return self.wall + timedelta(microseconds=(monotonic_ns - self.monotonic_ns) / 1000)
