"""Lines of good form, the oddities between them, and the verdicts on a block of both."""

from bisect import bisect_left, bisect_right, insort
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from daq.samples import CountArray
from daq.wire.decoded import BAD_LINE_KINDS, WireEvent

IntArray = npt.NDArray[np.int64]


class Oddity(NamedTuple):
    """A line that is no row: how many rows of the block precede it, and what it is."""

    position: int
    kind: str
    arrival_ns: int
    text: str


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """Lines of good form, n of them: clock in ticks or None, counts (n, cells), arrival in ns.

    ``sequence`` is the number a packet carries, else None.
    """

    clock: IntArray | None
    sequence: IntArray | None
    counts: CountArray
    arrival_ns: IntArray

    def __len__(self) -> int:
        return len(self.arrival_ns)

    def only(self, which: npt.NDArray[np.bool_] | list[int]) -> "Rows":
        """Return some of the rows (copied)."""
        return Rows(
            None if self.clock is None else self.clock[which],
            None if self.sequence is None else self.sequence[which],
            self.counts[which],
            self.arrival_ns[which],
        )

    def then(self, other: "Rows") -> "Rows":
        """Return these rows followed by ``other``."""
        return Rows(
            _joined(self.clock, other.clock),
            _joined(self.sequence, other.sequence),
            np.concatenate([self.counts, other.counts]),
            np.concatenate([self.arrival_ns, other.arrival_ns]),
        )

    def text(self, row: int) -> str:
        """Return the numbers of a row, for an event."""
        clock = [] if self.clock is None else [int(self.clock[row])]
        return ",".join(map(str, [*clock, *self.counts[row].tolist()]))


def _joined(first: IntArray | None, second: IntArray | None) -> IntArray | None:
    return None if first is None or second is None else np.concatenate([first, second])


class Judgement:
    """The verdicts on one block, row by row, as they are reached."""

    def __init__(self, rows: Rows, odd: Sequence[Oddity], bad_carried: int) -> None:
        count = len(rows)
        self.rows = rows
        self.good = np.zeros(count, dtype=bool)
        self.board_us = np.zeros(count, dtype=np.int64)
        self.flags = np.zeros(count, dtype=np.uint16)
        self.marks: list[tuple[int, str, int]] = []  # (row, kind, count)
        self._odd_at = [each.position for each in odd]
        self._bad_at = [each.position for each in odd if each.kind in BAD_LINE_KINDS]
        self._rejected: list[int] = []
        self._baseline = -bad_carried

    def reject(self, row: int, kind: str) -> None:
        """Count a row as a bad line."""
        insort(self._rejected, row)
        self.marks.append((row, kind, 1))

    def accept_last(self, row: int) -> None:
        """``row`` is the last good one so far: bad lines are counted from here."""
        self.good[row] = True
        self._baseline += self.bad_before(row)

    def bad_before(self, row: int) -> int:
        """Return how many bad lines lie between the last good row and ``row``."""
        lines = bisect_right(self._bad_at, row) + bisect_left(self._rejected, row)
        return lines - self._baseline

    def odd_between(self, held: int, row: int) -> int:
        """Return how many oddities lie between a held row and ``row``."""
        lines = bisect_right(self._odd_at, row) - bisect_right(self._odd_at, held)
        return lines + bisect_left(self._rejected, row) - bisect_right(self._rejected, held)

    def events(self, odd: Sequence[Oddity], first_index: int) -> tuple[WireEvent, ...]:
        """Return oddities and marks as events, in line order; ``first_index``: the next sample."""
        if not odd and not self.marks:
            return ()
        index = [first_index, *(first_index + np.cumsum(self.good)).tolist()]
        told = [
            (
                each.position,
                0,
                WireEvent(each.kind, index[each.position], each.arrival_ns, 1, each.text),
            )
            for each in odd
        ]
        for row, kind, count in self.marks:
            text = self.rows.text(row) if kind in BAD_LINE_KINDS else ""
            arrival_ns = int(self.rows.arrival_ns[row])
            told.append((row, 1, WireEvent(kind, index[row], arrival_ns, count, text)))
        told.sort(key=lambda each: each[:2])
        return tuple(event for _, _, event in told)
