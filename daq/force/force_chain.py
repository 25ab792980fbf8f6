"""Raw counts to specimen force: the one road that live, replay and reduction all take."""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from daq.force.calibration import Calibration
from daq.force.lever import jack_force_n, specimen_force_n
from daq.force.zero import Zero
from daq.rig.rig import Lever
from daq.samples import CountArray, FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Forces:
    """Forces in N of n samples; ``extrapolated`` marks loads the calibration never saw."""

    cells_n: FloatArray  # (n, cells)
    at_cells_n: FloatArray  # (n,), their sum
    at_specimen_n: FloatArray  # (n,)
    extrapolated: npt.NDArray[np.bool_]  # (n,)


@dataclass(frozen=True, slots=True)
class ForceChain:
    """Counts, minus zero, through the calibration, by the lever. Frozen: a new zero, a new chain.

    With a calibration made at the specimen the lever's ratio is not applied to the specimen force;
    the forces at the cells are then what the ratio leaves of it.
    """

    calibration: Calibration
    zero: Zero
    lever: Lever
    _zero_counts: FloatArray = field(
        init=False, repr=False, compare=False, default_factory=lambda: np.empty(0)
    )
    _at_cells: float = field(init=False, repr=False, compare=False, default=1.0)

    def __post_init__(self) -> None:
        if len(self.zero.counts) != len(self.calibration.cells):
            raise ValueError(
                f"a zero of {len(self.zero.counts)} cells under a calibration of "
                f"{len(self.calibration.cells)}"
            )
        object.__setattr__(self, "_zero_counts", np.array(self.zero.counts, dtype=np.float64))
        if self.calibration.load_at == "specimen":
            object.__setattr__(self, "_at_cells", jack_force_n(1.0, self.lever))

    def forces(self, counts: CountArray | FloatArray) -> Forces:
        """Return the forces of raw counts (n, cells). The same for any split into blocks."""
        loads_n = self.calibration.cell_forces_n(counts - self._zero_counts)
        total_n: FloatArray = np.add.reduce(loads_n, axis=1)
        return Forces(
            cells_n=loads_n * self._at_cells if self._at_cells != 1.0 else loads_n,
            at_cells_n=total_n * self._at_cells if self._at_cells != 1.0 else total_n,
            at_specimen_n=specimen_force_n(total_n, self.lever, self.calibration.load_at),
            extrapolated=self._beyond(total_n),
        )

    def capacity_counts(self, capacities_n: tuple[float, ...]) -> tuple[float, ...]:
        """Return about how many counts each cell gives at its capacity, in N at the cell."""
        loads_n = tuple(capacity_n / self._at_cells for capacity_n in capacities_n)
        return self.calibration.capacity_counts(loads_n)

    @property
    def noise_n(self) -> float:
        """Standard deviation in N at the specimen of one sample at rest, as the zero saw it."""
        noisy = np.array([self.zero.counts]) + np.array([self.zero.sd])
        at_cells_n = float(np.linalg.norm(self.forces(noisy).cells_n))
        return specimen_force_n(at_cells_n, self.lever, "cells")

    def zero_shift_n(self, after: Zero) -> float:
        """Return the specimen force in N that a zero taken afterwards still reads by this one."""
        return float(self.forces(np.array([after.counts])).at_specimen_n[0])

    def words(self, counts_row: CountArray) -> str:
        """Return the whole way of one sample (cells,), from counts to specimen force."""
        row = np.asarray(counts_row)
        forces = self.forces(row[None, :])
        parts = [f"{name} {count}" for name, count in zip(self.calibration.cells, row, strict=True)]
        cells = f"{' + '.join(parts)} counts"
        at_cells, at_specimen = float(forces.at_cells_n[0]), float(forces.at_specimen_n[0])
        if self.calibration.load_at == "specimen":
            return f"{cells} -> {at_specimen:.0f} N at the specimen (calibrated there, no ratio)"
        return (
            f"{cells} -> {at_cells:.0f} N at the cells x {self.lever.ratio:.3f} = "
            f"{at_specimen:.0f} N at the specimen"
        )

    def _beyond(self, total_n: FloatArray) -> npt.NDArray[np.bool_]:
        if not self.calibration.verified:
            return np.ones(len(total_n), dtype=np.bool_)
        return total_n > self.calibration.verified_to_n
