"""Numbers that are not believable: short excursions that return, and values that do not move.

A garbled digit or a factor-2 jump of a converter is a valid number for a sample or a few, and then
all is as before; wood and steel cannot do that. Sizes are common practice, no source.
"""

import numpy as np
import numpy.typing as npt

from daq.samples import FloatArray

LONGEST_SAMPLES = 5
JUMP_PART = 0.20  # of the largest usual force: the ring after a failure stays below
RETURN_PART = 0.15  # of the jump: so near to where it was it comes back
STUCK_S = 0.15
STUCK_SAMPLES = 10
MOVING_COUNTS = 1.0  # a channel with less noise than this may well repeat itself


def excursions(force_n: FloatArray, least_n: float) -> npt.NDArray[np.bool_]:
    """Mark readings that jump away and come back within LONGEST_SAMPLES; (n,) newtons -> (n,).

    ``least_n`` is the smallest jump that counts.
    """
    marks = np.zeros(len(force_n), dtype=np.bool_)
    if len(force_n) < 3:
        return marks
    usual_n = float(np.percentile(np.abs(force_n), 99.0))
    steps = np.diff(force_n)
    jumps = np.flatnonzero(np.abs(steps) > max(least_n, JUMP_PART * usual_n))
    for place, jump in enumerate(jumps.tolist()):
        if marks[jump]:
            continue
        for back in jumps[place + 1 : place + 1 + LONGEST_SAMPLES].tolist():
            near = abs(force_n[back + 1] - force_n[jump]) < RETURN_PART * abs(steps[jump])
            if back - jump <= LONGEST_SAMPLES and near:
                marks[jump + 1 : back + 1] = True
                break
    return marks


def stuck(
    counts: npt.NDArray[np.int32], seconds: FloatArray, noise_counts: tuple[float, ...]
) -> npt.NDArray[np.bool_]:
    """Mark samples in which a channel repeats itself for STUCK_S and more; counts (n, cells)."""
    marks = np.zeros(len(counts), dtype=np.bool_)
    for cell, noise in enumerate(noise_counts):
        if noise < MOVING_COUNTS or len(counts) < STUCK_SAMPLES:
            continue
        same = np.diff(counts[:, cell]) == 0
        edges = np.diff(np.concatenate([[0], same.astype(np.int8), [0]]))
        runs = zip(np.flatnonzero(edges == 1), np.flatnonzero(edges == -1), strict=True)
        for first, last in runs:
            if last - first >= STUCK_SAMPLES and seconds[last] - seconds[first] >= STUCK_S:
                marks[first : last + 1] = True
    return marks
