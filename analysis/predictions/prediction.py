"""What a published formula gives: a value that carries its source, basis, range and cautions."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum

from daq import units
from daq.faults import InputFault

INCH_MM = float(units.INCH_MM)
LBF_N = float(units.POUND_FORCE_N)

#: No length in mm, stress, density or force of one fastener in N lies outside.
LEAST, MOST = 1e-3, 1e6

DESIGN_CAUTION = (
    "a value for design tables, not a test result: for a structure use the locally adopted code "
    "and licensed practice"
)


class KindOfValue(StrEnum):
    """What the number means; the three differ by factors of 1.4 to 5 on the same wood."""

    AVERAGE_ULTIMATE = "average ultimate"
    DESIGN_REFERENCE = "design reference value"
    CHARACTERISTIC = "characteristic value"


@dataclass(frozen=True, slots=True)
class Prediction:
    """One published value. ``unit`` is N for a force, N/mm for a force per length."""

    value: float
    unit: str
    source: str
    basis: str
    valid: bool
    warnings: tuple[str, ...]
    kind_of_value: KindOfValue

    def noting(self, *words: str, valid: bool = True) -> "Prediction":
        """Return it with warnings added; it stays valid only if it was and ``valid`` is true."""
        return replace(self, warnings=(*self.warnings, *words), valid=self.valid and valid)

    def times(self, factor: float, word: str) -> "Prediction":
        """Return it multiplied by a published factor, with the word that names the factor."""
        return replace(self, value=self.value * factor, basis=f"{self.basis}; {word}")


@dataclass(frozen=True, slots=True)
class LeadHole:
    """Advice on a lead hole in mm, as a source gives it; ``of`` names what it is a fraction of."""

    wood: str
    low_mm: float
    high_mm: float
    of: str
    source: str


def published(
    value: float,
    unit: str,
    source: str,
    basis: str,
    kind: KindOfValue,
    limits: Iterable[str | None] = (),
    notes: Iterable[str] = (),
) -> Prediction:
    """Build a prediction; each text in ``limits`` is a range that the inputs lie outside of."""
    beyond = tuple(filter(None, limits))
    cautions = () if kind is KindOfValue.AVERAGE_ULTIMATE else (DESIGN_CAUTION,)
    words = (*beyond, *filter(None, notes), *cautions)
    return Prediction(value, unit, source, basis, not beyond, words, kind)


def outside(name: str, value: float, low: float, high: float, range_of: str) -> str | None:
    """Return a sentence when ``value`` lies outside a published range, else None."""
    slack = 1e-9 * max(abs(low), abs(high))
    if low - slack <= value <= high + slack:
        return None
    return f"{name} {value:g} is outside {low:g} to {high:g} ({range_of}): the formula is stretched"


def positive(**inputs: float) -> None:
    """Refuse inputs that are not above 0, or beyond anything on a bench.

    Raises:
        InputFault: names the key and what was given.
    """
    for name, value in inputs.items():
        if not LEAST <= value <= MOST:
            raise InputFault(f"{name}: {value:g} was given; it must be above 0 and possible")


def gravity(name: str, value: float) -> None:
    """Refuse a specific gravity no wood can have (the cell wall itself is about 1.5).

    Raises:
        InputFault: names the key; the usual slip is kg/m3 where a ratio to water is meant.
    """
    if not 0.0 < value < 1.5:
        raise InputFault(
            f"{name}: {value:g} is no specific gravity of wood; it is a ratio to water such as "
            "0.50, not kg/m3"
        )
