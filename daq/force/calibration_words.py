"""What a calibration with known weights may claim, in sentences; and nothing it may not."""

import math

from daq.force.calibration import Calibration, Quality
from daq.force.calibration_quality import LLF_FACTOR, RANGE_FACTOR
from daq.force.polynomial_fit import t_quantile


def statement(calibration: Calibration) -> str:
    """Return the calibration statement, a paragraph a line: the fit, its range, what it is worth.

    The plain words come first; a term of the standards is explained where it stands.
    """
    quality = calibration.quality
    if quality is None:
        return "No weights stand behind this calibration."
    return "\n".join(
        [
            _fitted(calibration, quality),
            _range(calibration, quality),
            _lower_limit(quality),
            _direction(calibration, quality),
            _place(calibration),
            f"{_weights(quality)} "
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


def _fitted(calibration: Calibration, quality: Quality) -> str:
    count = sum(not point.void for point in calibration.points)
    voided = len(calibration.points) - count
    points = f"{count} points" + (f" ({voided} more kept but voided)" if voided else "")
    slopes = [curve.counts_per_newton for curve in calibration.curves]
    if len(slopes) > 1:
        each = zip(calibration.cells, slopes, strict=True)
        gains = ", ".join(f"{name} {slope:.5g}" for name, slope in each)
        return f"Counts per newton: {gains}; a straight line for each cell, through {points}."
    (curve,) = calibration.curves
    degree = len(quality.coefficients) - 1
    if curve.is_line:
        return f"{slopes[0]:.5g} counts per newton: a straight line through {points}."
    most = calibration.verified_to_n
    return (
        f"{slopes[0]:.5g} counts per newton at no load, {curve.slope(most):.5g} at "
        f"{_newtons(most)}: a curve of degree {degree} through {points}."
    )


def _range(calibration: Calibration, quality: Quality) -> str:
    least, most = calibration.verified_from_n, calibration.verified_to_n
    return (
        f"Good from {_newtons(least)} to {_newtons(most)} at the {calibration.load_at}: there the "
        f"indicated force agrees with the force of these weights within "
        f"{quality.largest_error_percent:.2g} %. Expanded uncertainty "
        f"{expanded_percent(quality, most):.2g} % at {_newtons(most)} and "
        f"{expanded_percent(quality, least):.2g} % at {_newtons(least)} (of one reading, 95 %: "
        "scatter, fit, weights and gravity). "
        f"Nothing is calibrated above {_newtons(most)}: every larger force is extrapolated. Below "
        f"{_newtons(least)} only the zero is known."
    )


def _lower_limit(quality: Quality) -> str:
    """Scatter alone, as the lower limit factor counts it; a class is not claimed."""
    part = f"{RANGE_FACTOR:.0f}"
    worth = f"scatter alone is more than 1 part in {part} of the number"
    start = RANGE_FACTOR * quality.llf_n
    where = f"below {_newtons(start)}, {part} times that, {worth}"
    if quality.class_a_from_n is None:
        where = f"{part} times that is more than the heaviest weight: everywhere here {worth}"
    return (
        f"Lower limit factor (LLF: {LLF_FACTOR:g} standard deviations of the points about the fit, "
        f"or the resolution where that is more) {quality.llf_n:.3g} N; {where}."
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
    direction = calibration.direction.capitalize()
    if quality.hysteresis_percent is None:
        return f"{direction}: hysteresis is not known (no weight was read on its way down)."
    words = (
        f"{direction}: under the same weight coming down and going up differ by "
        f"{quality.hysteresis_percent:.2g} % of it (hysteresis)"
    )
    if quality.zero_return_percent is not None:
        words += (
            f"; empty again, the reading is off by {quality.zero_return_percent:+.2g} % of the "
            "largest (zero return)"
        )
    return f"{words}."


def _weights(quality: Quality) -> str:
    if not quality.traceable:
        return f"Weights: {quality.weights}. A check, not traceable."
    return f"Weights: {quality.weights}. Traceable as far as their certificates go."


def _newtons(force_n: float) -> str:
    return f"{force_n:.0f} N" if force_n >= 1000.0 else f"{force_n:.4g} N"
