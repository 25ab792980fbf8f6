"""Is the crank turned too slowly or too fast for the time wanted to the maximum?"""

from dataclasses import dataclass

from daq.live_reading import LiveReading, Phase

CRANKED = (Phase.RISING, Phase.RESTING)


@dataclass(frozen=True, slots=True)
class Wanted:
    """The maximum expected (N at the specimen; None: not said) and the time wanted to reach it.

    90 s, give or take 30 s, is the time to the maximum of EN 1382 (from memory).
    """

    expected_n: float | None = None
    time_s: float = 90.0
    within_s: float = 30.0
    stroke_n: float | None = None  # specimen force one stroke of the crank adds; None: unknown


@dataclass(frozen=True, slots=True)
class Pace:
    """The word for the crank, when the maximum would come at this pace, and the climb to aim at."""

    word: str  # "slower", "good", "faster"; "" where nothing can be said
    reached_s: float  # NaN where nothing can be said
    target_n_per_s: float


UNKNOWN = Pace("", float("nan"), float("nan"))
SETTLING_PART = 0.05  # below this part of the expected maximum, slack and toe rule the pace


def pace(reading: LiveReading, wanted: Wanted) -> Pace:
    """Return the pace by the whole pull so far, so that strokes and rests of a crank even out."""
    expected = wanted.expected_n
    if expected is None or not reading.live or reading.phase not in CRANKED:
        return UNKNOWN
    left_s = max(wanted.time_s - reading.pull_elapsed_s, wanted.within_s / 3)
    missing_n = expected - reading.force_n
    target = missing_n / left_s if missing_n > 0 else float("nan")
    if reading.force_n < SETTLING_PART * expected or reading.pull_elapsed_s <= 0:
        return Pace("", float("nan"), expected / wanted.time_s)
    reached_s = reading.pull_elapsed_s * max(expected / reading.force_n, 1.0)
    if reached_s < wanted.time_s - wanted.within_s:
        return Pace("slower", reached_s, target)
    word = "faster" if reached_s > wanted.time_s + wanted.within_s else "good"
    return Pace(word, reached_s, target)
