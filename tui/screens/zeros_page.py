"""Each cell at rest: how quiet it is, what the zero is, and how to take one."""

import math

from tui import wording
from tui.drawing import EMPTY, Line, fit
from tui.page import Desk
from tui.view import View

LOOK_S = 2.0
STEPS = (
    "1  Hook slack: the fastener carries nothing, the beam rests on the jack as in a pull.",
    "2  Hands off beam, jack and cable; nobody leans on the bench.",
    "3  Wait until the spread below stands still (a cold board wanders for half an hour).",
    "4  z takes the zero from the last two seconds; it refuses while the force is not quiet.",
)


class ZerosPage:
    """Shows rest and spread; zero and undo go to the session."""

    name = "zeros"

    def __init__(self, desk: Desk) -> None:
        self.desk = desk

    def look(self) -> None:
        """The readings come with the view."""

    def close(self) -> None:
        """Nothing to let go."""

    def press(self, key: str, pressed: str) -> None:
        """Ask the session."""
        session = self.desk.session
        if key == "zero":
            self.desk.request(session.zero, "zero asked for")
        elif key == "undo":
            self.desk.request(session.undo_zero, "back to the zero before")

    def draw(self, view: View, width: int, height: int) -> list[Line]:
        """Draw the steps, the spread of the last seconds, each cell, and what was said of zeros."""
        reading = view.reading
        zero = f"zero {reading.zero_note}" if reading.zeroed else "NO ZERO YET"
        lines: list[Line] = [
            ((" Zero", "strong"), (f"   {zero}", "" if reading.zeroed else "warn"))
        ]
        lines += [((f" {step}", ""),) for step in STEPS] + [EMPTY]
        lines.append(((f" {spread_words(view)}", "strong"),))
        for cell in reading.cells:
            lines.append(((f" {cell.name}: {wording.with_unit(cell.force_n, view.unit)}", ""),))
        lines.append(EMPTY)
        said = [words for words in reading.notices if "ero" in words]
        lines += [((f" {words}", "quiet"),) for words in said[-4:]]
        return [fit(line, width) for line in lines][:height]


def spread_words(view: View) -> str:
    """Return how far the force moved in the last seconds, as the traces have it."""
    count = round(view.recent.span_s / LOOK_S)
    columns = view.recent.columns(count)
    low, high = columns.least_n[-1], columns.greatest_n[-1]
    if not (math.isfinite(low) and math.isfinite(high)):
        return "no samples in the last two seconds"
    apart = wording.with_unit(float(high - low), view.unit)
    share = 100.0 * float(high - low) / view.reading.stop_n
    return f"last {LOOK_S:.0f} s: spread {apart} at the specimen, {share:.2f} % of the stop"
