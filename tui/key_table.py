"""Every key of the console, once: the footer, the help and the bindings are drawn from it."""

from dataclasses import dataclass

from analysis.pull_result import MODES
from daq.live_reading import LiveReading, Phase
from tui.wording import Screen, screen_of

ALWAYS = "always"
LOADED_NOT = "while slack"
TRIPPED = "after a stop"
ENDED = "after a pull"
CAUTIONS = "before the first pull"


@dataclass(frozen=True, slots=True)
class Key:
    """One key: what the console calls it, what is pressed, what footer and help say, and when."""

    id: str
    key: str
    label: str
    help: str
    when: str = ALWAYS
    also: tuple[str, ...] = ()


KEYS: tuple[Key, ...] = (
    Key("acknowledge", "a", "acknowledge", "release the latched stop once wound back", TRIPPED),
    Key("cautions", "c", "cautions", "confirm the cautions", CAUTIONS),
    Key("zero", "z", "zero", "new zero: hook slack, hands off", LOADED_NOT),
    Key(
        "mark",
        "m",
        "mark",
        "mark this moment; any key not listed here does too",
        also=("space",),
    ),
    Key("discard", "d", "discard", "call the last pull invalid: kept, with a reason"),
    Key("note", "n", "note", "one line about the last pull", ENDED),
    Key("undo", "u", "undo", "take back the last mode, discard or zero"),
    Key("help", "h", "help", "this page, and back", also=("question_mark",)),
    Key("quit", "q", "quit", "end the session; asks first while loaded", also=("ctrl+c",)),
    Key("specimen", "s", "specimen", "say what is on the rig: label=D-07 pilot_mm=8.5"),
    Key("expect", "e", "expect", "maximum expected and time wanted, for the pace"),
    Key("unit", "k", "unit", "next unit: kN, N, kgf, lbf"),
    Key("sound", "b", "sound", "sounds off or on; the stop is always heard"),
    Key("theme", "t", "theme", "dark or light"),
)

MODE_KEYS = "1234567890w"
#: key -> how the pull failed; offered after a pull has ended.
MODE_OF_KEY = dict(zip(MODE_KEYS, MODES, strict=True))

#: key -> why a pull is invalid; a person may also type a reason.
DISCARD_REASONS = {
    "1": "grip slipped or bent",
    "2": "specimen slid or clamp lifted",
    "3": "screw stripped while driving",
    "4": "wood split while driving",
    "5": "touched or leaned on",
    "6": "wrong hole or label",
    "7": "zero not taken or lost",
    "8": "rig part moved",
}


def available(key: Key, reading: LiveReading, cautions_due: bool) -> bool:
    """Return whether a key has a use now (the footer shows it, and it works)."""
    if key.when == TRIPPED:
        return reading.trip is not None
    if key.when == CAUTIONS:
        return cautions_due and screen_of(reading) is Screen.NUMBER
    if key.when == LOADED_NOT:
        return reading.phase is Phase.SLACK
    if key.when == ENDED:
        return pull_ended(reading)
    return True


def pull_ended(reading: LiveReading) -> bool:
    """Return whether there is a pull to judge: one has been, and none is under way."""
    over = reading.phase in (Phase.PARTED, Phase.EASED, Phase.SLACK)
    return reading.pull_number > 0 and over


def shown_key(key: str) -> str:
    """Return a key as people call it."""
    return {"question_mark": "?", "ctrl+c": "Ctrl-C"}.get(key, key)
