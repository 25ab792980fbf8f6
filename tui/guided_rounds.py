"""Weights on the rig, on a plain terminal: says what is next, shows steadiness, takes answers.

Everything said goes to stderr; answers are lines on stdin. The rules are those of
``daq.force.guided_weights``; the console's page walks through the same ones.
"""

import shutil
import sys
import time
from collections.abc import Callable
from contextlib import nullcontext

from daq.faults import DeviceFault, InputFault
from daq.force.guided_weights import Guided, Look, Stretch, answer, look, take_as_it_is, void
from daq.raw_stretch import RawStretch
from daq.record.inert_text import inert
from daq.rig.rig import Rig
from daq.sources import BoardSource
from tui.live_session import has_board_clock, open_source
from tui.output import rows_of, say
from tui.typed_lines import TypedLines

FIRST_SAMPLE_S = 5.0
SAY_EVERY_S = 2.0
BAR = 8
KEYS = """\
Keys, each with Enter:
  Enter alone: take it as it is (only where that is offered)
  v REASON: the last point is void, and why    v 3 REASON: point 3 is void
  q: stop here; the same command goes on from here another time"""
NOT_OFFERED = "   not steady yet: it is taken by itself as soon as it is"

Keep = Callable[[Guided, Stretch | None], None]


def walk(rig: Rig, port: str | None, state: Guided, keep: Keep) -> Guided:
    """Go through the steps of ``state`` until they are done; ``keep`` is told of every change.

    Raises DeviceFault, InputFault where a person ends it, and KeyboardInterrupt.
    """
    source = open_source(rig, port)
    try:
        return _Walk(rig, source, state, keep).run()
    finally:
        source.close()


class _Walk:
    """One walk: the source, the state, and what was said last."""

    def __init__(self, rig: Rig, source: BoardSource, state: Guided, keep: Keep) -> None:
        self._source, self._state, self._keep = source, state, keep
        self._stretch = RawStretch(len(rig.cells), has_board_clock=has_board_clock(rig))
        self._typed = TypedLines()
        self._terminal = sys.stderr.isatty()
        self._rows = 0  # how many the line that is shown in place takes
        self._said, self._said_s = "", 0.0
        self._may_force = False

    def run(self) -> Guided:
        """Go on until every step has its plateau."""
        with self._typed.without_echo() if self._terminal else nullcontext():
            say(KEYS)
            self._announce()
            try:
                self._go_on()
            finally:
                self._clear()
            self._typed.drop_early()
        return self._state

    def _go_on(self) -> None:
        began_s, restarts = time.monotonic(), 0
        while not self._state.done or self._state.question:
            self._stretch.read(self._source)
            if not self._stretch.samples and time.monotonic() - began_s > FIRST_SAMPLE_S:
                raise DeviceFault(
                    f"No usable line in {FIRST_SAMPLE_S:.0f} s: see `pullstand doctor`."
                )
            if self._stretch.restarts > restarts:
                restarts = self._stretch.restarts
                self._clear()
                say("The board restarted: its counts start anew. Void what is not to be trusted.")
            self._hear()
            self._look()

    def _look(self) -> None:
        self._state, found = look(self._state, *self._stretch.latest())
        self._may_force = found.may_force
        if found.taken is None:
            self._show(found)
            return
        self._keep(self._state, found.taken)
        self._clear()
        say(f"   taken as point {len(self._state.points)}: {found.words.removeprefix('steady: ')}")
        self._announce()

    def _hear(self) -> None:
        line = self._typed.next()
        if line is None:
            if self._state.question and self._typed.ended:
                raise InputFault(f"{self._state.question} An answer is needed on stdin: y or n.")
            return
        self._clear()
        say(f"> {line}")  # neither a pipe nor a line drawn in place leaves a trace of it
        if line.lower() == "q":
            raise InputFault("stopped by hand: nothing is lost, the points so far are kept")
        if line.lower().split(" ")[0] == "v":
            self._void(line[1:].strip())
        elif self._state.question:
            self._answered(line)
        elif line:
            say(f'   "{line}" is no key here.')
            say(KEYS)
        elif self._may_force:
            self._state = take_as_it_is(self._state)
        else:
            say(NOT_OFFERED)

    def _answered(self, line: str) -> None:
        if line.lower() not in ("y", "yes", "n", "no"):
            self._announce()
            return
        self._state = answer(self._state, line.lower().startswith("y"))
        if self._state.refused:
            raise InputFault("stopped: look at the wiring, or at `sign` in the rig file")
        self._announce()

    def _void(self, text: str) -> None:
        number, _, reason = text.partition(" ")
        if not number.isdigit():
            number, reason = str(len(self._state.points)), text
        try:
            self._state = void(self._state, int(number), reason)
        except ValueError as error:
            say(f"   {error}")
            return
        self._keep(self._state, None)
        say(f"   point {number} is void, and kept: {reason}")
        self._announce()

    def _announce(self) -> None:
        """Say what is asked or due now; what was typed before cannot have been meant for it."""
        self._typed.drop_early()
        state = self._state
        if state.question:
            say(f"{state.question} y or n:")
        elif state.step is not None:
            at = state.plan.steps.index(state.step) + 1
            say(f"{at} of {len(state.plan.steps)}{state.step.round_words}: {state.step.words}")

    def _show(self, found: Look) -> None:
        """Say how it goes: in place on a terminal, now and then in a pipe."""
        if self._terminal and self._state.question:
            self._draw("")
            return
        filled = round(found.settled * BAR)
        words = found.words
        line = f"   [{'=' * filled}{' ' * (BAR - filled)}] {words}"
        now_s = time.monotonic()
        if self._terminal:
            self._draw(line)
        elif found.may_force and words != self._said and now_s - self._said_s > SAY_EVERY_S:
            self._said, self._said_s = words, now_s
            say(line)

    def _draw(self, text: str) -> None:
        """Show ``text``, and below it what is being typed, where it was shown before."""
        self._clear()
        width = shutil.get_terminal_size().columns - 1
        typing = f"> {inert(self._typed.begun)}" if self._typed.begun else ""
        rows = [row for each in (text, typing) if each for row in rows_of(each, width)]
        sys.stderr.write("\n".join(rows))
        sys.stderr.flush()
        self._rows = len(rows)

    def _clear(self) -> None:
        """Wipe what was shown in place; the cursor stands where it began."""
        if self._terminal:
            up = f"\x1b[{self._rows - 1}A" if self._rows > 1 else ""
            sys.stderr.write(f"\r{up}\x1b[J")
            sys.stderr.flush()
        self._rows = 0
