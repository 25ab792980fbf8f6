"""Block numerals and letters of our own, drawn as strokes so that any height looks right.

A glyph is a few poly-lines on a grid three points wide (0 to 2) and five high (0 to 4). Corners are
cut at 45 degrees unless marked ``!``, so that 3, 6, 8 and 9 differ in outline, not in one
pixel, at any size. A picture element is one column wide and half a row high: about a square.
"""

from functools import lru_cache
from itertools import pairwise

import numpy as np
import numpy.typing as npt

Picture = npt.NDArray[np.bool_]

#: glyph -> (breadth as a part of a digit's, poly-lines "x,y x,y ..."; ``!`` keeps a corner sharp).
GLYPHS: dict[str, tuple[float, tuple[str, ...]]] = {
    "0": (1.0, ("1,0 2,0 2,4 0,4 0,0 1,0",)),
    "1": (0.62, ("0,1 1.2,0! 1.2,4", "0.2,4 2,4")),
    "2": (1.0, ("0,1 0,0 2,0 2,1.7 0,4! 2,4",)),
    "3": (1.0, ("0,0 2,0 2,2 0.8,2", "0.8,2 2,2 2,4 0,4")),
    "4": (1.0, ("1.1,0 0,2.8! 2,2.8", "1.4,1.3 1.4,4")),
    "5": (1.0, ("2,0 0,0! 0,1.8! 2,1.8 2,4 0,4",)),
    "6": (1.0, ("1.8,0 0,0 0,4 2,4 2,2 0,2",)),
    "7": (1.0, ("0,0 2,0! 0.8,4",)),
    "8": (1.0, ("1,0 2,0 2,2 0,2 0,0 1,0", "1,4 2,4 2,2 0,2 0,4 1,4")),
    "9": (1.0, ("0.2,4 2,4 2,0 0,0 0,2 2,2",)),
    "-": (0.7, ("0,2 2,2",)),
    "+": (0.8, ("0,2 2,2", "1,1 1,3")),
    ".": (0.0, ("0,4 0,4",)),
    ":": (0.0, ("0,1.2 0,1.2", "0,3.2 0,3.2")),
    "!": (0.0, ("0,0 0,2.5", "0,4 0,4")),
    " ": (0.45, ()),
    "/": (0.7, ("2,0 0,4",)),
    "?": (0.9, ("0,1 0,0 2,0 2,2 1,2! 1,2.8", "1,4 1,4")),
    "A": (1.0, ("0,4 0,0 2,0 2,4", "0,2.3 2,2.3")),
    "B": (1.0, ("1,0 2,0 2,2 0,2! 0,0! 1,0", "0,2! 2,2 2,4 0,4! 0,2")),
    "C": (0.9, ("2,0 0,0 0,4 2,4",)),
    "D": (1.0, ("0,0! 2,0 2,4 0,4! 0,0! 0.1,0",)),
    "E": (0.85, ("2,0 0,0! 0,4! 2,4", "0,2 1.5,2")),
    "F": (0.85, ("2,0 0,0! 0,4", "0,2 1.5,2")),
    "G": (1.0, ("1.9,0 0,0 0,4 2,4! 2,2.5! 1.5,2.5",)),
    "H": (1.0, ("0,0 0,4", "2,0 2,4", "0,2 2,2")),
    "I": (0.5, ("0,0 2,0", "1,0 1,4", "0,4 2,4")),
    "J": (0.9, ("2,0 2,4 0,4 0,3",)),
    "K": (1.0, ("0,0 0,4", "2,0 0.2,2.1! 2,4")),
    "L": (0.85, ("0,0 0,4! 2,4",)),
    "M": (1.3, ("0,4 0,0! 1,1.7! 2,0! 2,4",)),
    "N": (1.05, ("0,4 0,0! 2,4! 2,0",)),
    "O": (1.0, ("1,0 2,0 2,4 0,4 0,0 1,0",)),
    "P": (1.0, ("0,4 0,0! 2,0 2,2.2 0,2.2",)),
    "Q": (1.0, ("1,0 2,0 2,4 0,4 0,0 1,0", "1.1,2.8 2,4")),
    "R": (1.0, ("0,4 0,0! 2,0 2,2 0,2", "1,2 2,4")),
    "S": (0.95, ("2,0 0,0 0,2 2,2 2,4 0,4",)),
    "T": (1.0, ("0,0 2,0", "1,0 1,4")),
    "U": (1.0, ("0,0 0,4 2,4 2,0",)),
    "V": (1.05, ("0,0 1,4! 2,0",)),
    "W": (1.5, ("0,0 0.5,4! 1,1.6! 1.5,4! 2,0",)),
    "X": (1.0, ("0,0 2,4", "2,0 0,4")),
    "Y": (1.0, ("0,0 1,2! 2,0", "1,2 1,4")),
    "Z": (1.0, ("0,0 2,0! 0,4! 2,4",)),
    "k": (0.8, ("0,0 0,4", "2,1.4 0.2,2.7! 2,4")),
    "g": (0.85, ("2,3 0,3 0,1.4 2,1.4! 2,4 0.2,4",)),
    "f": (0.6, ("2,0 0.8,0 0.8,4", "0,1.5 2,1.5")),
    "l": (0.4, ("0,0 0,4! 2,4",)),
    "b": (0.85, ("0,0 0,4! 2,4 2,1.6 0,1.6",)),
}

HALVES = np.array([" ", "▀", "▄", "█"])


def drawable(text: str) -> str:
    """Return ``text`` with what has no glyph turned to capitals, or to a question mark."""
    kept = (g if g in GLYPHS else g.upper() if g.upper() in GLYPHS else "?" for g in text)
    return "".join(kept)


def stroke_px(height_px: int) -> int:
    """Return the breadth of a stroke for glyphs of a height."""
    return max(1, round(height_px / 6.2))


def _breadth_px(glyph: str, height_px: int) -> int:
    """Return how many columns a glyph takes, without the space after it."""
    stroke = stroke_px(height_px)
    return max(stroke, round(GLYPHS[glyph][0] * 0.6 * height_px))


def _points(path: str, breadth: int, height: int, stroke: int) -> list[tuple[float, float]]:
    """Return a poly-line in picture elements, corners cut."""
    raw, sharp = [], []
    for word in path.split():
        x, y = word.rstrip("!").split(",")
        raw.append(
            (
                float(round(float(x) / 2 * (breadth - stroke))),
                float(round(float(y) / 4 * (height - stroke))),
            )
        )
        sharp.append(word.endswith("!"))
    cut = max(1.0, 0.13 * height)
    points = [raw[0]]
    for before, here, after, keep in zip(raw, raw[1:], raw[2:], sharp[1:], strict=False):
        if keep or height < 8:
            points.append(here)
            continue
        points += [_towards(here, before, cut), _towards(here, after, cut)]
    return [*points, raw[-1]]


def _towards(
    start: tuple[float, float], end: tuple[float, float], step: float
) -> tuple[float, float]:
    dx, dy = end[0] - start[0], end[1] - start[1]
    length = max((dx * dx + dy * dy) ** 0.5, 1e-9)
    part = min(step / length, 0.5)
    return start[0] + part * dx, start[1] + part * dy


@lru_cache(maxsize=1024)
def glyph_picture(glyph: str, height_px: int) -> Picture:
    """Return one glyph as a picture ``(height_px, breadth)``."""
    stroke, breadth = stroke_px(height_px), _breadth_px(glyph, height_px)
    y, x = np.mgrid[0:height_px, 0:breadth].astype(float)
    x -= (stroke - 1) / 2
    y -= (stroke - 1) / 2
    picture = np.zeros((height_px, breadth), bool)
    for path in GLYPHS[glyph][1]:
        points = _points(path, breadth, height_px, stroke)
        for start, end in pairwise(points):
            picture |= _distance(x, y, start, end) <= stroke / 2 - 0.01
    return picture


def _distance(
    x: np.ndarray, y: np.ndarray, start: tuple[float, float], end: tuple[float, float]
) -> np.ndarray:
    """Return the distance of each picture element from a stroke; square ends if upright."""
    dx, dy = end[0] - start[0], end[1] - start[1]
    square = dx * dx + dy * dy
    part = (
        0.0 if square == 0 else np.clip(((x - start[0]) * dx + (y - start[1]) * dy) / square, 0, 1)
    )
    off_x, off_y = np.abs(x - start[0] - part * dx), np.abs(y - start[1] - part * dy)
    if dx == 0 or dy == 0:
        return np.maximum(off_x, off_y)
    return np.hypot(off_x, off_y)


def gap_px(height_px: int) -> int:
    """Return the columns between two glyphs."""
    return max(1, round(height_px / 10))


def width_of(text: str, rows: int) -> int:
    """Return how many columns ``text`` takes at ``rows`` rows."""
    if not text:
        return 0
    height = 2 * rows
    return sum(_breadth_px(g, height) for g in text) + gap_px(height) * (len(text) - 1)


def tallest(text: str, columns: int, rows: int) -> int:
    """Return the greatest height in rows, at most ``rows``, at which ``text`` fits (0: none)."""
    for height in range(rows, 2, -1):
        if width_of(text, height) <= columns:
            return height
    return 0


@lru_cache(maxsize=256)
def block_text(text: str, rows: int) -> tuple[str, ...]:
    """Return ``text`` drawn ``rows`` rows high, one string per row, all of the same length."""
    height = 2 * rows
    space = np.zeros((height, gap_px(height)), bool)
    parts: list[Picture] = []
    for glyph in text:
        parts += [glyph_picture(glyph, height), space]
    if not parts:
        return ("",) * rows
    picture = np.hstack(parts[:-1])
    return tuple("".join(row) for row in HALVES[picture[0::2] + 2 * picture[1::2]])
