"""The console: keys to requests, readings to the screen, a sane terminal at every exit."""

import asyncio
import contextlib
import os
import signal
import subprocess
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from textual import events
from textual.app import App
from textual.filter import LineFilter
from textual.widgets import Input

from daq.faults import Fault
from daq.rig.rig import Rig
from daq.rig.rig_file import read_rig
from tui import wording
from tui.around import Around
from tui.day import Day
from tui.deeds import Deeds
from tui.drawing import Line
from tui.find import Find, find_keys
from tui.key_table import KEYS, MODE_ENTRY, MODE_OF_KEY, PAGE_KEYS, At, Key, available, key_of
from tui.pace import Wanted
from tui.page import Page
from tui.screens.live import LiveScreen, first_view
from tui.session import Session
from tui.settings import Settings, read_settings, settings_file, write_settings
from tui.sounds import BELLS, Cue
from tui.terminal import WithoutColour, closed_terminal, sane_terminal
from tui.theme import DARK, LIGHT, PALETTES, PLAIN, textual_theme
from tui.view import Lower, View
from tui.wording import Screen

LOOKS_PER_S = 15.0
COMPLAINT_S = 30.0
PALETTE_OF = {"dark": DARK, "light": LIGHT}


@dataclass(slots=True)
class Question:
    """What the strip at the bottom waits for."""

    answer: Callable[[str], None]
    one_key: bool = False


class Console(App[int]):
    """Looks at a session; asks it for what a person wants; decides nothing."""

    ENABLE_COMMAND_PALETTE = False
    BINDINGS = []  # noqa: RUF012 - the key table is the only one

    def __init__(
        self,
        session: Session,
        *,
        unit: str | None = None,
        wanted: Wanted | None = None,
        cautions: bool = True,
        around: Around | None = None,
        looks_per_s: float = LOOKS_PER_S,
    ) -> None:
        plain = bool(os.environ.get("NO_COLOR"))
        super().__init__(ansi_color=True if plain else None)
        self.plain = plain
        self.around = around = around or Around()
        self.settings = settings = around.settings
        self.palette = PLAIN if plain else PALETTE_OF[settings.theme]
        self.session = session
        self.player = settings.player
        self.looks_per_s = looks_per_s
        self.complaint = ""
        self.day = Day(around.folder)
        wanted = wanted or Wanted(time_s=settings.time_s, within_s=settings.within_s)
        view = first_view(session.latest(), unit or settings.unit, wanted, cautions)
        view = replace(view, at=around.at)
        self.live = LiveScreen(session, view, self.palette)
        self.live.muted = settings.muted
        self.deeds = Deeds(self)
        self._question: Question | None = None
        self._quitting = False
        self._label: object = None
        self._hung_up = closed_terminal()

    def get_line_filters(self) -> Sequence[LineFilter]:
        """Return the filters of the output: none of the colours where none are wanted."""
        return [WithoutColour()] if self.plain else super().get_line_filters()

    def on_mount(self) -> None:
        """Start looking."""
        for palette in (*PALETTES, PLAIN):
            self.register_theme(textual_theme(palette))
        self.theme = self.palette.name
        self.push_screen(self.live)
        self._catch_signals()
        if self.looks_per_s:
            self.set_interval(1 / self.looks_per_s, self.look)

    def _catch_signals(self) -> None:
        loop = asyncio.get_running_loop()
        for name in ("SIGTERM", "SIGHUP", "SIGINT"):
            with contextlib.suppress(AttributeError, NotImplementedError, ValueError, RuntimeError):
                loop.add_signal_handler(getattr(signal, name), lambda: self.exit(130))

    def look(self) -> None:
        """Look at the session once; end where the terminal was closed."""
        if self._hung_up():
            self.exit(130)
        if not self.live.is_mounted:
            return
        cues = self.live.look()
        stands = self.around.at is At.REPLAY and not self.live.view.fresh
        for cue in () if stands else cues:  # a replay that stands rings no more
            self.sound(cue)
        self._expect_of_plan()
        if self.around.playing is not None:
            self.live.change(playing=self.around.playing.words)
        if self.complaint:
            self.live.say(self.complaint, COMPLAINT_S)
            self.complaint = ""

    def _expect_of_plan(self) -> None:
        """Judge the pace by what the plan expects of the specimen that came on the rig."""
        label = self.live.view.reading.specimen.get("label")
        if label == self._label:
            return
        self._label = label
        expected_n = self.around.expected_n.get(str(label))
        if expected_n is not None:
            wanted = replace(self.live.view.wanted, expected_n=expected_n)
            self.live.change(wanted=wanted)

    def sound(self, cue: Cue) -> None:
        """Sound a cue: the player of the settings if there is one, else the terminal bell."""
        if self.player:
            with contextlib.suppress(OSError):
                subprocess.Popen(
                    [*self.player, cue.value],
                    stdin=subprocess.DEVNULL,
                    stdout=subprocess.DEVNULL,
                    stderr=subprocess.DEVNULL,
                )
            return
        for after_s in BELLS[cue]:
            if after_s:
                self.set_timer(after_s, self.bell)
            else:
                self.bell()

    # Keys

    async def on_event(self, event: events.Event) -> None:
        """Give a key to the table before any widget may take it, unless a line is being typed."""
        if isinstance(event, events.Key) and event.is_forwarded is False and self._take(event):
            event.stop()
            return
        await super().on_event(event)

    def _take(self, event: events.Key) -> bool:
        """Return whether a key was used."""
        question = self._question
        if event.key == "escape" and question is not None:
            self.end_question()
            return True
        if question is None or event.key == "ctrl+c":
            self._safely(lambda: self._press(pressed_key(event), event.is_printable))
            return True
        if question.one_key:
            self.end_question()
            self._safely(lambda: question.answer(event.character or ""))
            return True
        return False

    def _safely(self, act: Callable[[], None]) -> None:
        """Do something a person asked for; its failure must not take the number away."""
        try:
            act()
        except Exception as error:
            self.live.say(f"that failed: {error!r}")

    def _press(self, pressed: str, printable: bool) -> None:
        view, at = self.live.view, self.around.at
        if view.lower_shown is Lower.FIND and view.page is None and self._find(pressed, printable):
            return
        if view.page is not None and self._press_on_page(view.page, pressed):
            return
        if view.mode_due and pressed in MODE_OF_KEY:
            self.deeds.judge(MODE_OF_KEY[pressed])
            return
        key = key_of(pressed, KEYS, at)
        if key is not None:
            self._run(key)
        elif view.page is None and (printable or pressed.startswith("f")):
            self.deeds.do_mark()

    def _press_on_page(self, page: Page, pressed: str) -> bool:
        """Return whether the other screen has a use for a key."""
        keys = PAGE_KEYS.get(page.name, ())
        key = key_of(pressed, keys)
        if key is None and MODE_ENTRY in keys and pressed in MODE_OF_KEY:
            key = MODE_ENTRY
        if key is None:
            return False
        page.press(key.id, pressed)
        self.live.paint()
        return True

    def _find(self, pressed: str, printable: bool) -> bool:
        """Return whether the finder has a use for a key: letters, a choice, a command."""
        find, at = self.live.view.find, self.around.at
        found = find_keys(find.text, at)
        if pressed == "enter":
            self.deeds.do_back()
            if found:
                self._run(found[find.chosen])
            return True
        if pressed in ("up", "down"):
            by = 1 if pressed == "down" else -1
            chosen = max(0, min(len(found) - 1, find.chosen + by))
            self.live.change(find=Find(find.text, chosen))
            return True
        if pressed == "backspace" or printable:
            letter = "" if pressed == "backspace" else " " if pressed == "space" else pressed
            text = find.text[:-1] if pressed == "backspace" else find.text + letter
            self.live.change(find=Find(text))
            return True
        return False

    def _run(self, key: Key) -> None:
        view = self.live.view
        if available(key, view.reading, view.cautions_due, self.around.at):
            getattr(self.deeds, f"do_{key.id}")()
        else:
            self.live.say(f"{key.label}: only {key.when}")

    # What pages and deeds ask for

    @property
    def view(self) -> View:
        """What is shown."""
        return self.live.view

    def say(self, message: str) -> None:
        """Show an answer to the person for a while."""
        self.live.say(message)

    def request(self, call: Callable[[], None], done: str) -> bool:
        """Ask the session for something; say what came of it."""
        try:
            call()
        except Fault as fault:
            self.live.say(str(fault))
            return False
        if done:
            self.live.say(done)
        return True

    def open(self, page: Page) -> None:
        """Show another screen below the strip."""
        if self.live.view.reading.trip is not None and self.live.view.screen is not Screen.UNKNOWN:
            page.close()
            self.live.say("the stop is latched: wind back and acknowledge it first (a)")
            return
        self.live.leave()
        self.live.change(page=page)

    def use_rig(self, rig: Rig) -> None:
        """Go on with changed limits of the same rig."""
        self.session.use_rig(rig)
        self.around = replace(self.around, rig=rig)

    def use_rig_file(self, path: Path) -> None:
        """Go on with the rig file as it was changed. Raises InputFault."""
        self.around = replace(self.around, rig=read_rig(path))

    def apply(self, settings: Settings) -> None:
        """Use other settings from now on, and keep them."""
        self.settings = settings
        self._use(settings)
        if self.around.settings_file is None:
            return
        try:
            write_settings(self.around.settings_file, settings)
        except Fault as fault:
            self.live.say(str(fault))

    def _use(self, settings: Settings) -> None:
        wanted = replace(self.live.view.wanted, time_s=settings.time_s, within_s=settings.within_s)
        self.live.change(unit=settings.unit, wanted=wanted)
        self.live.muted, self.player = settings.muted, settings.player
        if self.plain:
            self.live.say("no colours: NO_COLOR is set")
            return
        self.palette = self.live.palette = PALETTE_OF[settings.theme]
        self.theme = self.palette.name
        self.live.paint()

    def leave_session(self) -> None:
        """End the session; ask first while something is loaded, a second time do it."""
        reading = self.live.view.reading
        slack = reading.live and wording.PHASES[reading.phase] == "slack"
        if slack or self._quitting or self.around.at is At.REPLAY:
            self.exit(0)
            return
        self._quitting = True
        words = "The rig is loaded" if reading.live else "The force is unknown"
        self.ask_key(
            f"{words}. End the session all the same?  y yes   any other key: no", self._quit
        )

    def _quit(self, key: str) -> None:
        if key in ("y", "Y"):
            self.exit(0)
        self._quitting = False

    # The strip at the bottom

    def ask_line(self, question: str, answer: Callable[[str], None], text: str = "") -> None:
        """Ask for a line in the strip at the bottom."""
        self._question = Question(answer)
        self.live.ask(_question(f"{question}   (Enter: take it, Esc: leave)"), True, text)

    def ask_key(self, question: str, answer: Callable[[str], None]) -> None:
        """Ask for one key."""
        self._question = Question(answer, one_key=True)
        self.live.ask(_question(question), False)

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Take the typed line."""
        question = self._question
        self.end_question()
        if question is not None:
            self._safely(lambda: question.answer(event.value))

    def end_question(self) -> None:
        """Take the question away."""
        self._question = None
        self._quitting = False
        self.live.end_question()


def _question(text: str) -> Line:
    return ((text, "ask"),)


def pressed_key(event: events.Key) -> str:
    """Return a key as the table names it: its character where it has one, else its name."""
    character = event.character or ""
    return character if event.is_printable and character.strip() else event.key


def run_console(
    session: Session,
    *,
    unit: str | None = None,
    wanted: Wanted | None = None,
    cautions: bool = True,
    around: Around | None = None,
) -> int:
    """Run the console on a session until a person ends it; return the exit code.

    ``unit`` outranks that of the settings. The terminal is put back whatever happens, then the
    session is closed, which raises what ended it if something did.
    """
    try:
        around, complaint = _with_settings(around or Around())
        app = Console(session, unit=unit, wanted=wanted, cautions=cautions, around=around)
        app.complaint = complaint
        with sane_terminal():
            code = app.run(mouse=False)
    finally:
        session.close()
    return app.return_code or code or 0


def _with_settings(around: Around) -> tuple[Around, str]:
    """Return the surroundings with this person's settings, and what is wrong with their file."""
    path = settings_file()
    try:
        return replace(around, settings=read_settings(path), settings_file=path), ""
    except Fault as fault:
        return around, f"{fault} The usual settings are used."
