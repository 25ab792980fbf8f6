"""From bytes that were listened to: what `[link]` of the rig file should say. Pure.

What is proposed is read back by the decoder that would read it live, so a proposal that does not
fit says so itself.
"""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from daq.rig.rig import Cell, Checksum, Link
from daq.samples import COUNTS_MAX, COUNTS_MIN, Chunk
from daq.wire.decoders import make_decoder
from daq.wire.line_layout import CHECKSUM_LENGTH, CLOCK_MAX, SKIP
from daq.wire.packets import SAMPLE, opened
from daq.wire.text_lines import checksum_agrees

CHECKSUMS: tuple[Checksum, ...] = ("xor", "crc")

SEPARATORS = (",", ";", "\t", " ")
_ENOUGH = 8  # lines or frames before anything is proposed
_MOSTLY = 0.8
_MS_STEADY = 0.35  # a clock's steps vary by less than this part of their median
_COUNTER_STEP = 1

Numbers = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Proposal:
    """A link that fits what came, how much of it (0 to 1), and what was seen, in sentences."""

    link: Link
    fits: float
    lines: int
    seen: tuple[str, ...]


def propose(
    data: bytes, seconds: float, baud: int, cells: Sequence[str] = ("left", "right")
) -> Proposal | None:
    """Return what the rig file should say of a board that sent ``data`` in ``seconds``.

    ``cells`` are names for the load-cell fields, in order; when there are more columns than names
    the others are called cell3, cell4 ... None where nothing sensible came (wrong baud rate, too
    little).
    """
    found = _packets(data, baud, cells) or _text(data, seconds, baud, cells)
    if found is None:
        return None
    link, seen = found
    fits, lines = _read_back(link, data)
    return Proposal(link, fits, lines, tuple(seen)) if lines >= _ENOUGH else None


def best(proposals: Sequence[Proposal | None]) -> Proposal | None:
    """Return the proposal that fits most of what came."""
    there = [proposal for proposal in proposals if proposal is not None]
    return max(there, key=lambda one: (one.fits, one.lines), default=None)


def toml_lines(link: Link) -> dict[str, str | int | list[str]]:
    """Return the keys of ``[link]`` as the rig file holds them."""
    table: dict[str, str | int | list[str]] = {
        "baud": link.baud, "format": link.format, "fields": list(link.fields),
    }  # fmt: skip
    if link.format == "text":
        table |= {"separator": link.separator, "checksum": link.checksum}
    return table


# Packets


def _packets(data: bytes, baud: int, cells: Sequence[str]) -> tuple[Link, list[str]] | None:
    frames = data.split(b"\0")[1:-1]
    counts = Counter(filter(None, map(_cells_of_frame, frames)))
    if sum(counts.values()) < max(_ENOUGH, _MOSTLY * len(frames)):
        return None
    number = counts.most_common(1)[0][0]
    seen = [f"packets with a right checksum, {number} counts in each"]
    fields = tuple(_names(cells, number))
    return Link(fields=fields, baud=baud, format="packet"), seen


def _cells_of_frame(frame: bytes) -> int | None:
    """Return how many counts a sample frame holds; None for any other."""
    found = opened(frame)
    return found[1] if isinstance(found, bytes) and found[0] == SAMPLE else None


# Text


def _text(
    data: bytes, seconds: float, baud: int, cells: Sequence[str]
) -> tuple[Link, list[str]] | None:
    lines = [line.removesuffix(b"\r") for line in data.split(b"\n")[1:-1]]
    lines = [line for line in lines if line.strip() and not line.startswith(b"#")]
    if len(lines) < _ENOUGH:
        return None
    checksum, bodies = _checksum(lines)
    tables = [(_table(bodies, mark), mark) for mark in SEPARATORS]
    table, separator = max(tables, key=lambda pair: (len(pair[0]), pair[0].shape[1]))
    if len(table) < _MOSTLY * len(lines):
        return None
    fields, seen = _fields(table, seconds, cells)
    if checksum != "none":
        seen.append(f"each line ends in a right checksum ({checksum})")
    return Link(tuple(fields), None, baud, "text", separator, checksum), seen


def _checksum(lines: Sequence[bytes]) -> tuple[Checksum, list[bytes]]:
    """Return the checksum that most lines carry rightly, and the lines without it."""
    for name in CHECKSUMS:
        bodies = [(line, line[: -CHECKSUM_LENGTH[name]]) for line in lines]
        right = [body for line, body in bodies if checksum_agrees(line, body, name)]
        if len(right) >= _MOSTLY * len(lines):
            return name, right
    return "none", list(lines)


def _table(lines: Sequence[bytes], separator: str) -> Numbers:
    """Return the lines that hold the usual number of whole numbers, ``(lines, fields)``."""
    mark = separator.encode()
    rows = []
    for line in lines:
        parts = line.split(None if separator == " " else mark)
        if all(re.fullmatch(rb"\s*[+-]?[0-9]{1,10}\s*", part) for part in parts):
            rows.append([int(part) for part in parts])
    usual = Counter(map(len, rows)).most_common(1)
    if not usual:
        return np.empty((0, 0), np.int64)
    width = usual[0][0]
    return np.array([row for row in rows if len(row) == width], np.int64).reshape(-1, width)


def _fields(table: Numbers, seconds: float, cells: Sequence[str]) -> tuple[list[str], list[str]]:
    """Return a name for each column, and why."""
    kinds: list[str] = []
    seen: list[str] = []
    for at, column in enumerate(table.T, start=1):
        kind, why = _kind(column, seconds, any(k.startswith("time") for k in kinds))
        kinds.append(kind)
        seen.append(f"field {at}: {why}")
    names = iter(_names(cells, kinds.count("cell")))
    return [next(names) if kind == "cell" else kind for kind in kinds], seen


def _kind(column: Numbers, seconds: float, clock_found: bool) -> tuple[str, str]:
    steps = np.diff(column)
    middle = float(np.median(steps)) if len(steps) else 0.0
    rising = len(steps) > 0 and float(np.mean(steps > 0)) > _MOSTLY
    within_clock = column.min() >= 0 and column.max() <= CLOCK_MAX
    steady = rising and float(np.mean(np.abs(steps - middle) <= 1 + _MS_STEADY * middle)) > _MOSTLY
    if steady and within_clock and np.all(steps[steps > 0] == _COUNTER_STEP):
        return SKIP, "counts the lines, not used"
    if steady and within_clock and not clock_found and middle > _COUNTER_STEP:
        unit = _clock_unit(column, seconds)
        return unit, f"a clock, about {middle:.0f} {unit.removeprefix('time_')} a line"
    if column.min() < COUNTS_MIN or column.max() > COUNTS_MAX:
        return SKIP, "beyond 24 bits, so no count of a cell"
    if column.min() == column.max():
        ends = column[0] in (0, -1, COUNTS_MIN, COUNTS_MAX)
        return "cell", f"stands still at {column[0]}: " + (
            "LOOK AT THE WIRING" if ends else "a cell, if pressing it by hand moves it"
        )
    return "cell", f"moves between {column.min()} and {column.max()}: a cell"


def _clock_unit(column: Numbers, seconds: float) -> str:
    """Return milliseconds or microseconds, whichever agrees better with the time listened."""
    span = max(float(column[-1] - column[0]), 1.0)
    us, ms = abs(np.log(span / (1e6 * seconds))), abs(np.log(span / (1e3 * seconds)))
    return "time_us" if us < ms else "time_ms"


def _names(cells: Sequence[str], number: int) -> list[str]:
    return [*cells[:number], *(f"cell{at + 1}" for at in range(len(cells), number))]


def _read_back(link: Link, data: bytes) -> tuple[float, int]:
    """Return which part of the lines the live decoder takes, and how many lines there were."""
    names = [name for name in link.fields if not name.startswith("time_") and name != SKIP]
    if not names:
        return 0.0, 0
    decoder = make_decoder(link, [Cell(name, name, 1.0) for name in names])
    parts = [decoder.feed(Chunk(data, 0)), decoder.finish()]
    good = sum(len(part.samples) for part in parts)
    bad = sum(e.is_bad_line and e.kind != "first line" for part in parts for e in part.events)
    return good / max(good + bad, 1), good + bad
