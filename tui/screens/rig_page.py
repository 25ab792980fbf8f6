"""What the rig may carry, as on the command line, and the same at another ratio."""

import io

from rich.console import Console as RichConsole
from rich.segment import Segment

from daq.faults import Fault
from daq.rig.load_path import at_ratio, load_path
from daq.rig.rig import Rig
from daq.units import format_force
from tui.drawing import EMPTY, Line, fit, wrapped
from tui.page import Desk
from tui.rig_change import with_stop, write_rig
from tui.rig_page import rig_page
from tui.view import View

NO_RIG = "No rig file: a replay, or a session without one."


class RigPage:
    """Scrolls the page of ``pullstand rig check``."""

    name = "rig"

    def __init__(self, desk: Desk, rig: Rig | None) -> None:
        self.desk, self.rig = desk, rig
        self.ratio: float | None = None
        self.refused = ""  # why a stop was not taken, to be read in full
        self.top = 0
        self._drawn: tuple[object, list[Line]] = (None, [])

    def look(self) -> None:
        """Nothing comes by itself."""

    def close(self) -> None:
        """Nothing to let go."""

    def press(self, key: str, pressed: str) -> None:
        """Do what a key stands for."""
        if key == "what_if":
            self.desk.ask_line("What if the lever had another ratio? (3 or 3:1; empty: none)",
                               self._what_if)  # fmt: skip
            return
        if key == "stop":
            self._ask_stop()
            return
        by = 10 if pressed.startswith("page") else 1
        self.top = max(0, self.top + (by if key == "down" else -by))

    def _ask_stop(self) -> None:
        if self.rig is None:
            self.desk.say(NO_RIG)
            return
        stop, allowed = self.rig.stop.stop_n, load_path(self.rig).stop_allowed_n
        self.desk.ask_line(
            f"Stop force, a notice and no safety function (now {format_force(stop)}, this rig "
            f"allows {format_force(allowed)}):",
            self._stop,
        )

    def _stop(self, text: str) -> None:
        if self.rig is None or not text.strip():
            return
        before = self.rig
        try:
            changed = with_stop(before, text)
        except Fault as fault:
            self.refused, self.top, self._drawn = f"Stop not taken: {fault}", 0, (None, [])
            return
        self.refused, self.rig, self._drawn = "", changed, (None, [])
        self.desk.use_rig(changed)
        words = f"the stop is {format_force(changed.stop.stop_n)} now"
        try:
            write_rig(changed, before)
        except Fault as fault:
            self.desk.say(f"{words}; for this session only: {fault}")
            return
        self.desk.say(f"{words}, and in {changed.path}")

    def _what_if(self, text: str) -> None:
        self.ratio = None
        try:
            ratio = float(text.strip().removesuffix(":1")) if text.strip() else None
        except ValueError:
            self.desk.say(f"not taken: {text.strip()} is no ratio; write 3 or 3:1")
            return
        try:
            if self.rig is not None and ratio is not None:
                load_path(at_ratio(self.rig, ratio))
            self.ratio = ratio
        except (ValueError, Fault) as error:
            self.desk.say(f"not taken: {error}")
        self.top = 0

    def draw(self, view: View, width: int, height: int) -> list[Line]:
        """Draw the part of the page that fits."""
        if self.rig is None:
            return [EMPTY, ((f" {NO_RIG}", "quiet"),)]
        asked = (self.ratio, view.unit, width)
        if self._drawn[0] != asked:
            self._drawn = (asked, self._lines(self.rig, view.unit, width))
        lines = self._drawn[1]
        self.top = min(self.top, max(0, len(lines) - height))
        shown = lines[self.top : self.top + height]
        if self.top + height < len(lines):
            shown[-1] = ((f" ↓ {len(lines) - self.top - height + 1} more lines", "quiet"),)
        return shown

    def _lines(self, rig: Rig, unit: str, width: int) -> list[Line]:
        other = None if self.ratio is None else load_path(at_ratio(rig, self.ratio))
        console = RichConsole(file=io.StringIO(), width=width - 2, color_system=None)
        lines: list[Line] = [((f" {line}", "warn"),) for line in wrapped(self.refused, width - 2)]
        for piece in rig_page(rig, load_path(rig), other, unit):
            for row in console.render_lines(piece, pad=False):
                lines.append(fit(((" ", ""), *(_piece(part) for part in row)), width))
        return lines


def _piece(part: Segment) -> tuple[str, str]:
    bold = part.style is not None and bool(part.style.bold)
    return (part.text.rstrip("\n"), "strong" if bold else "")
