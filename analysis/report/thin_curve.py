"""A curve as few of its own samples: every extreme is kept, and no line crosses a gap."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from daq.samples import Flag, FloatArray

COLUMNS = 120
MOST_GAPS = 60  # whose two sides are kept; a line that loses more is broken at whole columns
BREAKS = int(Flag.GAP | Flag.RESTART)
NOT_DRAWN = int(Flag.SPIKE | Flag.SUSPECT)


@dataclass(frozen=True, slots=True, eq=False)
class ThinCurve:
    """Samples of a pull, oldest first. Shapes (m,); ``breaks``: samples were lost just before."""

    seconds: FloatArray
    force_n: FloatArray
    breaks: npt.NDArray[np.bool_]
    not_drawn: int = 0  # lone spikes and unbelievable numbers


def thin(
    seconds: FloatArray,
    force_n: FloatArray,
    flags: npt.NDArray[np.uint16],
    columns: int = COLUMNS,
) -> ThinCurve:
    """Return at most two samples a column of time, the least and the greatest, and gaps' sides.

    ``seconds``, ``force_n`` and ``flags`` have shape (n,). Bad readings are left out and counted.
    """
    drawn = ((flags & NOT_DRAWN) == 0) & np.isfinite(force_n)
    lost = np.cumsum((flags & BREAKS) != 0)[drawn]
    time_s, force = seconds[drawn], force_n[drawn]
    left_out = int(len(force_n) - len(force))
    if not len(force):
        return ThinCurve(time_s, force, np.zeros(0, dtype=bool), left_out)
    kept = _extremes(time_s, force, columns)
    edges = np.flatnonzero(np.diff(lost))
    if len(edges) <= MOST_GAPS:
        kept = np.union1d(kept, np.concatenate([edges, edges + 1]))
    breaks = np.diff(lost[kept], prepend=lost[kept[0]]) > 0
    return ThinCurve(time_s[kept], force[kept], breaks, left_out)


def _extremes(time_s: FloatArray, force_n: FloatArray, columns: int) -> npt.NDArray[np.intp]:
    """Return the places of first, last, and each column's least and greatest sample, rising."""
    if len(force_n) <= 2 * columns:
        return np.arange(len(force_n))
    ends = np.linspace(time_s[0], time_s[-1], columns + 1)[1:-1]
    starts = np.unique(np.concatenate([[0], np.searchsorted(time_s, ends)]))
    starts = starts[starts < len(force_n)]
    column = np.repeat(np.arange(len(starts)), np.diff(np.append(starts, len(force_n))))
    order = np.lexsort((force_n, column))
    last = np.append(starts[1:], len(force_n)) - 1
    return np.unique(np.concatenate([[0], order[starts], order[last], [len(force_n) - 1]]))
