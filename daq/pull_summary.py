"""What the session itself says of a pull that ended; reduction judges it afresh."""

from dataclasses import dataclass

from daq.live_reading import Phase, Trip
from daq.watch.peak import Peak


@dataclass(frozen=True, slots=True)
class PullSummary:
    """A pull that ended."""

    number: int
    outcome: Phase
    peak: Peak
    time_to_max_s: float
    trip: Trip | None
    ended_because: str


def result_fields(summary: PullSummary, cracks: int) -> dict[str, str | float | int]:
    """Return what the live session found, as it is written into the file."""
    return {
        "outcome": summary.outcome.value,
        "maximum_n": summary.peak.force_n,
        "median3_maximum_n": summary.peak.median3_n,
        "maximum_index": summary.peak.index,
        "time_to_max_s": summary.time_to_max_s,
        "spikes": summary.peak.spikes,
        "cracks": cracks,
        "trip": "" if summary.trip is None else f"{summary.trip.cause}: {summary.trip.message}",
        "ended_because": summary.ended_because,
    }
