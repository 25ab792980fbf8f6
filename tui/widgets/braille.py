"""The trace on braille dots: two columns and four rows of dots a character. Pure."""

import math
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from daq.samples import CountArray, FloatArray
from tui import wording
from tui.drawing import Line, beside, fit
from tui.trace_columns import BROKEN, Columns
from tui.view import View

#: Weight of each dot of a character, ``(4 rows, 2 columns)``, as the Unicode block has them.
DOTS = np.array([[0x01, 0x08], [0x02, 0x10], [0x04, 0x20], [0x40, 0x80]], np.int32)
BLANK = 0x2800
Glyphs = npt.NDArray[np.str_]
SHORTEST_SPAN_S = 30.0


def draw_traces(view: View, width: int, height: int) -> list[Line]:
    """Draw the whole pull and the last 20 s side by side."""
    if height < 2:
        return []
    left = (width - 3) * 3 // 5
    right = width - 3 - left
    whole, recent = _whole(view, left, height), _recent(view, right, height)
    return [((" ", ""), *line) for line in beside(whole, recent, left + 1)]


def span_of(pull_s: float) -> float:
    """Return the seconds the axis of a whole pull covers: 30, 60, 120, 240 ..."""
    if not math.isfinite(pull_s) or pull_s <= SHORTEST_SPAN_S:
        return SHORTEST_SPAN_S
    return SHORTEST_SPAN_S * 2.0 ** math.ceil(math.log2(pull_s / SHORTEST_SPAN_S))


def _whole(view: View, width: int, height: int) -> list[Line]:
    span = span_of(view.whole.end_s - view.whole.start_s)
    columns = view.whole.columns(span, 2 * width)
    title = f"whole pull, 0:00 to {wording.clock(span)}"
    return [fit(((title, "quiet"),), width), *_plot(view, columns, width, height - 1, True)]


def _recent(view: View, width: int, height: int) -> list[Line]:
    columns = view.recent.columns(2 * width)
    low, high = force_range(columns, view.reading.stop_n, False)
    axis = f"{wording.digits(low, view.unit)} to {wording.with_unit(high, view.unit)}"
    title = fit(((f"last {view.recent.span_s:.0f} s, {axis}", "quiet"),), width)
    return [title, *_plot(view, columns, width, height - 1, False)]


def _plot(view: View, columns: Columns, width: int, height: int, whole: bool) -> list[Line]:
    reading = view.reading
    low, high = force_range(columns, reading.stop_n, whole)
    codes = characters(columns, low, high, width, height)
    glyphs = np.where(codes == 0, ord(" "), codes + BLANK).astype(np.uint32).view("U1")
    roles = np.where(codes == 0, "", "trace").astype("U8")
    _shade(view.verified_n, low, high, glyphs, roles)
    for name, level, sign in (("warn", reading.warn_n, "╌"), ("stop", reading.stop_n, "━")):
        label = f"{sign} {name} {wording.digits(level, view.unit)} "
        _level(level, label, f"{name}_bar", low, high, glyphs, roles)
    _signs(view, columns, glyphs, roles)
    return [line_of(glyphs[row], roles[row]) for row in range(height)]


def force_range(columns: Columns, stop_n: float, whole: bool) -> tuple[float, float]:
    """Return least and greatest force of the axis: 0 to above the stop, or round what is near."""
    top = 1.06 * stop_n
    if np.all(np.isnan(columns.greatest_n)):
        return 0.0, top
    least, greatest = float(np.nanmin(columns.least_n)), float(np.nanmax(columns.greatest_n))
    if whole:
        return min(0.0, least), max(top, greatest)
    room = max(0.1 * (greatest - least), 0.02 * stop_n)
    return least - room, greatest + room


def characters(
    columns: Columns, low_n: float, high_n: float, width: int, height: int
) -> CountArray:
    """Return braille codes ``(height, width)`` less 0x2800; 0 where nothing is drawn.

    Each dot column is filled from its least to its greatest and joined to its neighbour, but
    never across a gap.
    """
    dots = np.zeros((4 * height, 2 * width), bool)
    scale = (4 * height - 1) / (high_n - low_n)
    top, bottom = _joined(columns)
    rows = np.arange(4 * height)[:, None]
    with np.errstate(invalid="ignore"):
        first = np.rint((high_n - top) * scale)
        last = np.rint((high_n - bottom) * scale)
        dots = (rows >= first) & (rows <= last)
    shaped = dots.reshape(height, 4, width, 2)
    return np.asarray((shaped * DOTS[None, :, None, :]).sum(axis=(1, 3)), np.int32)


def _joined(columns: Columns) -> tuple[FloatArray, FloatArray]:
    """Return greatest and least per column, stretched to meet the column before."""
    top, bottom = columns.greatest_n.copy(), columns.least_n.copy()
    filled = np.flatnonzero(~np.isnan(top))
    whole = (columns.flags[filled[1:]] & BROKEN) == 0
    here, before = filled[1:][whole], filled[:-1][whole]
    top[here] = np.fmax(top[here], columns.least_n[before])
    bottom[here] = np.fmin(bottom[here], columns.greatest_n[before])
    for start, end in zip(before, here, strict=True):
        if 1 < end - start <= 8:  # fewer samples than columns: hold the last value
            top[start + 1 : end] = columns.greatest_n[start]
            bottom[start + 1 : end] = columns.least_n[start]
    return top, bottom


def _shade(verified_n: float, low: float, high: float, glyphs: Glyphs, roles: Glyphs) -> None:
    """Shade all above the force the calibration verified."""
    if not verified_n < high:
        return
    rows = max(_row(verified_n, low, high, glyphs.shape[0]), 0)
    area = glyphs[:rows] == " "
    glyphs[:rows][area] = "░"
    roles[:rows][area] = "shade"


def _row(force_n: float, low: float, high: float, height: int) -> int:
    return int((high - force_n) / (high - low) * height)


def _level(
    force_n: float, label: str, role: str, low: float, high: float,
    glyphs: Glyphs, roles: Glyphs,
) -> None:  # fmt: skip
    """Draw a level with its name, behind the trace."""
    if not low <= force_n <= high:
        return
    height, width = glyphs.shape
    row = min(_row(force_n, low, high, height), height - 1)
    free = roles[row] != "trace"
    glyphs[row][free] = np.array(list(label.ljust(width, label[0])[:width]))[free]
    roles[row][free] = role


def _signs(view: View, columns: Columns, glyphs: Glyphs, roles: Glyphs) -> None:
    """Draw gaps and marks on the top row."""
    width = glyphs.shape[1]
    per_character = 2 * columns.width_s
    broken = np.flatnonzero(columns.flags & BROKEN) // 2
    glyphs[:, broken[broken < width]] = "┊"
    roles[:, broken[broken < width]] = "stop_bar"
    for mark in view.marks_s:
        at = math.floor((mark - columns.start_s) / per_character)
        if 0 <= at < width:
            glyphs[0, at], roles[0, at] = "▼", "mark"


def line_of(glyphs: Glyphs, roles: Glyphs) -> Line:
    """Return a row as pieces of one role each."""
    cuts = np.flatnonzero(roles[1:] != roles[:-1]) + 1
    edges = [0, *cuts.tolist(), len(roles)]
    text = "".join(glyphs.tolist())
    return tuple((text[a:b], str(roles[a])) for a, b in pairwise(edges))
