"""Pieces that several pages draw: a list with one line chosen, its rolling, a plot of curves."""

from collections.abc import Sequence

import numpy as np

from tui.drawing import Line, fit
from tui.trace_columns import Columns
from tui.widgets.braille import BLANK, characters
from tui.widgets.braille import line_of as joined


def rolled(count: int, chosen: int, height: int) -> range:
    """Return which of ``count`` lines show in ``height`` rows so that the chosen one does."""
    first = min(max(0, chosen - height // 2), max(0, count - height))
    return range(first, min(count, first + height))


def listed(lines: Sequence[Line], chosen: int, width: int, height: int) -> list[Line]:
    """Return a list of lines, the chosen one led by a sign, rolled to the rows there are."""
    shown = rolled(len(lines), chosen, height)
    return [fit(((" ▸ " if at == chosen else "   ", "strong"), *lines[at]), width) for at in shown]


def moved(chosen: int, key: str, pressed: str, count: int) -> int:
    """Return what is chosen after "up" or "down" was pressed."""
    by = 10 if pressed.startswith("page") else 1
    return max(0, min(count - 1, chosen + (by if key == "down" else -by)))


def curves(
    drawn: Sequence[tuple[str, Columns]], top_n: float, width: int, height: int
) -> list[Line]:
    """Return curves over one another, the first on top; each one's letter stands at its maximum.

    All begin at their own start; the axis is as long as the longest.
    """
    if not drawn or height < 2 or width < 8:
        return []
    span_s = max(len(c.least_n) * c.width_s for _, c in drawn)
    glyphs = np.full((height, width), " ", dtype="U1")
    roles = np.full((height, width), "", dtype="U8")
    low_n = min(0.0, *(float(np.nanmin(c.least_n)) for _, c in drawn))
    for at, (_, one) in reversed(list(enumerate(drawn))):
        codes = characters(_stretched(one, span_s, 2 * width), low_n, top_n, width, height)
        marked = codes != 0
        glyphs[marked] = (codes[marked] + BLANK).astype(np.uint32).view("U1")
        roles[marked] = "trace" if at == 0 else "old"
    for letter, one in drawn if len(drawn) > 1 else ():
        best = int(np.nanargmax(one.greatest_n))
        row = int((top_n - float(one.greatest_n[best])) / (top_n - low_n) * height)
        column = int((best + 0.5) * one.width_s / span_s * width)
        place = max(0, min(row, height) - 1), min(column, width - 1)
        glyphs[place], roles[place] = letter, "strong"
    return [joined(glyphs[row], roles[row]) for row in range(height)]


def _stretched(one: Columns, span_s: float, count: int) -> Columns:
    """Return a curve's columns on a grid of ``count`` over ``span_s``; extremes stay."""
    times = (np.arange(len(one.least_n)) + 0.5) * one.width_s
    at = np.minimum((times / span_s * count).astype(np.int64), count - 1)
    least, greatest = np.full(count, np.nan), np.full(count, np.nan)
    flags = np.zeros(count, np.uint16)
    with np.errstate(invalid="ignore"):
        np.fmin.at(least, at, one.least_n)
        np.fmax.at(greatest, at, one.greatest_n)
    np.bitwise_or.at(flags, at, one.flags)
    return Columns(least, greatest, flags, 0.0, span_s / count)
