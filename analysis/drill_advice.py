"""Which drill in the box comes nearest to a pilot: inch fraction, number or letter, metric."""

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from daq.drills import LETTER_DRILLS_IN, NUMBER_DRILLS_IN
from daq.units import INCH_MM

_FRACTIONS = [Fraction(n, 64) for n in range(1, 65)]  # inch sets, 1/64 in to 1 in
_METRIC = [Fraction(n, 10) for n in range(5, 131)]  # sets in steps of 0.1 mm, 0.5 to 13 mm


@dataclass(frozen=True, slots=True)
class Drill:
    """A drill of one series, its diameter, and how much larger (+) it is than the pilot asked."""

    series: str
    name: str
    diameter_mm: float
    difference_mm: float


def nearest_drills(pilot_mm: float) -> tuple[Drill, ...]:
    """Return the nearest drill of each series, in mm: fraction, number or letter, metric.

    The drill's size is not the hole's: drills wander and cut 0.05 to 0.15 mm oversize (common
    practice, no source), so the pilot that is recorded is the measured one.
    """
    named = [(f"No. {name}", Fraction(size) * INCH_MM) for name, size in NUMBER_DRILLS_IN.items()]
    named += [(name, Fraction(size) * INCH_MM) for name, size in LETTER_DRILLS_IN.items()]
    return (
        _nearest("fraction", ((f"{part} in", part * INCH_MM) for part in _FRACTIONS), pilot_mm),
        _nearest("number or letter", named, pilot_mm),
        _nearest("metric", ((f"{float(size):.1f} mm", size) for size in _METRIC), pilot_mm),
    )


def _nearest(series: str, drills: Iterable[tuple[str, Fraction]], pilot_mm: float) -> Drill:
    name, size = min(drills, key=lambda drill: abs(float(drill[1]) - pilot_mm))
    return Drill(series, name, float(size), round(float(size) - pilot_mm, 4))
