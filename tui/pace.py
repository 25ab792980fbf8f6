"""Is the crank turned too slowly or too fast, for a time to the maximum or for a speed?"""

import math
from dataclasses import dataclass, replace

from daq.faults import InputFault
from daq.live_reading import LiveReading, Phase
from daq.rig.rig import Rig
from daq.units import parse_force_n, parse_length_mm, parse_time_s

CRANKED = (Phase.RISING, Phase.RESTING)
#: Time to the maximum of EN 1382: 90 s, give or take 30 s (from memory).
TIME_S, WITHIN_S = 90.0, 30.0
#: Tolerance of a speed such as the 0.10 in/min of ASTM D1761 (from memory).
SPEED_WITHIN = 0.25
SETTLING_PART = 0.05  # below this part of the expected maximum (or stop), slack and toe rule
STROKES_PER_TURN = 4  # a quarter turn, then the hand takes the crank anew


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a person wants of the crank: a maximum after a time, or a speed at the hook.

    ``expected_n`` is the maximum expected at the specimen (None: not said); ``speed_mm_per_min``
    (None: by time) counts with ``stiffness_n_per_mm`` of everything elastic at the hook.
    ``stroke_n`` is the specimen force one stroke of the crank adds (None: no tick to crank by).
    """

    expected_n: float | None = None
    time_s: float = TIME_S
    within_s: float = WITHIN_S
    speed_mm_per_min: float | None = None
    stiffness_n_per_mm: float | None = None
    stroke_n: float | None = None


@dataclass(frozen=True, slots=True)
class Pace:
    """The word for the crank ("slower", "good", "faster" or ""), and the climb to aim at (N/s)."""

    word: str
    target_n_per_s: float


UNKNOWN = Pace("", math.nan)


def pace(reading: LiveReading, wanted: Wanted) -> Pace:
    """Return the pace by the whole pull so far, so that strokes and rests of a crank even out."""
    if not reading.live or reading.phase not in CRANKED or reading.pull_elapsed_s <= 0:
        return UNKNOWN
    if wanted.speed_mm_per_min is not None and wanted.stiffness_n_per_mm is not None:
        return _by_speed(reading, wanted.speed_mm_per_min / 60 * wanted.stiffness_n_per_mm)
    if wanted.expected_n is not None:
        return _by_time(reading, wanted.expected_n, wanted)
    return UNKNOWN


def _by_speed(reading: LiveReading, target_n_per_s: float) -> Pace:
    if reading.force_n < SETTLING_PART * reading.stop_n:
        return Pace("", target_n_per_s)
    part = reading.force_n / reading.pull_elapsed_s / target_n_per_s
    return Pace(_word(part, 1 + SPEED_WITHIN, 1 - SPEED_WITHIN), target_n_per_s)


def _by_time(reading: LiveReading, expected_n: float, wanted: Wanted) -> Pace:
    if reading.force_n < SETTLING_PART * expected_n:
        return Pace("", expected_n / wanted.time_s)
    left_s = max(wanted.time_s - reading.pull_elapsed_s, wanted.within_s / 3)
    missing_n = expected_n - reading.force_n
    target = missing_n / left_s if missing_n > 0 else math.nan
    reached_s = reading.pull_elapsed_s * max(expected_n / reading.force_n, 1.0)
    soonest, latest = wanted.time_s - wanted.within_s, wanted.time_s + wanted.within_s
    return Pace(_word(1 / reached_s, 1 / soonest, 1 / latest), target)


def _word(speed: float, fastest: float, slowest: float) -> str:
    """Return what the crank should do."""
    if speed > fastest:
        return "slower"
    return "faster" if speed < slowest else "good"


def wanted_on(rig: Rig, expected_n: float | None = None) -> Wanted:
    """Return what is wanted on a rig, with what one stroke of its jack adds to the specimen force.

    The hook travels the jack's lead over the lever ratio per turn; stiffness is that at the hook.
    """
    stiffness = rig.stiffness_n_per_mm
    if stiffness is None:
        return Wanted(expected_n)
    travel_mm = rig.jack.lead_mm / STROKES_PER_TURN / rig.lever.ratio
    return Wanted(expected_n, stiffness_n_per_mm=stiffness, stroke_n=travel_mm * stiffness)


def read_expected(text: str | None) -> float | None:
    """Return the expected maximum (N) of an option; None where it was not given.

    Raises InputFault.
    """
    if text is None:
        return None
    try:
        force_n = parse_force_n(text)
    except ValueError as error:
        raise InputFault(f"--expect: {error}") from None
    if force_n <= 0:
        raise InputFault(f"--expect {text}: a force above nothing is meant.")
    return force_n


def read_wanted(text: str, before: Wanted) -> Wanted:
    """Return what is wanted from text such as "4.5 kN", "4.5 kN in 60 s" or "0.10 in/min".

    Empty text: the pace is not judged. Raises ValueError with a sentence.
    """
    text = text.strip()
    if text.endswith("/min"):
        return _with_speed(parse_length_mm(text.removesuffix("/min")), before)
    force, _, time = text.partition(" in ")
    expected_n = parse_force_n(force) if force else None
    time_s = parse_time_s(time) if time else TIME_S
    if (expected_n is not None and expected_n <= 0) or time_s <= 0:
        raise ValueError("force and time must be more than nothing")
    return replace(
        before,
        expected_n=expected_n,
        time_s=time_s,
        within_s=time_s * WITHIN_S / TIME_S,
        speed_mm_per_min=None,
    )


def _with_speed(speed_mm_per_min: float, before: Wanted) -> Wanted:
    if before.stiffness_n_per_mm is None:
        raise ValueError(
            "a speed needs the rig's stiffness, which its file does not give; "
            'write a force and a time, such as "4.5 kN in 90 s"'
        )
    if speed_mm_per_min <= 0:
        raise ValueError("the speed must be more than nothing")
    return replace(before, speed_mm_per_min=speed_mm_per_min)
