"""Known weights to a calibration: response on load, or a gain for each cell; what it is worth."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from daq.faults import InputFault
from daq.force import calibration_quality as worth
from daq.force.calibration import ALL_CELLS, Calibration, Point, Quality
from daq.force.calibration_words import statement
from daq.force.curve import Curve
from daq.force.lever import LoadAt
from daq.force.points_check import refuse_unusable
from daq.force.points_file import CELL, PointsTable
from daq.force.polynomial_fit import (
    HIGHEST_DEGREE,
    DegreeChoice,
    Fit,
    choose_degree,
    fit_polynomial,
)
from daq.force.weights import Gravity, WeightsKnown
from daq.rig.rig import Rig
from daq.samples import FloatArray

#: A gain less sure than this means that the weights never parted the cells.
WORST_GAIN = 0.05


@dataclass(frozen=True, slots=True)
class Session:
    """What is known of a calibration beside its points."""

    weights: WeightsKnown
    gravity: Gravity
    load_at: LoadAt = "cells"
    made_on: str = ""  # ISO date
    expires_on: str = ""
    temperature_c: float | None = None
    rig: Rig | None = None
    degree: int | None = None  # None: as the data ask
    summed: bool = False  # one curve for the sum, where each cell has a response


@dataclass(frozen=True, slots=True)
class CellGain:
    """What one cell gives (signed counts per newton), from weights at different spots."""

    name: str
    counts_per_newton: float
    standard_error: float


@dataclass(frozen=True, slots=True, eq=False)
class Calibrated:
    """A calibration, and the fit behind it: of the response, or of the force that gains give."""

    calibration: Calibration
    fit: Fit
    choice: DegreeChoice | None  # None: nothing was to be chosen
    gains: tuple[CellGain, ...]
    reversed_cells: tuple[str, ...]  # these fall under load; the sign is in the calibration


@dataclass(frozen=True, slots=True, eq=False)
class _Signal:
    """One response (n,) for all cells; how it came about."""

    values: FloatArray
    signs: tuple[int, ...]
    gains: tuple[CellGain, ...]
    resolution: float


def fit_calibration(table: PointsTable, session: Session) -> Calibrated:
    """Return the calibration behind the points. Raises InputFault naming line and column."""
    valid = refuse_unusable(table)
    loads = np.array([point.load_n for point in valid])
    signal = _signal(table, valid, loads, session)
    choice, degree = _degree(valid, loads, signal, session.degree)
    fit = _fit(table, loads, signal, degree)
    readings = worth.Readings(valid, loads, signal.values)
    calibration = Calibration(
        load_at=session.load_at,
        cells=table.cells or ALL_CELLS,
        signs=signal.signs,
        curves=_curves(table, fit, signal, float(np.max(loads))),
        verified_from_n=float(np.min(loads[readings.loaded])),
        verified_to_n=float(np.max(loads)),
        direction=_direction(valid),
        made_on=session.made_on,
        expires_on=session.expires_on,
        temperature_c=session.temperature_c,
        rig_build=session.rig.build if session.rig else "",
        points=table.points,
        quality=_quality(table, readings, fit, signal.resolution, session),
    )
    if session.rig is not None:
        calibration = calibration.bound_to(session.rig)
    calibration = replace(calibration, statement=statement(calibration))
    names = zip(calibration.cells, calibration.signs, strict=True)
    turned = tuple(name for name, sign in names if sign < 0)
    return Calibrated(calibration, fit, choice, signal.gains, turned)


def _signal(
    table: PointsTable, valid: tuple[Point, ...], loads: FloatArray, session: Session
) -> _Signal:
    responses = np.array([point.responses for point in valid])
    cells = responses.shape[1]
    signs = tuple(_sign(loads, responses[:, i]) for i in range(cells))
    if cells == 1:
        return _Signal(responses[:, 0], signs, (), table.resolution)
    if session.summed:
        return _Signal(responses @ np.array(signs, float), signs, (), table.resolution)
    if session.degree not in (None, 1):
        raise _fault(table, "", "gains for each cell are straight lines: leave the degree, or sum")
    rounds = [point.series for point in valid]
    gains = _cell_gains(table, loads, responses, rounds)
    newtons = np.array([1.0 / gain.counts_per_newton for gain in gains])
    signs = tuple(1 if gain.counts_per_newton > 0.0 else -1 for gain in gains)
    indicated = _about_rounds(responses, rounds) @ newtons + loads
    indicated -= _about_rounds(loads, rounds)
    return _Signal(indicated, signs, gains, 0.0)


def _about_rounds(values: FloatArray, rounds: Sequence[str]) -> FloatArray:
    """Return ``values`` (n,) or (n, cells) less the mean of their round."""
    about = np.array(values)
    for name in set(rounds):
        own = np.array([each == name for each in rounds])
        about[own] -= about[own].mean(axis=0)
    return about


def _cell_gains(
    table: PointsTable, loads: FloatArray, responses: FloatArray, rounds: Sequence[str]
) -> tuple[CellGain, ...]:
    """Least squares of load on the cells' responses: load = sum of gain x response + constant.

    Each round of weights has a constant (a zero) of its own: weights lie over one cell in one round
    and over the next in another, and what the zeros moved between must not pass for a gain.
    """
    count, cells = responses.shape
    free = count - cells - len(set(rounds))
    if free < 1:
        least = count - free + 1
        raise _fault(table, "", f"{cells} cells need at least {least} points, here are {count}")
    about, load = _about_rounds(responses, rounds), _about_rounds(loads, rounds)
    size = np.linalg.norm(about, axis=0)
    gains, _, rank, _ = np.linalg.lstsq(about / size, load, rcond=1e-9)
    rest = load - (about / size) @ gains
    if rank == cells:
        inverse = np.linalg.inv((about / size).T @ (about / size))
        errors = np.sqrt(inverse.diagonal() * float(rest @ rest) / free)
        if np.all(errors < WORST_GAIN * np.abs(gains)):
            return tuple(
                CellGain(
                    name, float(size[i] / gains[i]), abs(float(size[i] / gains[i] ** 2 * errors[i]))
                )
                for i, name in enumerate(table.cells)
            )
    raise _fault(
        table,
        f"{CELL}{table.cells[0]}",
        "the weights were shared by the cells in the same way each time, so no cell can be told "
        "from the others: put some over each cell, or calibrate the sum (--sum)",
    )


def _degree(
    valid: tuple[Point, ...], loads: FloatArray, signal: _Signal, given: int | None
) -> tuple[DegreeChoice | None, int]:
    """The degree given, or the one that loads going up ask for: hysteresis looks like a bend."""
    if signal.gains:
        return None, 1
    if given is not None:
        return None, given
    rising = np.array([point.direction != "down" for point in valid])
    if len(np.unique(loads[rising])) < 3:
        rising[:] = True
    choice = choose_degree(loads[rising], signal.values[rising])
    return choice, choice.degree


def _fit(table: PointsTable, loads: FloatArray, signal: _Signal, degree: int) -> Fit:
    if not 1 <= degree <= HIGHEST_DEGREE:
        raise _fault(table, "", f"degree {degree}: 1 to {HIGHEST_DEGREE} is possible")
    distinct = len(np.unique(loads))
    if distinct <= degree or len(loads) < degree + 2:
        raise _fault(
            table,
            table.load_column,
            f"degree {degree} needs {degree + 1} different loads and {degree + 2} points; here are "
            f"{distinct} and {len(loads)}",
        )
    return fit_polynomial(loads, signal.values, degree)


def _curves(table: PointsTable, fit: Fit, signal: _Signal, top_n: float) -> tuple[Curve, ...]:
    if signal.gains:
        return tuple(Curve((0.0, abs(gain.counts_per_newton))) for gain in signal.gains)
    sign = signal.signs[0] if len(signal.signs) == 1 else 1
    try:
        return (Curve(tuple(float(sign * c) for c in fit.coefficients), top_n),)
    except ValueError as error:
        raise _fault(
            table, "response", f"{error}: look at the points, or give a lower degree"
        ) from None


def _quality(
    table: PointsTable, readings: worth.Readings, fit: Fit, resolution: float, session: Session
) -> Quality:
    net = worth.net_responses(readings, fit)
    _refuse_unmoved(table, readings, net)
    llf_n = worth.lower_limit_n(readings, net, fit, resolution)
    gravity = session.gravity if table.is_mass else None
    known = session.weights
    return Quality(
        coefficients=tuple(map(float, fit.coefficients)),
        covariance=tuple(tuple(map(float, row)) for row in fit.covariance),
        residual_sd=fit.residual_sd,
        dof=fit.dof,
        largest_error_percent=worth.largest_error_percent(readings, fit),
        llf_n=llf_n,
        class_a_from_n=worth.range_start_n(llf_n, readings.loads_n),
        repeatability_percent=worth.repeatability_percent(readings, net),
        hysteresis_percent=worth.hysteresis_percent(readings, net),
        zero_return_percent=worth.zero_return_percent(readings, net),
        u_weights_rel=known.u_rel,
        u_gravity_rel=gravity.u_rel if gravity else 0.0,
        weights=f"{known.words}; gravity: {gravity.words}" if gravity else known.words,
        traceable=known.traceable and (gravity is None or gravity.surveyed),
    )


def _refuse_unmoved(table: PointsTable, readings: worth.Readings, net: FloatArray) -> None:
    """Refuse a weight that reads as nothing: no figure per newton can be had from it."""
    problems = [
        table.problem(
            point.line,
            "response",
            f"{point.typed} gives the same as no load: was it on? Void the row, with the reason",
        )
        for point, value in zip(readings.points, net, strict=True)
        if point.load_n > 0.0 and value == 0.0
    ]
    if problems:
        raise InputFault(problems)


def _sign(loads: FloatArray, response: FloatArray) -> int:
    return -1 if float((loads - loads.mean()) @ response) < 0.0 else 1


def _direction(valid: tuple[Point, ...]) -> str:
    ways = {point.direction for point in valid}
    if "down" in ways:
        return "increasing and decreasing load"
    return "increasing load only" if "up" in ways else "direction not noted, taken as increasing"


def _fault(table: PointsTable, column: str, message: str) -> InputFault:
    line = table.points[0].line if table.points else None
    return InputFault([table.problem(line, column, message)])
