"""What a calibration becomes when its weights turn out to weigh something else. Pure."""

from dataclasses import replace

from daq.faults import InputFault
from daq.force.calibration import Calibration, Point, Quality
from daq.force.calibration_words import statement
from daq.force.curve import Curve

#: Weights that are further off than this were mistyped, not misjudged.
LEAST, MOST = 0.5, 2.0


def with_masses(calibration: Calibration, factor: float, reason: str) -> Calibration:
    """Return the calibration whose every mass is ``factor`` times what was said.

    The responses stay as they were read; the loads, and all that was fitted to them, move. The
    stated uncertainty of the weights stays: a better one needs the points and a new fit.

    Raises InputFault where no weights stand behind it, or the factor is no correction.
    """
    quality = calibration.quality
    if not calibration.verified or quality is None:
        raise InputFault(
            f"calibration {calibration.fingerprint} rests on {calibration.basis}, so there is no "
            "mass to correct: calibrate with weights and give --calibration"
        )
    if not LEAST <= factor <= MOST:
        raise InputFault(
            f"masses x{factor:g}: {LEAST:g} to {MOST:g} is possible, such as x1.036 for plates of "
            "5 kg that weigh 5.18 kg"
        )
    scaled = replace(
        calibration,
        curves=tuple(_curve(curve, factor) for curve in calibration.curves),
        points=tuple(_point(point, factor) for point in calibration.points),
        verified_from_n=calibration.verified_from_n * factor,
        verified_to_n=calibration.verified_to_n * factor,
        quality=_quality(quality, factor, calibration, reason),
    )
    return replace(scaled, statement=statement(scaled))


def _curve(curve: Curve, factor: float) -> Curve:
    coefficients = tuple(c / factor**k for k, c in enumerate(curve.coefficients))
    return Curve(coefficients, curve.up_to_n * factor)


def _point(point: Point, factor: float) -> Point:
    typed = f"{point.typed} x{factor:g}" if point.load_n else point.typed
    return replace(point, load_n=point.load_n * factor, typed=typed)


def _quality(quality: Quality, factor: float, calibration: Calibration, reason: str) -> Quality:
    """Return the quality of the same readings at other loads.

    Where each cell has a gain, the fitted response is itself a force and moves with the loads.
    """
    response = factor if len(calibration.curves) > 1 else 1.0
    powers = [response / factor**k for k in range(len(quality.coefficients))]
    start_n = quality.class_a_from_n
    return replace(
        quality,
        coefficients=tuple(c * p for c, p in zip(quality.coefficients, powers, strict=True)),
        covariance=tuple(
            tuple(value * p * q for value, q in zip(row, powers, strict=True))
            for row, p in zip(quality.covariance, powers, strict=True)
        ),
        residual_sd=quality.residual_sd * response,
        llf_n=quality.llf_n * factor,
        class_a_from_n=None if start_n is None else start_n * factor,
        weights=f"{quality.weights}; all masses taken x{factor:g} since: {reason}",
    )
