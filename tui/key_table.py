"""Every key of the console, once: the footer, the help and the bindings are drawn from it."""

from dataclasses import dataclass
from enum import StrEnum

from analysis.pull_result import MODES
from daq.live_reading import LiveReading, Phase
from tui.wording import Screen, screen_of


class At(StrEnum):
    """What the console looks at."""

    RIG = "rig"
    PRACTICE = "practice"  # a simulated rig that is cranked with keys
    REPLAY = "replay"


ALWAYS = "always"
LOADED_NOT = "while slack"
NOT_LOADED = "not under load"
TRIPPED = "after a stop"
ENDED = "after a pull"
CAUTIONS = "after the zero, once"
PULLED = "once a board is there, not in a replay"
REPLAYED = "in a replay"
PRACTISED = "in practice"


#: Keys that one kind of session has and the others never.
ONLY_AT = {REPLAYED: At.REPLAY, PRACTISED: At.PRACTICE}


@dataclass(frozen=True, slots=True)
class Key:
    """One key: what the console calls it, what is pressed, what footer and help say, and when.

    ``foot``: also shown in the footer of the live screen.
    """

    id: str
    key: str
    label: str
    help: str
    when: str = ALWAYS
    also: tuple[str, ...] = ()
    foot: bool = True


#: What is done at the rig; the first page of the help.
RIG_KEYS = (
    Key("acknowledge", "a", "acknowledge", "release the latched stop", TRIPPED),
    Key("cautions", "c", "cautions", "confirm the cautions", CAUTIONS),
    Key("help", "h", "help", "the keys, a second page, and back", also=("?",)),
    Key("turn", "up", "quarter turn", "crank a quarter turn", PRACTISED),
    Key("turn_back", "down", "turn back", "wind back a quarter turn", PRACTISED),
    Key("fresh", "g", "new specimen", "put a new specimen in, once wound back", PRACTISED),
    Key("pause", "space", "pause", "stand still, or go on", REPLAYED),
    Key("later", "right", "5 s on", "go on by 5 s", REPLAYED),
    Key("earlier", "left", "5 s back", "go back by 5 s", REPLAYED),
    Key("step", ".", "step", "go on by a tenth of a second, and stand", REPLAYED),
    Key("step_back", ",", "step back", "go back by a tenth of a second, and stand", REPLAYED),
    Key("speed_up", "up", "quicker", "twice the pace", REPLAYED),
    Key("slow_down", "down", "slower", "half the pace", REPLAYED),
    Key("start", "home", "start", "back to the start", REPLAYED),
    Key("zero", "z", "zero", "new zero: hook slack, hands off", LOADED_NOT),
    Key("mark", "m", "mark", "mark this moment; any key not listed too", PULLED,
        also=("space", "enter", "pagedown")),
    Key("discard", "d", "discard", "the last pull is invalid: kept, with reason", PULLED),
    Key("note", "n", "note", "one line about the pull", ENDED),
    Key("photo", "i", "photo", "where its photo is", ENDED),
    Key("undo", "u", "undo", "take back the last mode, discard or zero", PULLED),
    Key("specimen", "s", "specimen", "what is on the rig: label=D-07 ...", PULLED),
    Key("find", "f", "find", "find a command by its name", also=("/", "ctrl+p")),
    Key("quit", "q", "quit", "end the session; asks first while loaded", also=("ctrl+c",)),
)  # fmt: skip

#: Other screens, and how things are shown; the second page of the help.
SCREEN_KEYS = (
    Key("link", "l", "link", "ports, raw lines, a proposal", NOT_LOADED),
    Key("plan", "p", "plan", "which pulls remain", NOT_LOADED),
    Key("pulls", "v", "pulls", "dots, curves, words added", NOT_LOADED),
    Key("rig", "r", "rig check", "what it may carry; what if", NOT_LOADED),
    Key("weights", "w", "weights", "calibration and checks", NOT_LOADED),
    Key("zeros", "x", "zeros", "each cell at rest", NOT_LOADED),
    Key("settings", "o", "settings", "unit, theme, sounds, time", NOT_LOADED),
    Key("expect", "e", "expect", "maximum expected, time wanted: the pace"),
    Key("unit", "k", "unit", "next unit: kN, N, kgf, lbf", foot=False),
    Key("sound", "b", "sound", "sounds off or on; the stop is always heard", foot=False),
    Key("theme", "t", "theme", "dark or light", foot=False),
    Key("back", "escape", "back", "leave a question or a screen", foot=False),
)
KEYS = (*RIG_KEYS, *SCREEN_KEYS)

_UP = Key("up", "up", "up", "one line up", also=("pageup",))
_DOWN = Key("down", "down", "down", "one line down", also=("pagedown",))
BACK = SCREEN_KEYS[-1]

MODE_KEYS = "1234567890-"
#: key -> how the pull failed; offered after a pull has ended.
MODE_OF_KEY = dict(zip(MODE_KEYS, MODES, strict=True))
MODE_ENTRY = Key(
    "mode",
    f"{MODE_KEYS[0]}-{MODE_KEYS[-3]},{MODE_KEYS[-2]},{MODE_KEYS[-1]}",
    "mode",
    "how it ended, one key each",
    ENDED,
)

#: screen -> its own keys; they come before those above while it stands.
PAGE_KEYS: dict[str, tuple[Key, ...]] = {
    "plan": (_UP, _DOWN, Key("put_on", "enter", "put on", "this specimen is on the rig now")),
    "pulls": (
        _UP,
        _DOWN,
        Key("overlay", "enter", "lay over", "lay this curve over the others, or take it off"),
        MODE_ENTRY,
        Key("dots", "v", "dots or curves", "all pulls as dots by group, or the curves"),
        Key("group", "g", "group by", "group by the next key of the specimens"),
        Key("discard", "d", "discard", "call this pull invalid, or valid again"),
        Key("note", "n", "note", "one line about this pull"),
        Key("photo", "i", "photo", "where the photo of this pull is"),
    ),
    "rig": (
        _UP,
        _DOWN,
        Key("what_if", "e", "what if", "the same rig at another ratio"),
        Key("stop", "s", "stop force", "another stop, if the rig may carry it; kept in its file"),
    ),
    "weights": (
        Key("enter", "enter", "begin", "a calibration; later: take it as it is, where offered"),
        Key("ratio", "r", "ratio check", "one bucket at two places against the tape measure"),
        Key("check", "c", "check weight", "does a known weight still read what it did"),
        Key("void", "v", "void", "the last point does not count: kept, with a reason"),
        Key("yes", "y", "yes", "the answer to a question"),
        Key("no", "n", "no", "the answer to a question"),
    ),
    "zeros": (
        Key("zero", "z", "zero", "new zero: hook slack, hands off"),
        Key("undo", "u", "undo", "back to the zero before"),
    ),
    "link": (
        _UP,
        _DOWN,
        Key("listen", "enter", "listen", "open this port and look at what it sends"),
        Key("port", "p", "port", "type the name of a port that is not listed"),
        Key("cells", "n", "cells", "say how many load cells the board sends"),
        Key("take", "y", "take it", "write what is proposed into the rig file"),
    ),
    "settings": (_UP, _DOWN, Key("change", "enter", "change", "the next value, or type one")),
}

#: key -> why a pull is invalid; with TYPED a person writes a reason of their own.
DISCARD_REASONS = {
    "1": "grip slipped or bent",
    "2": "specimen slid or clamp lifted",
    "3": "screw stripped while driving",
    "4": "wood split while driving",
    "5": "touched or leaned on",
    "6": "wrong hole or label",
    "7": "zero not taken or lost",
    "8": "rig part moved",
    "9": "data lost or cable pulled",
}
TYPED = "t"


def available(key: Key, reading: LiveReading, cautions_due: bool, at: At = At.RIG) -> bool:
    """Return whether a key has a use now (the footer shows it, and it works)."""
    if key not in known_at((key,), at):
        return False
    if key.when in ONLY_AT:
        return True
    now = {
        ALWAYS: True,
        PULLED: reading.samples > 0,
        CAUTIONS: cautions_due and screen_of(reading) is Screen.NUMBER,
        TRIPPED: reading.trip is not None,
        LOADED_NOT: reading.phase is Phase.SLACK and reading.samples > 0,
        NOT_LOADED: reading.phase is Phase.SLACK or not reading.live,
        ENDED: pull_ended(reading),
    }
    return now[key.when]


def known_at(keys: tuple[Key, ...], at: At) -> tuple[Key, ...]:
    """Return the keys that a kind of session ever has."""
    if at is At.REPLAY:
        return tuple(key for key in keys if key.when in (ALWAYS, REPLAYED, TRIPPED))
    return tuple(key for key in keys if ONLY_AT.get(key.when, at) is at)


def key_of(pressed: str, keys: tuple[Key, ...], at: At = At.RIG) -> Key | None:
    """Return the key that was pressed, out of those that this kind of session knows."""
    known = known_at(keys, at)
    return next((key for key in known if pressed == key.key or pressed in key.also), None)


def pull_ended(reading: LiveReading) -> bool:
    """Return whether there is a pull to judge: one has been, and none is under way."""
    over = reading.phase in (Phase.PARTED, Phase.EASED, Phase.SLACK)
    return reading.pull_number > 0 and over


SIGNS = {
    "ctrl+c": "Ctrl-C", "ctrl+p": "Ctrl-P", "up": "↑", "down": "↓", "left": "←", "right": "→",
    "escape": "Esc", "enter": "Enter", "pagedown": "PgDn", "pageup": "PgUp", "home": "Home",
}  # fmt: skip


def shown_key(key: str) -> str:
    """Return a key as people call it."""
    return SIGNS.get(key, key)
