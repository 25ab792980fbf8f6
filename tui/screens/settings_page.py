"""Unit, theme, sounds and the wanted time to the maximum; kept for the next session."""

import shlex
from collections.abc import Callable
from dataclasses import replace

from daq.units import parse_time_s
from tui.drawing import EMPTY, Line, fit
from tui.pace import TIME_S, WITHIN_S
from tui.page import Desk
from tui.settings import MUTABLE, THEMES, TIMES_S, Settings
from tui.view import View
from tui.widgets.page_parts import listed, moved
from tui.wording import UNITS


class SettingsPage:
    """A list of what can be chosen; each change counts at once and is kept."""

    name = "settings"

    def __init__(self, desk: Desk, where: str) -> None:
        self.desk, self.where = desk, where
        self.chosen = 0

    def look(self) -> None:
        """Nothing comes by itself."""

    def close(self) -> None:
        """Nothing to let go."""

    @property
    def _rows(self) -> "list[tuple[str, str, Callable[[], None]]]":
        """Return name, value and what "change" does, line by line."""
        now = self.desk.settings
        sounds = [
            (f"sound: {cue}", "off" if cue in now.muted else "on", lambda cue=cue: self._mute(cue))
            for cue in MUTABLE
        ]
        window = f"{now.time_s:g} s, give or take {now.within_s:g} s"
        return [
            ("unit", now.unit, lambda: self._next("unit", UNITS, now.unit)),
            ("theme", now.theme, lambda: self._next("theme", THEMES, now.theme)),
            ("time to the maximum", window, self._ask_time),
            *sounds,
            ("sound: stop", "on, always", lambda: self.desk.say("the stop cannot be muted")),
            ("player", shlex.join(now.player) or "the terminal's bell", self._ask_player),
        ]

    def press(self, key: str, pressed: str) -> None:
        """Do what a key stands for."""
        rows = self._rows
        if key == "change":
            rows[self.chosen][2]()
        else:
            self.chosen = moved(self.chosen, key, pressed, len(rows))

    def _apply(self, settings: Settings) -> None:
        self.desk.apply(settings)

    def _next(self, key: str, choices: tuple[str, ...], now: str) -> None:
        value = choices[(choices.index(now) + 1) % len(choices)]
        self._apply(replace(self.desk.settings, **{key: value}))  # type: ignore[arg-type]

    def _mute(self, cue: str) -> None:
        muted = set(self.desk.settings.muted) ^ {str(cue)}
        self._apply(replace(self.desk.settings, muted=tuple(sorted(muted))))

    def _ask_player(self) -> None:
        self.desk.ask_line(
            "Program that plays a sound; it gets the sound's name (empty: the bell):",
            self._player,
            shlex.join(self.desk.settings.player),
        )

    def _player(self, text: str) -> None:
        try:
            words = tuple(shlex.split(text))
        except ValueError as error:
            self.desk.say(f"not taken: {error}")
            return
        self._apply(replace(self.desk.settings, player=words))

    def _ask_time(self) -> None:
        self.desk.ask_line(
            "Time wanted to the maximum, such as 90 s, or 300 s +- 120 s:", self._time
        )

    def _time(self, text: str) -> None:
        first, _, second = text.replace("±", "+-").partition("+-")
        try:
            time_s = parse_time_s(first.strip())
            within_s = parse_time_s(second.strip()) if second else time_s * WITHIN_S / TIME_S
            if not TIMES_S[0] <= time_s <= TIMES_S[1] or not 0 < within_s < time_s:
                raise ValueError("5 s to 1 h is meant, and less than that give or take")
        except ValueError as error:
            self.desk.say(f"not taken: {error}")
            return
        self._apply(replace(self.desk.settings, time_s=time_s, within_s=within_s))

    def draw(self, view: View, width: int, height: int) -> list[Line]:
        """Draw the list, and where it is kept."""
        rows = [((f"{name:<22}", ""), (value, "strong")) for name, value, _ in self._rows]
        head: Line = ((" Settings", "strong"), (f"   kept in {self.where}", "quiet"))
        notes = (
            " 90 s, give or take 30 s, is that of EN 1382 (from memory); joint tests take 300 s.",
        )
        listing = listed(rows, self.chosen, width, max(1, height - 3))
        return [fit(head, width), *listing, EMPTY, *(fit(((n, "quiet"),), width) for n in notes)][
            :height
        ]
