"""What a calibration with known weights may claim, in sentences; and nothing it may not."""

import math

from daq.force.calibration import Calibration, Quality
from daq.force.polynomial_fit import t_quantile


def statement(calibration: Calibration) -> str:
    """Return the calibration statement: agreement, range, direction, date, what is not known."""
    quality = calibration.quality
    if quality is None:
        return "No weights stand behind this calibration."
    return " ".join(
        [
            _agreement(calibration, quality),
            _beyond(calibration),
            _place(calibration),
            _direction(calibration, quality),
            _scatter(quality),
            _weights(quality),
            "This is a calibration statement; it claims no class of any standard.",
        ]
    )


def expanded_percent(quality: Quality, load_n: float) -> float:
    """Return the expanded uncertainty (95 %) of one reading at ``load_n``, in % of it.

    Scatter and fit (its degrees of freedom), weights and gravity; k from Student's t with the
    effective degrees of freedom of Welch and Satterthwaite (GUM G.4).
    """
    fit = quality.u_load_n(load_n) / load_n
    whole = math.hypot(fit, quality.u_weights_rel, quality.u_gravity_rel)
    if fit == 0.0:
        return 100.0 * 1.96 * whole
    dof = int(min(quality.dof * math.pow(whole / fit, 4), 1e6))
    return 100.0 * t_quantile(0.975, dof) * whole


def _agreement(calibration: Calibration, quality: Quality) -> str:
    least, most = calibration.verified_from_n, calibration.verified_to_n
    degree = len(quality.coefficients) - 1
    curve = "A straight line" if degree == 1 else f"A curve of degree {degree}"
    if len(calibration.curves) > 1:
        curve = "A slope for each cell"
    count = sum(not point.void for point in calibration.points)
    voided = len(calibration.points) - count
    left_out = f" ({voided} more kept but voided)" if voided else ""
    return (
        f"{curve} through {count} points{left_out}: the indicated force agrees with the force of "
        f"these weights within {quality.largest_error_percent:.2g} % from {_newtons(least)} to "
        f"{_newtons(most)} at the {calibration.load_at}; expanded uncertainty "
        f"{expanded_percent(quality, most):.2g} % at {_newtons(most)} and "
        f"{expanded_percent(quality, least):.2g} % at {_newtons(least)} (95 %, k by Student's t)."
    )


def _beyond(calibration: Calibration) -> str:
    return (
        f"Nothing is calibrated above {_newtons(calibration.verified_to_n)}: every larger force is "
        f"extrapolated, and below {_newtons(calibration.verified_from_n)} only the zero is known."
    )


def _place(calibration: Calibration) -> str:
    if calibration.load_at == "specimen":
        where = (
            "The weights hung at the specimen, so lever, pivots, cells and electronics were "
            "calibrated together and the ratio is not applied."
        )
    else:
        where = (
            "The weights lay on the cells: cells and electronics were calibrated, arms and "
            "friction of the lever were not."
        )
    when = calibration.made_on or "a day not noted"
    degrees = calibration.temperature_c
    air = "temperature not noted" if degrees is None else f"{degrees:g} degC"
    return f"{where} Made on {when}, {air}."


def _direction(calibration: Calibration, quality: Quality) -> str:
    if quality.hysteresis_percent is None:
        return f"{calibration.direction.capitalize()}: hysteresis is not known."
    words = f"{calibration.direction.capitalize()}: hysteresis {quality.hysteresis_percent:.2g} %"
    if quality.zero_return_percent is not None:
        words += f", zero return {quality.zero_return_percent:+.2g} %"
    return f"{words}."


def _scatter(quality: Quality) -> str:
    start = quality.class_a_from_n
    where = "nowhere in this range" if start is None else f"from {_newtons(start)}"
    return (
        f"Lower limit by scatter (2.4 residual SD) {quality.llf_n:.3g} N; 400 times that holds "
        f"{where}. This is scatter and fit, not the uncertainty of a measurement."
    )


def _weights(quality: Quality) -> str:
    if not quality.traceable:
        return f"Weights: {quality.weights}. A check, not traceable."
    return f"Weights: {quality.weights}. Traceable as far as their certificates go."


def _newtons(force_n: float) -> str:
    return f"{force_n:.0f} N" if force_n >= 1000.0 else f"{force_n:.4g} N"
