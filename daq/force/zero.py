"""The counts without load: taken from a quiet stretch, refused when it is not quiet."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from daq.faults import Fault
from daq.force.steady import judge_steadiness
from daq.samples import COUNTS_MAX, COUNTS_MIN, CountArray, FloatArray

LEAST_SECONDS = 1.0
#: Of a cell's capacity, over the stretch (common practice, no source).
QUIET_DRIFT = 0.001
QUIET_NOISE = 0.001
#: A zero further than this part of capacity from the last one is a load until a person says not.
UNDER_LOAD = 0.01
#: What the data line of a converter that does not answer reads: all zeros, or all ones.
SILENT_COUNTS = (0, -1)
#: Counts at capacity where nobody said: half a converter's span, as 2 mV/V at gain 128 gives.
USUAL_CAPACITY_COUNTS = 4_194_304.0


class NotQuiet(Fault):
    """No zero could be taken; the old one stays. The words say why and what to do."""

    exit_code = 2


class LooksLoaded(NotQuiet):
    """The stretch was quiet, but far from the last zero."""


@dataclass(frozen=True, slots=True)
class Zero:
    """Counts without load, per cell: mean, standard deviation, and span (largest - smallest)."""

    counts: tuple[float, ...]
    sd: tuple[float, ...]
    span: tuple[float, ...]
    samples: int
    taken_ns: int = 0  # host monotonic clock
    index: int = 0  # of the first sample after it

    @classmethod
    def none(cls, cells: int) -> "Zero":
        """Return the zero of a rig that has not been zeroed: raw counts pass unchanged."""
        nothing = (0.0,) * cells
        return cls(nothing, nothing, nothing, samples=0)

    @property
    def taken(self) -> bool:
        """Whether this was measured."""
        return self.samples > 0


def take_zero(
    counts: CountArray | FloatArray,
    seconds: FloatArray,
    *,
    last: Zero | None = None,
    capacity_counts: Sequence[float] | None = None,
    forced: bool = False,
    taken_ns: int = 0,
    index: int = 0,
) -> Zero:
    """Return the zero of a stretch: ``counts`` (n, cells), ``seconds`` (n,) rising.

    ``capacity_counts`` is what each cell gives at its capacity (``Calibration.capacity_counts``).
    ``forced`` accepts a zero far from the ``last`` one; nothing forces a zero that is not quiet.
    Raises NotQuiet, LooksLoaded.
    """
    cells = counts.shape[1]
    scale = (
        [abs(c) for c in capacity_counts] if capacity_counts else [USUAL_CAPACITY_COUNTS] * cells
    )
    for cell in range(cells):
        _refuse_unrest(counts[:, cell], seconds, scale[cell], cell)
    zero = Zero(
        counts=tuple(map(float, counts.mean(axis=0))),
        sd=tuple(map(float, counts.std(axis=0, ddof=1))),
        span=tuple(map(float, np.ptp(counts, axis=0))),
        samples=len(counts),
        taken_ns=taken_ns,
        index=index,
    )
    if last is not None and last.taken and not forced:
        _refuse_load(zero, last, scale)
    return zero


def _refuse_unrest(
    counts: CountArray | FloatArray, seconds: FloatArray, scale: float, cell: int
) -> None:
    if counts.size and (counts.max() >= COUNTS_MAX or counts.min() <= COUNTS_MIN):
        raise NotQuiet(
            f"No zero taken: cell {cell + 1} stands at an end of its converter. Look at its plug."
        )
    if counts.size and counts.min() == counts.max() and int(counts[0]) in SILENT_COUNTS:
        raise NotQuiet(
            f"No zero taken: cell {cell + 1} gives {int(counts[0])} and nothing else, as a "
            "converter without a cell does. Look at its plug."
        )
    found = judge_steadiness(
        counts.astype(np.float64), seconds, QUIET_DRIFT * scale, QUIET_NOISE * scale, LEAST_SECONDS
    )
    if not found.steady:
        raise NotQuiet(
            f"No zero taken: cell {cell + 1} is {found.words()}. "
            "Hook slack, hands off, then zero again."
            if found.long_enough
            else f"No zero taken: {found.words()}. Wait a moment, then zero again."
        )


def _refuse_load(zero: Zero, last: Zero, scale: Sequence[float]) -> None:
    moved = [
        (new - old) / full for new, old, full in zip(zero.counts, last.counts, scale, strict=True)
    ]
    worst = max(range(len(moved)), key=lambda cell: abs(moved[cell]))
    if abs(moved[worst]) > UNDER_LOAD:
        raise LooksLoaded(
            f"No zero taken: cell {worst + 1} is {100 * moved[worst]:+.1f} % of its capacity away "
            "from the last zero, which looks like a load. Take the load off."
        )
