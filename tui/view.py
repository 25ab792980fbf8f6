"""All that one frame of the live screen shows, and how the screen is shared out. Pure."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from daq.live_reading import LiveReading, Phase
from tui.drawing import Line, question_lines
from tui.find import Find
from tui.key_table import At, pull_ended
from tui.pace import Pace, Wanted, pace
from tui.page import Page
from tui.trace_columns import RecentTrace, Trace
from tui.wording import Screen, screen_of

SMALLEST = (60, 16)  # below this, the screen says so and shows the force alone


class Lower(StrEnum):
    """What stands in the lower part of the screen."""

    TRACE = "trace"
    HELP = "help"
    MORE_HELP = "more help"
    FIND = "find"
    CAUTIONS = "cautions"


#: What a person asks for while the force is unknown.
ASKED_FOR = (Lower.HELP, Lower.MORE_HELP, Lower.FIND)
#: Rows a page in the lower part is drawn on.
PAGE_ROWS = {Lower.HELP: 17, Lower.MORE_HELP: 17, Lower.FIND: 12, Lower.CAUTIONS: 9}


@dataclass(frozen=True, slots=True)
class View:
    """One frame: the reading and the person's choices, nothing of it owned by the screen."""

    reading: LiveReading
    unit: str
    wanted: Wanted
    whole: Trace
    recent: RecentTrace
    beat: int = 0  # advances with every look that found new samples
    fresh: bool = False  # new samples came within the last second
    frame: int = 0
    lower: Lower = Lower.TRACE
    cautions_due: bool = False
    message: str = ""
    question: Line = ()
    typing: bool = False
    marks_s: tuple[float, ...] = ()
    verified_n: float = float("inf")  # the least force seen that the calibration did not verify
    judged: Mapping[int, str] = field(default_factory=dict)
    sound_on: bool = True
    at: At = At.RIG
    playing: str = ""  # of a replay: where it stands
    find: Find = field(default_factory=Find)
    page: Page | None = None

    @property
    def screen(self) -> Screen:
        """What the whole screen says."""
        return screen_of(self.reading)

    @property
    def pace(self) -> Pace:
        """The pace of the crank."""
        return pace(self.reading, self.wanted)

    @property
    def lower_shown(self) -> "Lower":
        """What stands in the lower part: unconfirmed cautions give way once a load is on."""
        loaded = self.reading.phase is not Phase.SLACK
        return Lower.TRACE if self.lower is Lower.CAUTIONS and loaded else self.lower

    @property
    def mode_due(self) -> bool:
        """Whether the last pull waits for its failure mode."""
        # A board lost after a pull hides no question; while a load may be on nothing is asked.
        slack = self.reading.phase is Phase.SLACK and not self.reading.still_loaded
        asked = self.screen is Screen.NUMBER or (self.screen is Screen.UNKNOWN and slack)
        free = asked and pull_ended(self.reading) and self.at is not At.REPLAY
        return free and self.reading.pull_number not in self.judged


def arrange(width: int, height: int, view: View) -> dict[str, int]:
    """Return how many rows each part of the screen gets; a part left out gets none."""
    rows = _shared_out(width, height, view)
    if view.typing:
        flexible = next(part for part in ("page", "lower", "alarm", "small") if rows.get(part))
        rows[flexible] -= 1
    return rows


def _shared_out(width: int, height: int, view: View) -> dict[str, int]:
    if width < SMALLEST[0] or height < SMALLEST[1]:
        return {"small": height}
    if view.page is not None:
        return _beside_rows(width, height, view)
    if view.screen is Screen.UNKNOWN and view.lower_shown in ASKED_FOR:
        return _unknown_rows(width, height, view)
    if view.screen in (Screen.STOP, Screen.UNKNOWN):
        return _alarm_rows(width, height, view)
    if view.lower_shown is not Lower.TRACE and view.screen is Screen.NUMBER:
        return _page_rows(width, height, view)
    return _number_rows(width, height, view)


def _alarm_rows(width: int, height: int, view: View) -> dict[str, int]:
    rows = {"top": 1, "status": 1, "notice": 1, "ask": _ask_rows(width, view), "keys": 1}
    free = height - sum(rows.values())
    if view.screen is Screen.UNKNOWN:
        return rows | {"alarm": free}
    rows["room"] = 2 if height < 32 else 3
    free -= rows["room"]
    force = max(5, round(0.36 * free))
    return rows | {"alarm": free - force, "force": force}


def _unknown_rows(width: int, height: int, view: View) -> dict[str, int]:
    """What a person asked for stands below the alarm in one line: there is no number to cover."""
    rows = {"top": 1, "strip": 1, "notice": 1, "ask": _ask_rows(width, view), "keys": 1}
    return rows | {"lower": height - sum(rows.values())}


def _number_rows(width: int, height: int, view: View) -> dict[str, int]:
    tall = height >= 32
    cells = len(view.reading.cells) if tall else 1
    rows = {
        "top": 1,
        "room": 3 if tall else 2,
        "cells": max(1, cells),
        "chain": 1,
        "status": 1,
        "notice": 1,
        "ask": _ask_rows(width, view),
        "keys": 1,
    }
    if view.screen is Screen.LOADED:
        rows["alarm"] = 6 if tall else 2
    free = height - sum(rows.values())
    rows["pace"] = 6 if free >= 36 else 5 if free >= 26 else 4 if free >= 14 else 1
    free -= rows["pace"]
    rows["force"] = max(5, min(round(0.54 * free), 28))
    rows["lower"] = max(0, free - rows["force"])
    return rows


def _page_rows(width: int, height: int, view: View) -> dict[str, int]:
    """A page to read needs many rows; the number, the room left and the state still stand."""
    rows = {"top": 1, "room": 1, "notice": 0, "ask": _ask_rows(width, view), "keys": 1}
    if view.lower_shown is Lower.CAUTIONS:
        rows |= {"room": 2, "chain": 1, "status": 1, "notice": 1}
    free = height - sum(rows.values())
    rows["force"] = max(5, min(round(0.5 * free), free - PAGE_ROWS[view.lower_shown]))
    return rows | {"lower": free - rows["force"]}


def _beside_rows(width: int, height: int, view: View) -> dict[str, int]:
    """Another screen: the force, the state and the room left stay above it."""
    rows = {"top": 1, "strip": 1, "room": 1, "notice": 1, "ask": _ask_rows(width, view)}
    rows["keys"] = 1
    if view.screen is not Screen.UNKNOWN:
        rows["force"] = 3 if height < 32 else 5
    return rows | {"page": height - sum(rows.values())}


def _ask_rows(width: int, view: View) -> int:
    """Return the rows of the strip that asks: the eleven modes wrap, a question does not."""
    if view.question:
        return len(question_lines(view.question, width))
    if not view.mode_due or view.page is not None:
        return 0
    return 4 if width < 110 else 3 if width < 150 else 2
