"""A calibration for a person: its points, and the figures behind what its statement says."""

from collections.abc import Iterator

from daq.force.calibration import Point
from daq.force.calibration_fit import Calibrated
from daq.force.points_file import PointsTable

POWERS = ("counts", "counts/N", *(f"counts/N{power}" for power in range(2, 6)))
NAMES = ("constant", "slope", *(f"term in F^{power}" for power in range(2, 6)))
BESIDE = 12


def points_lines(table: PointsTable, found: Calibrated, width: int) -> Iterator[str]:
    """Yield each point with what the fit leaves of it; a voided one with its reason.

    ``off`` is how much more than its load the point reads, in N.
    """
    names = list(table.cells) or ["counts"]
    of_cells = " ".join(f"{name[:BESIDE]:>{BESIDE}}" for name in names)
    head = f"{'load':>12} {'N':>10} {'way':>4} {'off, N':>9}"
    beside = len(head) + 1 + len(of_cells) <= width
    yield f"{head} {of_cells}" if beside else f"{head}   counts of {', '.join(names)}"
    off = iter(_off_n(found))
    for point in table.points:
        left = "void" if point.void else f"{next(off):+.3g}"
        row = f"{point.typed:>12} {point.load_n:10.3f} {point.direction:>4} {left:>9}"
        counts = [f"{response:.8g}" for response in point.responses]
        if beside:
            yield " ".join([row, *(f"{count:>{BESIDE}}" for count in counts)])
        else:
            yield row
            yield " " * BESIDE + f" counts: {', '.join(counts)}"
        if point.void:
            yield " " * BESIDE + f" void: {point.void}"


def _off_n(found: Calibrated) -> list[float]:
    """Return what the fit leaves of each valid point, in N: of the force, or by the slope there."""
    fit = found.fit
    if found.gains:
        return [float(rest) for rest in fit.residuals]
    points: list[Point] = [point for point in found.calibration.points if not point.void]
    (curve,) = found.calibration.curves
    sign = 1.0 if fit.coefficients[1] > 0.0 else -1.0
    return [
        float(sign * rest / curve.slope(point.load_n))
        for point, rest in zip(points, fit.residuals, strict=True)
    ]


def technical_lines(found: Calibrated) -> Iterator[str]:
    """Yield the coefficients with their units, and the figures of scatter by their names."""
    calibration, fit = found.calibration, found.fit
    quality = calibration.quality
    assert quality is not None  # weights always leave one
    if found.gains:
        scatter = f"{fit.residual_sd:.3g} N"
        for gain in found.gains:
            yield (
                f"  {gain.name}: {gain.counts_per_newton:.7g} counts/N, standard error "
                f"{gain.standard_error:.2g}"
            )
    else:
        in_n = fit.residual_sd / abs(fit.coefficients[1])
        scatter = f"{fit.residual_sd:.4g} counts, about {in_n:.3g} N"
        asked = ", as the points ask for" if found.choice else ""
        terms = " + ".join(["b0", "b1 F", *(f"b{k} F^{k}" for k in range(2, fit.degree + 1))])
        yield f"  counts = {terms}, F in N: degree {fit.degree}{asked}"
        for k, (value, error) in enumerate(zip(fit.coefficients, fit.standard_errors, strict=True)):
            yield (
                f"  b{k} {NAMES[k] + ',':13} {value:.10g} {POWERS[k]}, standard error {error:.2g}"
            )
    yield f"  scatter about the fit: {scatter} (residual standard deviation)"
    yield f"  R^2 {fit.r_squared:.9f}, {fit.dof} degrees of freedom"
    yield f"  lower limit factor (LLF, ASTM E74-18, 7.1.2): {quality.llf_n:.3g} N"
    for name, value, of in (
        ("repeatability, one weight put on again", quality.repeatability_percent, "the load"),
        ("hysteresis, between up and down", quality.hysteresis_percent, "the load"),
        ("zero return, empty again", quality.zero_return_percent, "the largest response"),
    ):
        yield f"  {name}: " + ("not recorded" if value is None else f"{value:.3g} % of {of}")
