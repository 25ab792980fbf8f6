"""What each key of the table does: a method for each, asking the session or changing the view."""

import shlex
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from daq.faults import Fault
from tui import wording
from tui.discard import ask_reason
from tui.find import Find
from tui.key_table import At
from tui.pace import read_wanted
from tui.screens.link_page import LinkPage
from tui.screens.plan_page import PlanPage
from tui.screens.pulls_page import PullsPage
from tui.screens.rig_page import RigPage
from tui.screens.settings_page import SettingsPage
from tui.screens.zeros_page import ZerosPage
from tui.view import Lower
from tui.wording import Screen

if TYPE_CHECKING:
    from tui.around import Playing
    from tui.console import Console
    from tui.screens.live import LiveScreen
    from tui.session import Session

QUARTER = 0.25
SKIP_S, STEP_S = 5.0, 0.1


class Deeds:
    """Named ``do_<id of the key>``. Nothing here waits for the line or the disk."""

    def __init__(self, console: "Console") -> None:
        self.console = console
        self._undo: list[Callable[[], None]] = []

    @property
    def _live(self) -> "LiveScreen":
        return self.console.live

    @property
    def _session(self) -> "Session":
        return self.console.session

    def _request(self, call: Callable[[], None], done: str) -> bool:
        return self.console.request(call, done)

    # At the rig

    def do_acknowledge(self) -> None:
        """Ask for the latched stop to be released."""
        self._request(self._session.acknowledge, "release asked for: it needs a known, low force")

    def do_cautions(self) -> None:
        """Confirm the cautions."""
        self._live.change(cautions_due=False, lower=Lower.TRACE)

    def do_zero(self) -> None:
        """Ask for a new zero."""
        if self._request(self._session.zero, "zero asked for"):
            self._undo.append(self._undo_zero)

    def _undo_zero(self) -> None:
        self._request(self._session.undo_zero, "back to the zero before")

    def do_mark(self) -> None:
        """Mark this moment."""
        if self.console.around.at is At.REPLAY:
            return
        at = wording.clock(self._live.view.reading.pull_elapsed_s)
        if self._request(lambda: self._session.mark("mark"), f"marked at {at}"):
            self._live.mark_here()

    def do_discard(self) -> None:
        """Ask why the last pull is invalid."""
        ask_reason(self.console, "this pull", self._discard)

    def _discard(self, reason: str) -> None:
        if self._request(lambda: self._session.discard(reason), f"kept as invalid: {reason}"):
            self._undo.append(self._keep_after_all)

    def _keep_after_all(self) -> None:
        self._request(lambda: self._session.discard(""), "the pull counts again")

    def judge(self, mode: str) -> None:
        """Say how the last pull ended."""
        number = self._live.view.reading.pull_number
        if not self._request(
            lambda: self._session.judge(mode, ""), f"pull {number}: {mode}   (u takes it back)"
        ):
            return
        self._live.change(judged={**self._live.view.judged, number: mode})
        self._undo.append(lambda: self._unjudge(number))

    def _unjudge(self, number: int) -> None:
        if self._live.view.reading.pull_number != number:
            self._live.say(f"pull {number} is not the last one any more: see the pulls (v)")
        elif self._request(lambda: self._session.judge("", ""), f"pull {number}: mode taken back"):
            judged = {n: mode for n, mode in self._live.view.judged.items() if n != number}
            self._live.change(judged=judged)

    def do_note(self) -> None:
        """Ask for one line about the last pull."""
        self.console.ask_line("One line about the last pull:", self._keeper("note"))

    def do_photo(self) -> None:
        """Ask where the photo of the last pull is."""
        self.console.ask_line("Where is the photo of the last pull?", self._keeper("photo"))

    def _keeper(self, key: str) -> Callable[[str], None]:
        def keep(text: str) -> None:
            words = text.strip()
            if not words:
                return
            there = "" if key != "photo" or Path(words).exists() else " (no such file here yet)"
            self._request(
                lambda: self._session.keep_word({key: words}, "said at the rig"),
                f"{key} kept{there}",
            )

        return keep

    def do_undo(self) -> None:
        """Take back the last mode, discard or zero."""
        if self._undo:
            self._undo.pop()()
        else:
            self._live.say("nothing to take back")

    def do_specimen(self) -> None:
        """Ask what is on the rig."""
        held = self._live.view.reading.specimen
        text = " ".join(f"{key}={shlex.quote(str(value))}" for key, value in held.items())
        self.console.ask_line("What is on the rig? key=value ...", self._specimen, text)

    def _specimen(self, text: str) -> None:
        from tui.live_session import parse_specimen

        try:
            specimen = parse_specimen(shlex.split(text))
        except (Fault, ValueError) as problem:
            self._live.say(f"not taken: {problem}")
            return
        self._request(lambda: self._session.set_specimen(specimen), "specimen noted")

    # Practice

    def do_turn(self) -> None:
        """Crank the simulated rig."""
        self._crank(QUARTER)

    def do_turn_back(self) -> None:
        """Wind the simulated rig back."""
        self._crank(-QUARTER)

    def _crank(self, turns: float) -> None:
        crank = self.console.around.crank
        if crank is not None:
            self._request(lambda: crank.turn(turns), "")

    def do_fresh(self) -> None:
        """Put a new specimen into the simulated rig."""
        crank = self.console.around.crank
        if crank is not None:
            self._request(crank.fresh, "a new specimen is in, if the rig is wound back")

    # Replay

    def do_pause(self) -> None:
        """Stand still, or go on."""
        self._play(lambda playing: playing.pause())

    def do_later(self) -> None:
        """Go on by some seconds."""
        self._play(lambda playing: playing.skip(SKIP_S))

    def do_earlier(self) -> None:
        """Go back by some seconds."""
        self._play(lambda playing: playing.skip(-SKIP_S))

    def do_step(self) -> None:
        """Go on a little and stand."""
        self._play(lambda playing: playing.skip(STEP_S, stand=True))

    def do_step_back(self) -> None:
        """Go back a little and stand."""
        self._play(lambda playing: playing.skip(-STEP_S, stand=True))

    def do_speed_up(self) -> None:
        """Play twice as fast."""
        self._play(lambda playing: playing.quicken(2.0))

    def do_slow_down(self) -> None:
        """Play half as fast."""
        self._play(lambda playing: playing.quicken(0.5))

    def do_start(self) -> None:
        """Go back to the start."""
        self._play(lambda playing: playing.skip(float("-inf")))

    def _play(self, lead: "Callable[[Playing], None]") -> None:
        playing = self.console.around.playing
        if playing is not None:
            self._request(lambda: lead(playing), "")

    # Other screens

    def do_plan(self) -> None:
        """Open the plan."""
        self.console.open(PlanPage(self.console, self.console.around.plan, self.console.day))

    def do_pulls(self) -> None:
        """Open the pulls of the day."""
        self.console.open(PullsPage(self.console, self.console.day))

    def do_rig(self) -> None:
        """Open the rig check."""
        self.console.open(RigPage(self.console, self.console.around.rig))

    def do_weights(self) -> None:
        """Open calibration, ratio check and check weight."""
        from tui.screens.weights_page import WeightsPage

        rig, folder = self.console.around.rig, self.console.around.folder
        if rig is None or folder is None:
            self._live.say("weights need a rig and a folder: not in a replay")
            return
        try:
            page = WeightsPage(self.console, rig, folder)
        except Fault as fault:  # there is no board
            self._live.say(str(fault))
            return
        self.console.open(page)

    def do_zeros(self) -> None:
        """Open the zeros."""
        self.console.open(ZerosPage(self.console))

    def do_link(self) -> None:
        """Open the set-up of the link."""
        self.console.open(LinkPage(self.console, self.console.around.link))

    def do_settings(self) -> None:
        """Open the settings."""
        where = self.console.around.settings_file
        self.console.open(SettingsPage(self.console, "this session only" if where is None else
                                       str(where)))  # fmt: skip

    # How things are shown

    def do_expect(self) -> None:
        """Ask for the expected maximum and the time wanted to it."""
        view = self._live.view
        force_n, time_s = view.wanted.expected_n, view.wanted.time_s
        words = "" if force_n is None else wording.with_unit(force_n, view.unit)
        self.console.ask_line(
            "Expected maximum (4.5 kN, or 4.5 kN in 60 s), or a speed (0.10 in/min):",
            self._expect,
            words and f"{words} in {time_s:.0f} s",
        )

    def _expect(self, text: str) -> None:
        try:
            wanted = read_wanted(text, self._live.view.wanted)
        except ValueError as error:
            self._live.say(f"not taken: {error}")
            return
        self._live.change(wanted=wanted)
        self._live.say(wording.wanted(wanted, self._live.view.unit))

    def do_unit(self) -> None:
        """Show the next unit."""
        at = wording.UNITS.index(self._live.view.unit)
        self._live.change(unit=wording.UNITS[(at + 1) % len(wording.UNITS)])

    def do_sound(self) -> None:
        """Mute or unmute all but the stop."""
        on = not self._live.view.sound_on
        self._live.change(sound_on=on)
        self._live.say("sounds on" if on else "sounds off; the stop is still heard")

    def do_theme(self) -> None:
        """Change between dark and light."""
        theme = "light" if self.console.settings.theme == "dark" else "dark"
        self.console.apply(replace(self.console.settings, theme=theme))

    def do_find(self) -> None:
        """Look for a command by its name."""
        if self._stopped():
            return
        self._live.leave()
        self._live.change(lower=Lower.FIND, find=Find())

    def do_help(self) -> None:
        """Show the keys, then the second page, then go back."""
        if self._stopped():
            return
        self._live.leave()
        after = {Lower.HELP: Lower.MORE_HELP, Lower.MORE_HELP: self._lower_before()}
        self._live.change(lower=after.get(self._live.view.lower, Lower.HELP))

    def _stopped(self) -> bool:
        """Return whether the whole screen says STOP: nothing to read stands before that."""
        stopped = self._live.view.screen is Screen.STOP
        if stopped:
            self._live.say("the stop is latched: wind back to slack, then a; the keys after that")
        return stopped

    def _lower_before(self) -> Lower:
        return Lower.CAUTIONS if self._live.view.cautions_due else Lower.TRACE

    def do_back(self) -> None:
        """Leave a screen, the finder or the help."""
        self._live.leave()
        self._live.change(lower=self._lower_before())

    def do_quit(self) -> None:
        """End the session; ask first while something is loaded, a second time do it."""
        self.console.leave_session()
