"""The check weight: does the rig still read what it read, and which pulls are in doubt if not."""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

#: How far a check weight may read off before the day is in doubt (common practice, no source).
TOLERANCE = 0.01


@dataclass(frozen=True, slots=True)
class Check:
    """One look at the check weight: when (s, any clock that pulls share), true and read force."""

    at_s: float
    expected_n: float
    indicated_n: float
    tolerance: float = TOLERANCE

    @property
    def error_rel(self) -> float:
        """Read over true, less one."""
        return self.indicated_n / self.expected_n - 1.0

    @property
    def passed(self) -> bool:
        """Whether the reading lies within the tolerance."""
        return abs(self.error_rel) <= self.tolerance

    @property
    def words(self) -> str:
        """The verdict in a sentence."""
        verdict = (
            "passed" if self.passed else "FAILED: pulls since the last good check are in doubt"
        )
        return (
            f"check weight {self.expected_n:.1f} N reads {self.indicated_n:.1f} N, "
            f"{100.0 * self.error_rel:+.2f} % (limit {100.0 * self.tolerance:g} %): {verdict}"
        )


def pulls_in_doubt(checks: Sequence[Check], pulls_s: Sequence[float]) -> tuple[int, ...]:
    """Return the indices of the pulls (times in s) that have a failed check beside them.

    A failed check casts doubt back to the last good one and on to the next: nobody knows when the
    rig went wrong. Pulls that nothing follows are in doubt only after a failed check.
    """
    ordered = sorted(checks, key=lambda check: check.at_s)
    times = [check.at_s for check in ordered]
    doubtful = []
    for index, at_s in enumerate(pulls_s):
        place = bisect_right(times, at_s)
        if any(not check.passed for check in ordered[max(place - 1, 0) : place + 1]):
            doubtful.append(index)
    return tuple(doubtful)
