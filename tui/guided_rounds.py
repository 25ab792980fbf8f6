"""Weights on the rig, on a plain terminal: says what is next, shows steadiness, takes answers.

Everything said goes to stderr; answers are lines on stdin. The rules are those of
``daq.force.guided_weights``; the console's page walks through the same ones.
"""

import shutil
import sys
import time
from collections.abc import Callable

from daq.faults import DeviceFault, InputFault
from daq.force.guided_weights import Guided, Look, Stretch, answer, look, take_as_it_is, void
from daq.raw_stretch import RawStretch
from daq.rig.rig import Rig
from daq.sources import BoardSource
from tui.live_session import has_board_clock, open_source
from tui.output import say
from tui.typed_lines import TypedLines

FIRST_SAMPLE_S = 5.0
SAY_EVERY_S = 2.0
BAR = 12
KEYS = """\
Enter: take it as it is (only where that is offered)   v REASON: the last point is void
v 3 REASON: point 3 is void   q: stop here; a draft goes on from here another time"""

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
        self._width = shutil.get_terminal_size().columns - 1
        self._said, self._said_s = "", 0.0
        self._may_force = False

    def run(self) -> Guided:
        """Go on until every step has its plateau."""
        say(KEYS)
        self._announce()
        try:
            self._go_on()
        finally:
            self._line("")
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
        self._line("")
        say(f"   taken as point {len(self._state.points)}: {found.words}")
        self._announce()

    def _hear(self) -> None:
        line = self._typed.next()
        if line is None:
            if self._state.question and self._typed.ended:
                raise InputFault(f"{self._state.question} An answer is needed on stdin: y or n.")
            return
        if self._state.question:
            self._answered(line)
        elif not line:
            self._force()
        elif line.lower() == "q":
            raise InputFault("stopped by hand: nothing is lost, the points so far are kept")
        elif line.lower().startswith("v"):
            self._void(line[1:].strip())
        else:
            say(KEYS)

    def _answered(self, line: str) -> None:
        if line.lower() not in ("y", "yes", "n", "no"):
            say(f"{self._state.question} [y/n]")
            return
        self._state = answer(self._state, line.lower().startswith("y"))
        if self._state.refused:
            raise InputFault("stopped: look at the wiring, or at `sign` in the rig file")
        self._announce()

    def _force(self) -> None:
        if self._may_force:
            self._state = take_as_it_is(self._state)
        else:
            say("   not steady yet: it is taken by itself as soon as it is")

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
        self._line("")
        say(f"   point {number} is void, and kept: {reason}")
        self._announce()

    def _announce(self) -> None:
        state = self._state
        if state.question:
            say(f"{state.question} [y/n]")
        elif state.step is not None:
            at = state.plan.steps.index(state.step) + 1
            say(f"{at} of {len(state.plan.steps)}, series {state.step.series}: {state.step.words}")

    def _show(self, found: Look) -> None:
        """Say how it goes: in place on a terminal, now and then in a pipe."""
        filled = round(found.settled * BAR)
        words = found.words
        line = f"   [{'=' * filled}{' ' * (BAR - filled)}] {words}"
        now_s = time.monotonic()
        if self._terminal:
            self._line(line)
        elif found.may_force and words != self._said and now_s - self._said_s > SAY_EVERY_S:
            self._said, self._said_s = words, now_s
            say(line)

    def _line(self, text: str) -> None:
        if self._terminal:
            sys.stderr.write("\r\x1b[K" + text[: self._width])
            sys.stderr.flush()
