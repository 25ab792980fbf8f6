"""The trace thinned for a screen: least and greatest per column, every extreme kept.

A trace is held as a fixed number of buckets of equal time. When a pull outgrows them,
neighbours are merged and the bucket's time doubles. So memory and the cost of a frame do not
depend on the length of the pull, and a column's least and greatest are those of its raw samples.
"""

from dataclasses import dataclass

import numpy as np

from daq.live_reading import TraceBlock
from daq.samples import Flag, FloatArray
from tui.session import FlagArray

BUCKETS = 4096
BROKEN = np.uint16(Flag.GAP | Flag.RESTART)


@dataclass(frozen=True, slots=True)
class Columns:
    """A trace per column, each ``(columns,)``: least and greatest (N, NaN: empty) and flags."""

    least_n: FloatArray
    greatest_n: FloatArray
    flags: FlagArray
    start_s: float
    width_s: float


class Trace:
    """Buckets of a trace from ``start_s`` on; ``add`` costs per sample, ``columns`` does not."""

    def __init__(self, start_s: float, bucket_s: float = 1 / 128) -> None:
        self.start_s = start_s
        self.end_s = start_s
        self.bucket_s = bucket_s
        self._least = np.full(BUCKETS, np.inf)
        self._greatest = np.full(BUCKETS, -np.inf)
        self._flags = np.zeros(BUCKETS, np.uint16)

    def add(self, block: TraceBlock) -> None:
        """Take samples in; those before the start are left out."""
        inside = block.seconds >= self.start_s
        seconds, force, flags = block.seconds[inside], block.force_n[inside], block.flags[inside]
        if not seconds.size:
            return
        self.end_s = max(self.end_s, float(seconds[-1]))
        while self.end_s - self.start_s >= BUCKETS * self.bucket_s:
            self._double()
        at = ((seconds - self.start_s) / self.bucket_s).astype(np.int64)
        starts = np.flatnonzero(np.diff(at, prepend=-1))
        bucket = at[starts]
        least, greatest = self._least, self._greatest
        least[bucket] = np.minimum(least[bucket], np.minimum.reduceat(force, starts))
        greatest[bucket] = np.maximum(greatest[bucket], np.maximum.reduceat(force, starts))
        self._flags[bucket] |= np.bitwise_or.reduceat(flags, starts)

    def _double(self) -> None:
        half = BUCKETS // 2
        self._least[:half] = np.minimum(self._least[0::2], self._least[1::2])
        self._greatest[:half] = np.maximum(self._greatest[0::2], self._greatest[1::2])
        self._flags[:half] = self._flags[0::2] | self._flags[1::2]
        self._least[half:], self._greatest[half:], self._flags[half:] = np.inf, -np.inf, 0
        self.bucket_s *= 2

    def columns(self, span_s: float, count: int) -> Columns:
        """Return ``count`` columns over ``span_s`` seconds from the start."""
        return thin(
            self._least, self._greatest, self._flags, self.start_s, self.bucket_s, span_s, count
        )


def thin(
    least_n: FloatArray,
    greatest_n: FloatArray,
    flags: FlagArray,
    start_s: float,
    bucket_s: float,
    span_s: float,
    count: int,
) -> Columns:
    """Merge buckets ``(n,)`` into ``count`` columns over ``span_s``; an empty column is NaN."""
    edges = np.floor(np.arange(count) * (span_s / count / bucket_s)).astype(np.int64)
    used = np.minimum(edges, least_n.size - 1)
    end = min(int(np.ceil(span_s / bucket_s)), least_n.size)
    low = np.minimum.reduceat(least_n[: max(end, int(used[-1]) + 1)], used)
    high = np.maximum.reduceat(greatest_n[: max(end, int(used[-1]) + 1)], used)
    marks = np.bitwise_or.reduceat(flags[: max(end, int(used[-1]) + 1)], used)
    empty = (high == -np.inf) | (edges >= least_n.size)
    return Columns(
        np.where(empty, np.nan, low),
        np.where(empty, np.nan, high),
        np.where(empty, 0, marks).astype(np.uint16),
        start_s,
        span_s / count,
    )


class RecentTrace:
    """The last ``span_s`` seconds in a ring of buckets."""

    def __init__(self, span_s: float = 20.0, buckets: int = 1000) -> None:
        self.span_s = span_s
        self.bucket_s = span_s / buckets
        self._count = buckets
        self._newest = -1  # number of the newest bucket since time 0
        self._least = np.full(buckets, np.inf)
        self._greatest = np.full(buckets, -np.inf)
        self._flags = np.zeros(buckets, np.uint16)

    def add(self, block: TraceBlock) -> None:
        """Take samples in."""
        if not block.seconds.size:
            return
        at = np.floor(block.seconds / self.bucket_s).astype(np.int64)
        newest = int(at[-1])
        inside = (at > newest - self._count) & (at > self._newest - self._count)
        at, force, flags = at[inside], block.force_n[inside], block.flags[inside]
        self._advance(newest)
        starts = np.flatnonzero(np.diff(at, prepend=-1))
        slot = at[starts] % self._count
        self._least[slot] = np.minimum(self._least[slot], np.minimum.reduceat(force, starts))
        self._greatest[slot] = np.maximum(self._greatest[slot], np.maximum.reduceat(force, starts))
        self._flags[slot] |= np.bitwise_or.reduceat(flags, starts)

    def _advance(self, newest: int) -> None:
        """Empty the buckets between the newest so far and the new one."""
        if newest <= self._newest:
            return
        new = np.arange(max(self._newest + 1, newest - self._count + 1), newest + 1) % self._count
        self._least[new], self._greatest[new], self._flags[new] = np.inf, -np.inf, 0
        self._newest = newest

    def columns(self, count: int) -> Columns:
        """Return ``count`` columns that end now."""
        turn = np.arange(self._newest + 1, self._newest + 1 + self._count) % self._count
        start_s = (self._newest + 1) * self.bucket_s - self.span_s
        return thin(
            self._least[turn],
            self._greatest[turn],
            self._flags[turn],
            start_s,
            self.bucket_s,
            self.span_s,
            count,
        )

    def block_from(self, start_s: float) -> TraceBlock:
        """Return what is held since ``start_s`` as samples, two a bucket (least, greatest)."""
        turn = np.arange(self._newest + 1, self._newest + 1 + self._count) % self._count
        seconds = (np.arange(self._count) - self._count + 1 + self._newest) * self.bucket_s
        kept = (self._greatest[turn] > -np.inf) & (seconds >= start_s)
        held = turn[kept]
        force = np.column_stack((self._least[held], self._greatest[held])).ravel()
        return TraceBlock(np.repeat(seconds[kept], 2), force, np.repeat(self._flags[held], 2))
