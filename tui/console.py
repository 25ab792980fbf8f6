"""The console: keys to requests, readings to the screen, a sane terminal at every exit."""

import asyncio
import contextlib
import os
import shlex
import signal
import subprocess
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from textual import events
from textual.app import App
from textual.filter import LineFilter
from textual.widgets import Input

from daq.faults import Fault
from tui import wording
from tui.drawing import Line
from tui.key_table import DISCARD_REASONS, KEYS, MODE_OF_KEY, Key, available
from tui.pace import Wanted, read_wanted
from tui.screens.live import LiveScreen, first_view
from tui.session import Session
from tui.sounds import BELLS, Cue
from tui.terminal import WithoutColour, sane_terminal
from tui.theme import PALETTES, PLAIN, Palette, textual_theme
from tui.view import Lower

LOOKS_PER_S = 15.0


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
        unit: str = "kN",
        wanted: Wanted | None = None,
        cautions: bool = True,
        palette: Palette | None = None,
        player: Sequence[str] = (),
        looks_per_s: float = LOOKS_PER_S,
    ) -> None:
        plain = bool(os.environ.get("NO_COLOR"))
        super().__init__(ansi_color=True if plain else None)
        self.plain = plain
        self.palette = PLAIN if plain else (palette or PALETTES[0])
        self.session = session
        self.player = tuple(player)
        self.looks_per_s = looks_per_s
        view = first_view(session.latest(), unit, wanted or Wanted(), cautions)
        self.live = LiveScreen(session, view, self.palette)
        self._question: Question | None = None
        self._undo: list[Callable[[], None]] = []
        self._quitting = False

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
        """Look at the session once."""
        if not self.live.is_mounted:
            return
        for cue in self.live.look():
            self.sound(cue)

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
        if event.key == "escape":
            self.end_question()
            return True
        question = self._question
        if event.key == "ctrl+c" or question is None:
            self._safely(lambda: self._press(event.key, event.is_printable))
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
        view = self.live.view
        if view.mode_due and pressed in MODE_OF_KEY:
            self._judge(MODE_OF_KEY[pressed])
            return
        key = next((k for k in KEYS if pressed in (k.key, k.also) or pressed in k.also), None)
        if key is None:
            if printable or pressed.startswith("f"):
                self.do_mark()
            return
        self._run(key)

    def _run(self, key: Key) -> None:
        view = self.live.view
        if not available(key, view.reading, view.cautions_due):
            self.live.say(f"{key.label}: only {key.when}")
            return
        getattr(self, f"do_{key.id}")()

    def _request(self, call: Callable[[], None], done: str) -> bool:
        """Ask the session for something; say what came of it."""
        try:
            call()
        except Fault as fault:
            self.live.say(str(fault))
            return False
        self.live.say(done)
        return True

    def do_acknowledge(self) -> None:
        """Ask for the latched stop to be released."""
        self._request(self.session.acknowledge, "acknowledged, if the force is low")

    def do_cautions(self) -> None:
        """Confirm the cautions."""
        self.live.change(cautions_due=False, lower=Lower.TRACE)

    def do_zero(self) -> None:
        """Ask for a new zero."""
        if self._request(self.session.zero, "zero asked for"):
            self._undo.append(self._undo_zero)

    def _undo_zero(self) -> None:
        self._request(self.session.undo_zero, "back to the zero before")

    def do_mark(self) -> None:
        """Mark this moment."""
        at = wording.clock(self.live.view.reading.pull_elapsed_s)
        if self._request(lambda: self.session.mark("mark"), f"marked at {at}"):
            self.live.mark_here()

    def do_discard(self) -> None:
        """Ask why the last pull is invalid."""
        reasons = "  ".join(f"{key} {reason}" for key, reason in DISCARD_REASONS.items())
        self._ask_line(f"Why is this pull invalid? (it is kept)  {reasons}  or type", self._discard)

    def _discard(self, text: str) -> None:
        reason = DISCARD_REASONS.get(text.strip(), text.strip())
        if not reason:
            self.live.say("not discarded: a reason is needed")
        elif self._request(lambda: self.session.discard(reason), f"kept as invalid: {reason}"):
            self._undo.append(self._keep_after_all)

    def _keep_after_all(self) -> None:
        self._request(lambda: self.session.discard(""), "the pull counts again")

    def _judge(self, mode: str) -> None:
        number = self.live.view.reading.pull_number
        if not self._request(
            lambda: self.session.judge(mode, ""), f"pull {number}: {mode}   (u takes it back)"
        ):
            return
        self.live.change(judged={**self.live.view.judged, number: mode})
        self._undo.append(lambda: self._unjudge(number))

    def _unjudge(self, number: int) -> None:
        if self._request(lambda: self.session.judge("", ""), f"pull {number}: mode taken back"):
            judged = {n: mode for n, mode in self.live.view.judged.items() if n != number}
            self.live.change(judged=judged)

    def do_note(self) -> None:
        """Ask for one line about the last pull."""
        self._ask_line("One line about the last pull:", self._note)

    def _note(self, text: str) -> None:
        mode = self.live.view.judged.get(self.live.view.reading.pull_number, "")
        if text.strip():
            self._request(lambda: self.session.judge(mode, text.strip()), "noted")

    def do_undo(self) -> None:
        """Take back the last mode, discard or zero."""
        if self._undo:
            self._undo.pop()()
        else:
            self.live.say("nothing to take back")

    def do_specimen(self) -> None:
        """Ask what is on the rig."""
        held = self.live.view.reading.specimen
        text = " ".join(f"{key}={shlex.quote(str(value))}" for key, value in held.items())
        self._ask_line("What is on the rig? key=value ...", self._specimen, text)

    def _specimen(self, text: str) -> None:
        from tui.live_session import parse_specimen

        try:
            specimen = parse_specimen(shlex.split(text))
        except (Fault, ValueError) as problem:
            self.live.say(f"not taken: {problem}")
            return
        self._request(lambda: self.session.set_specimen(specimen), "specimen noted")

    def do_expect(self) -> None:
        """Ask for the expected maximum and the time wanted to it."""
        wanted = self.live.view.wanted
        force_n, time_s = wanted.expected_n, wanted.time_s
        self._ask_line(
            "Expected maximum (4.5 kN, or 4.5 kN in 60 s), or a speed (0.10 in/min):",
            self._expect,
            "" if force_n is None else f"{self._force(force_n)} in {time_s:.0f} s",
        )

    def _force(self, force_n: float) -> str:
        return wording.with_unit(force_n, self.live.view.unit)

    def _expect(self, text: str) -> None:
        try:
            wanted = read_wanted(text, self.live.view.wanted)
        except ValueError as error:
            self.live.say(f"not taken: {error}")
            return
        self.live.change(wanted=wanted)
        self.live.say(wording.wanted(wanted, self.live.view.unit))

    def do_unit(self) -> None:
        """Show the next unit."""
        at = wording.UNITS.index(self.live.view.unit)
        self.live.change(unit=wording.UNITS[(at + 1) % len(wording.UNITS)])

    def do_sound(self) -> None:
        """Mute or unmute all but the stop."""
        on = not self.live.view.sound_on
        self.live.change(sound_on=on)
        self.live.say("sounds on" if on else "sounds off; the stop is still heard")

    def do_theme(self) -> None:
        """Change between dark and light."""
        if self.plain:
            self.live.say("no colours: NO_COLOR is set")
            return
        at = PALETTES.index(self.palette)
        self.palette = self.live.palette = PALETTES[(at + 1) % len(PALETTES)]
        self.theme = self.palette.name
        self.live.paint()

    def do_help(self) -> None:
        """Show the keys, or go back."""
        back = Lower.CAUTIONS if self.live.view.cautions_due else Lower.TRACE
        now = self.live.view.lower
        self.live.change(lower=back if now is Lower.HELP else Lower.HELP)

    def do_quit(self) -> None:
        """End the session; ask first while something is loaded, a second time do it."""
        reading = self.live.view.reading
        slack = reading.live and wording.PHASES[reading.phase] == "slack"
        if slack or self._quitting:
            self.exit(0)
            return
        self._quitting = True
        words = "The rig is loaded" if reading.live else "The force is unknown"
        self._ask_key(
            f"{words}. End the session all the same?  y yes   any other key: no", self._quit
        )

    def _quit(self, key: str) -> None:
        if key in ("y", "Y"):
            self.exit(0)
        self._quitting = False

    # The strip at the bottom

    def _ask_line(self, question: str, answer: Callable[[str], None], text: str = "") -> None:
        self._question = Question(answer)
        self.live.ask(_question(f"{question}   (Enter: take it, Esc: leave)"), True, text)

    def _ask_key(self, question: str, answer: Callable[[str], None]) -> None:
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


def run_console(
    session: Session,
    *,
    unit: str = "kN",
    wanted: Wanted | None = None,
    cautions: bool = True,
    palette: Palette | None = None,
    player: Sequence[str] = (),
) -> int:
    """Run the console on a session until a person ends it; return the exit code.

    The terminal is put back whatever happens, then the session is closed, which raises what ended
    it if something did.
    """
    try:
        app = Console(
            session, unit=unit, wanted=wanted, cautions=cautions, palette=palette, player=player
        )
        with sane_terminal():
            code = app.run(mouse=False)
    finally:
        session.close()
    return app.return_code or code or 0
