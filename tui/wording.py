"""From a reading to the exact words and digits on the screen. Pure; newtons in, text out."""

import math
from dataclasses import dataclass, replace
from enum import StrEnum

from daq.live_reading import CellReading, LiveReading, Phase, Recording
from daq.units import FORCE_DECIMALS, force_in, format_force
from tui.pace import Pace, Wanted

#: Units a person may choose, in the order the key goes round.
UNITS = ("kN", "N", "kgf", "lbf")

CAUTION = "Nobody in line with beam end, hook axis or tether. Helper behind the shield."
NOTICE_ONLY = "The stop is a notice, not a safety function: it cannot hold the crank."
SESSION_CAUTIONS = (
    "Eye and ear protection on; you know how you will notice the stop.",
    "Shield between face and beam; heavy blanket over the specimen.",
    "Tether on the beam AND on the hook, short, slack only for normal travel.",
    "Nobody in line with beam end, hook axis or tether. Crank from the side.",
    "Never reach in, lean over, hammer the hook or walk away while it is loaded.",
    "Home-built rig: its limits are yours. Local workshop rules come first.",
    NOTICE_ONLY,
)
UNEVEN_SHARE = 0.65
NEAR_PART = 0.5  # of the way from warn to stop: the words grow more urgent


OVER = (Phase.PARTED, Phase.EASED, Phase.SLACK)  # the pull is over, hands want to reach in


class Screen(StrEnum):
    """What the whole screen says."""

    NUMBER = "number"
    STOP = "stop"
    UNKNOWN = "unknown"
    LOADED = "loaded"  # parted but still loaded: do not reach in


def screen_of(reading: LiveReading) -> Screen:
    """Return what the whole screen must say; a number that is not live outranks all."""
    if not reading.live:
        return Screen.UNKNOWN
    if reading.trip is not None:
        return Screen.STOP
    if reading.still_loaded and reading.phase in OVER:
        return Screen.LOADED
    return Screen.NUMBER


STALE_S = 1.0  # a reading older than this is no longer shown, whoever stopped making them


def as_seen(reading: LiveReading, now_ns: int, ended_because: str | None) -> LiveReading:
    """Return the reading as it may be shown: one that is too old is not live any more."""
    age_s = (now_ns - reading.host_ns) / 1e9
    if not reading.live or age_s < STALE_S:
        return reading
    return unknown(reading, ended_because or f"no reading for {age_s:.0f} s")


def unknown(reading: LiveReading, because: str) -> LiveReading:
    """Return the reading without its force, and why."""
    return replace(
        reading,
        live=False,
        unknown_because=because,
        force_n=math.nan,
        at_cells_n=math.nan,
        climb_n_per_s=math.nan,
    )


def digits(force_n: float, unit: str) -> str:
    """Return a force in digits of ``unit``; ``?`` where it is not a number."""
    return format_force(force_n, unit, with_unit=False) if math.isfinite(force_n) else "?"


def with_unit(force_n: float, unit: str) -> str:
    """Return a force in digits, with its unit."""
    return f"{digits(force_n, unit)} {unit}"


def widest_digits(stop_n: float, unit: str) -> str:
    """Return the widest digits a pull up to the stop may need, so that numerals never jump."""
    top = digits(max(abs(stop_n), 1.0) * 1.05, unit)
    return "-" + "".join("0" if sign.isdigit() else sign for sign in top)


def clock(seconds: float) -> str:
    """Return minutes and seconds."""
    if not math.isfinite(seconds):
        return "-:--"
    whole = max(0, int(seconds))
    return f"{whole // 60}:{whole % 60:02d}"


def room(reading: LiveReading, unit: str) -> str:
    """Return the room left to the stop in words."""
    if not reading.live or not math.isfinite(reading.room_n):
        return "room left unknown"
    if reading.room_n <= 0:
        return f"OVER THE STOP by {with_unit(-reading.room_n, unit)}"
    return f"room left {with_unit(reading.room_n, unit)}"


def room_state(reading: LiveReading) -> str:
    """Return a word for the room left: free, near, close or gone."""
    if not reading.live or not math.isfinite(reading.force_n):
        return "unknown"
    if reading.force_n >= reading.stop_n:
        return "gone"
    if reading.force_n < reading.warn_n:
        return "free"
    close = reading.warn_n + NEAR_PART * (reading.stop_n - reading.warn_n)
    return "close" if reading.force_n >= close else "near"


PHASES = {
    Phase.SLACK: "slack",
    Phase.RISING: "rising",
    Phase.RESTING: "resting",
    Phase.FALLING: "falling",
    Phase.PARTED: "parted",
    Phase.EASED: "eased whole",
}


def phase(reading: LiveReading) -> str:
    """Return pull number, phase and elapsed time."""
    word = PHASES[reading.phase] if reading.live else "unknown"
    if reading.pull_number == 0:
        return f"no pull yet · {word}"
    if not math.isfinite(reading.pull_elapsed_s):
        return f"pull {reading.pull_number} · {word}"
    return f"pull {reading.pull_number} · {word} · {clock(reading.pull_elapsed_s)}"


NEAR_WORDS = {"near": "NEAR", "close": "NEAR!!"}


def first(reading: LiveReading, target: Pace, unit: str) -> tuple[str, str]:
    """Return caption and word for the crank: near the stop that outranks pace and phase."""
    state = room_state(reading)
    if state in ("near", "close") and reading.phase not in OVER:
        return f"to the stop: {with_unit(reading.room_n, unit)}", NEAR_WORDS[state]
    word = target.word or PHASES[reading.phase].split()[0]
    return climb(reading, target, unit), word.upper()


def third(reading: LiveReading) -> tuple[str, str]:
    """Return caption and word beside the maximum: the label before, the time in, what is next."""
    label = str(reading.specimen.get("label", ""))
    if reading.phase is Phase.SLACK and label:
        return "on the rig now", label
    if reading.phase in (Phase.PARTED, Phase.EASED) and not reading.still_loaded:
        return (
            f"pull {reading.pull_number} {PHASES[reading.phase]}, next:",
            reading.next_label or "-",
        )
    return phase(reading), clock(reading.pull_elapsed_s)


def specimen(reading: LiveReading) -> str:
    """Return what is on the rig, label first."""
    held = dict(reading.specimen)
    label = str(held.pop("label", "") or "specimen not named")
    rest = [str(held[key]) for key in ("series", "species", "fastener") if held.get(key)]
    if held.get("pilot_mm"):
        rest.append(f"pilot {held['pilot_mm']} mm")
    return " · ".join([label, *rest[:3]])


def chain(reading: LiveReading, unit: str) -> str:
    """Return the sum behind the number, both forces named."""
    if not reading.live:
        return "at the cells ? × ratio = at the specimen ?"
    at_cells = f"{force_in(reading.at_cells_n, unit):.{FORCE_DECIMALS[unit] + 1}f} {unit}"
    return (
        f"{at_cells} at the cells × {reading.ratio:.3f}"
        f" = {with_unit(reading.force_n, unit)} at the specimen"
    )


def cell(reading: CellReading, unit: str) -> str:
    """Return one cell's force, share and own room."""
    share = f"{100 * reading.share:.0f} %" if math.isfinite(reading.share) else "- %"
    if uneven(reading):
        share += " UNEVEN"
    left = reading.capacity_n - max(reading.force_n, 0.0)
    return f"{reading.name} {share}, {with_unit(reading.force_n, unit)}, {cell_room(left, unit)}"


def uneven(reading: CellReading) -> bool:
    """Return whether a cell carries too much of the sum: 65/35 of a pair (common practice)."""
    return math.isfinite(reading.share) and reading.share >= UNEVEN_SHARE


def cell_room(left_n: float, unit: str) -> str:
    """Return a cell's own room in words."""
    if not math.isfinite(left_n):
        return "room unknown"
    return f"{with_unit(left_n, unit)} left" if left_n > 0 else "OVER ITS CAPACITY"


def climb(reading: LiveReading, target: Pace, unit: str) -> str:
    """Return the climb now; while the pace is judged that so far, and the one to aim at."""
    per_s = f"{unit}/min"
    if not math.isfinite(target.target_n_per_s):
        now = "?" if not reading.live else _per_minute(reading.climb_n_per_s, unit)
        return f"climb {now} {per_s}"
    so_far = _per_minute(reading.force_n / reading.pull_elapsed_s, unit)
    return f"so far {so_far} aim {_per_minute(target.target_n_per_s, unit)} {per_s}"


def _per_minute(climb_n_per_s: float, unit: str) -> str:
    if not math.isfinite(climb_n_per_s):
        return "?"
    decimals = max(0, FORCE_DECIMALS[unit] - 1)
    text = f"{force_in(climb_n_per_s * 60, unit):.{decimals}f}"
    return text.removeprefix("-") if float(text) == 0 else text


def wanted(wish: Wanted, unit: str) -> str:
    """Return in words what the pace is judged by."""
    if wish.speed_mm_per_min is not None:
        return f"pace by speed: {wish.speed_mm_per_min:.2f} mm/min at the hook"
    if wish.expected_n is None:
        return "no maximum expected: the pace is not judged"
    window = f"{wish.time_s:.0f} s, give or take {wish.within_s:.0f} s"
    return f"pace: {with_unit(wish.expected_n, unit)} after {window}"


def recording(reading: LiveReading) -> str:
    """Return what the recorder does."""
    state = reading.recording
    return {
        Recording.OFF: "not recording",
        Recording.ARMED: "armed",
        Recording.WRITING: "recording",
        Recording.SAVED: "saved",
        Recording.FAULT: "NOT RECORDING",
    }[state.state]


def disk(free_bytes: int | None) -> str:
    """Return the room on the disk."""
    if free_bytes is None:
        return "disk ?"
    if free_bytes < 1_000_000_000:
        return f"disk {free_bytes // 1_000_000} MB left"
    return f"disk {free_bytes / 1e9:.0f} GB left"


def bad_lines(reading: LiveReading) -> str:
    """Return the count of refused lines, and of gaps, by kind."""
    total = sum(reading.bad_lines.values())
    kinds = ", ".join(f"{n} {kind}" for kind, n in reading.bad_lines.items() if n)
    lines = _count(total, "bad line") + (f" ({kinds})" if kinds else "")
    lost = f" ({_count(reading.lost_samples, 'sample')} lost)" if reading.lost_samples else ""
    return f"{lines} · {_count(reading.gaps, 'gap')}{lost}"


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


@dataclass(frozen=True, slots=True)
class Alarm:
    """Big words, and the lines below them."""

    words: tuple[str, ...]
    lines: tuple[str, ...]


def alarm(reading: LiveReading, unit: str) -> Alarm:
    """Return the words of the whole screen when the plain number is not enough."""
    state = screen_of(reading)
    if state is Screen.UNKNOWN:
        return Alarm(("FORCE", "UNKNOWN"), _unknown_lines(reading))
    if state is Screen.STOP and reading.trip is not None:
        if reading.phase is Phase.SLACK:
            return Alarm(("STOP",), ("PRESS A TO GO ON", reading.trip.message))
        then = "wind back to slack, then press a"
        return Alarm(("STOP",), ("WIND BACK", reading.trip.message, then))
    if state is Screen.LOADED:
        left = f"Still loaded: {with_unit(reading.force_n, unit)} - do not reach in"
        return Alarm(("DO NOT REACH IN",), (left, "Wind back to slack first."))
    return Alarm((), ())


def _unknown_lines(reading: LiveReading) -> tuple[str, ...]:
    because = reading.unknown_because or "no reason given"
    if (
        reading.samples
        and not reading.zeroed
        and reading.trip is None
        and (reading.phase is Phase.SLACK)
    ):
        return ("PRESS Z AT SLACK", because, "do not crank before; nobody touches the rig")
    lines = ["DO NOT CRANK", because]
    if not reading.samples and not reading.zeroed:
        lines.append("plug the board in: it is looked for; or l sets the link up")
    elif "went away" in because:
        if reading.still_loaded:
            lines.append("IT MAY STILL BE LOADED: do not reach in, wind back to slack by the crank")
        lines.append("plug it in again: it is found by itself; then a new zero")
    elif not reading.zeroed and reading.phase is Phase.SLACK:
        lines.append("z takes the zero, once the hook is slack and nobody touches the rig")
    if reading.trip is not None and reading.trip.message != because:
        lines.append(f"stop latched: {reading.trip.message}")
    elif reading.trip is not None:
        lines.append("the stop is latched: a releases it once the force is known and low")
    return tuple(lines)
