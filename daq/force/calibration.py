"""Counts to newtons, with what stands behind it: points, range, date, rig build, fingerprint."""

import hashlib
import json
import math
from dataclasses import dataclass, field, replace
from datetime import date
from typing import TYPE_CHECKING, Self

import numpy as np

from daq.faults import InputFault, Problem
from daq.force.curve import Curve
from daq.force.lever import LoadAt
from daq.samples import FloatArray

if TYPE_CHECKING:
    from daq.rig.rig import Rig

KNOWN_WEIGHTS = "known weights"
RIG_FILE = "the rig file: not verified by weights"
#: The cells of a calibration of the sum that was fitted without a rig file.
ALL_CELLS = ("all cells",)


@dataclass(frozen=True, slots=True)
class Point:
    """One weight put on: load in N, the mean response (one value, or one per cell), and how."""

    load_n: float
    responses: tuple[float, ...]
    direction: str = ""  # "up", "down", or "" where nobody noted it
    series: str = "1"
    void: str = ""  # why it does not count; it is kept all the same
    typed: str = ""  # the load as the person gave it, with its unit
    line: int = 0  # of the points file


@dataclass(frozen=True, slots=True)
class Quality:
    """What the fit and the weights are worth. Percentages are of the standards' definitions.

    The covariance belongs to ``coefficients``: the fitted response on load (for cells with a gain
    each, the force they indicate together on load).
    """

    coefficients: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    residual_sd: float
    dof: int
    largest_error_percent: float  # of a point, of its own load
    llf_n: float
    class_a_from_n: float | None  # None: nowhere in the range
    repeatability_percent: float | None
    hysteresis_percent: float | None
    zero_return_percent: float | None
    u_weights_rel: float  # standard uncertainty of the weights, relative
    u_gravity_rel: float
    weights: str  # how the weights and gravity are known, in words
    traceable: bool

    def u_load_n(self, load_n: float) -> float:
        """Return the standard uncertainty in N that the fit leaves on one reading at ``load_n``.

        Scatter of one reading about the curve and uncertainty of the curve, without its constant
        (each pull takes its own zero).
        """
        powers = np.array([0.0, *(load_n**k for k in range(1, len(self.coefficients)))])
        variance = float(powers @ np.asarray(self.covariance) @ powers) + self.residual_sd**2
        slope = sum(k * c * load_n ** (k - 1) for k, c in enumerate(self.coefficients) if k)
        return math.sqrt(max(variance, 0.0)) / abs(slope)


def _nothing() -> FloatArray:
    return np.empty(0)


@dataclass(frozen=True, slots=True)
class Calibration:
    """How counts become newtons at the place where the weights were put.

    ``curves`` holds one curve for each cell, or a single one for the sum of the cells' counts.
    ``signs`` (+1 or -1 per cell) turn counts so that load raises them; here and nowhere else.
    ``verified_from_n`` and ``verified_to_n`` are total loads at ``load_at``; 0 and 0: not verified.
    """

    load_at: LoadAt
    cells: tuple[str, ...]
    signs: tuple[int, ...]
    curves: tuple[Curve, ...]
    basis: str = KNOWN_WEIGHTS
    verified_from_n: float = 0.0
    verified_to_n: float = 0.0
    direction: str = ""  # "increasing load only", "increasing and decreasing load", ""
    made_on: str = ""  # ISO date
    expires_on: str = ""  # ISO date, "" for never
    temperature_c: float | None = None
    rig_build: str = ""  # "" where the points were fitted without a rig file
    points: tuple[Point, ...] = ()
    quality: Quality | None = None
    statement: str = ""
    _gains: FloatArray | None = field(init=False, repr=False, compare=False, default=None)
    _signs: FloatArray = field(init=False, repr=False, compare=False, default_factory=_nothing)

    def __post_init__(self) -> None:
        if len(self.signs) != len(self.cells) or any(sign not in (-1, 1) for sign in self.signs):
            raise ValueError("a calibration needs a sign, +1 or -1, for each of its cells")
        if len(self.curves) not in (1, len(self.cells)):
            raise ValueError("a calibration needs one curve, or one for each cell")
        signs = np.array(self.signs, dtype=np.float64)
        object.__setattr__(self, "_signs", signs)
        if all(curve.is_line for curve in self.curves):
            slopes = np.array([curve.counts_per_newton for curve in self.curves])
            object.__setattr__(self, "_gains", signs / slopes)

    @property
    def verified(self) -> bool:
        """Whether weights stand behind it."""
        return self.basis == KNOWN_WEIGHTS

    @property
    def summed(self) -> bool:
        """Whether one curve serves the sum of several cells."""
        return len(self.curves) < len(self.cells)

    @property
    def fingerprint(self) -> str:
        """Twelve hexadecimal digits that change with any content (of SHA-256)."""
        from daq.force.calibration_text import content

        text = json.dumps(content(self), sort_keys=True, ensure_ascii=True)
        return hashlib.sha256(text.encode()).hexdigest()[:12]

    def cell_forces_n(self, net_counts: FloatArray) -> FloatArray:
        """Return newtons (n, cells) at ``load_at`` from counts (n, cells) above zero.

        Under one curve for the sum, the total is parted by each cell's share of the counts.
        """
        if self._gains is not None:
            return net_counts * self._gains
        signed = net_counts * self._signs
        if self.summed:
            return signed * self._newtons_per_count(signed.sum(axis=1))[:, None]
        columns = [curve.loads_n(signed[:, i]) for i, curve in enumerate(self.curves)]
        return np.stack(columns, axis=1)

    def capacity_counts(self, capacities_n: tuple[float, ...]) -> tuple[float, ...]:
        """Return about how many counts each cell gives at its capacity (N at ``load_at``)."""
        curves = self.curves * len(self.cells) if self.summed else self.curves
        return tuple(
            capacity * curve.counts_per_newton
            for capacity, curve in zip(capacities_n, curves, strict=True)
        )

    def extrapolation(self, total_n: float) -> float:
        """Return how many times beyond the verified load a total load lies (1 within, or inf)."""
        if self.verified_to_n <= 0.0:
            return math.inf
        return max(1.0, total_n / self.verified_to_n)

    def age_words(self, today: date) -> str:
        """Return how old this is and whether it has run out."""
        if not self.made_on:
            return "undated" if self.verified else RIG_FILE
        days = (today - date.fromisoformat(self.made_on)).days
        words = f"{days} days old (made on {self.made_on})"
        if self.expired(today):
            return f"{words}, EXPIRED on {self.expires_on}: calibrate again"
        return f"{words}, good until {self.expires_on}" if self.expires_on else words

    def expired(self, today: date) -> bool:
        """Whether its last day has passed."""
        return bool(self.expires_on) and today > date.fromisoformat(self.expires_on)

    def bound_to(self, rig: "Rig") -> Self:
        """Return this calibration as the cells of ``rig`` use it. Raises InputFault."""
        if self.rig_build and self.rig_build != rig.build:
            raise _fault(
                rig,
                f'calibration {self.fingerprint} was made on build "{self.rig_build}", this rig is '
                f'build "{rig.build}": calibrate again after a change of the rig',
            )
        names = tuple(cell.name for cell in rig.cells)
        if self.cells == ALL_CELLS:
            signs = _signs_of_sum(self.signs[0], tuple(cell.sign for cell in rig.cells))
            return replace(self, cells=names, signs=signs)
        if sorted(self.cells) != sorted(names):
            raise _fault(
                rig,
                f"calibration {self.fingerprint} is for the cells {', '.join(self.cells)}, this "
                f"rig has {', '.join(names)}: name them alike or calibrate again",
            )
        order = [self.cells.index(name) for name in names]
        curves = self.curves if self.summed else tuple(self.curves[i] for i in order)
        return replace(self, cells=names, signs=tuple(self.signs[i] for i in order), curves=curves)

    @classmethod
    def from_rig(cls, rig: "Rig") -> "Calibration":
        """Return the calibration that the rig names, or the lines its cells carry.

        Raises InputFault: no calibration at all, one from another build, or a file not usable.
        """
        if rig.calibration_file is not None:
            from daq.force.calibration_text import read_calibration

            return read_calibration(rig.calibration_file).bound_to(rig)
        missing = [cell for cell in rig.cells if not cell.counts_per_newton]
        if missing:
            raise InputFault([_uncalibrated(rig, cell.name) for cell in missing])
        slopes = [cell.counts_per_newton or math.nan for cell in rig.cells]
        return cls(
            load_at="cells",
            cells=tuple(cell.name for cell in rig.cells),
            signs=tuple(
                cell.sign if k > 0 else -cell.sign
                for cell, k in zip(rig.cells, slopes, strict=True)
            ),
            curves=tuple(Curve((0.0, abs(slope))) for slope in slopes),
            basis=RIG_FILE,
            rig_build=rig.build,
            statement="The slopes were typed into the rig file. No weights stand behind them.",
        )

    def to_json(self) -> str:
        """Return the whole of it as JSON text; ``from_json`` reads it back the same."""
        from daq.force.calibration_text import to_json

        return to_json(self)

    @classmethod
    def from_json(cls, text: str, file: str = "calibration") -> "Calibration":
        """Return the calibration that ``to_json`` wrote. Raises InputFault naming ``file``."""
        from daq.force.calibration_text import from_json

        return from_json(text, file)

    def _newtons_per_count(self, total: FloatArray) -> FloatArray:
        (curve,) = self.curves
        at_rest = np.full_like(total, 1.0 / curve.counts_per_newton)
        return np.divide(curve.loads_n(total), total, out=at_rest, where=total != 0.0)


def _signs_of_sum(sum_sign: int, cell_signs: tuple[int, ...]) -> tuple[int, ...]:
    """Return each cell's sign, from the sign that the sum of counts showed under weights.

    One cell: the weights have the last word. Several: the rig file's signs, turned round where the
    sum fell although the file called the cells upright.
    """
    if len(cell_signs) == 1:
        return (sum_sign,)
    if sum_sign > 0 or all(sign < 0 for sign in cell_signs):
        return cell_signs
    return tuple(-sign for sign in cell_signs)


def _uncalibrated(rig: "Rig", cell: str) -> Problem:
    return Problem(
        _file(rig),
        None,
        f"cell {cell}",
        "has no calibration: put known weights on and name the file that `pullstand calibrate "
        "--points CSV -o FILE` writes as `calibration` in [rig], or give `counts_per_newton`",
    )


def _fault(rig: "Rig", message: str) -> InputFault:
    return InputFault([Problem(_file(rig), None, "calibration", message)])


def _file(rig: "Rig") -> str:
    return str(rig.path) if rig.path else f"rig {rig.name}"
