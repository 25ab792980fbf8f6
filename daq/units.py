"""Exact unit factors, and quantities as people type them: "8.2 kN", "9/64 in", "No. 21 drill".

Factors are exact by definition: inch = 25.4 mm and pound = 0.45359237 kg (international yard and
pound agreement, 1959), standard gravity = 9.80665 m/s2 (3rd CGPM, 1901), so 1 kgf = 9.80665 N and
1 lbf = 4.4482216152605 N. A quantity is worked out in exact fractions and rounded once.

Every ``parse_*`` raises ValueError with a sentence that says what was found and what is meant; a
number without a unit is refused.
"""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from daq.drills import LETTER_DRILLS_IN, NUMBER_DRILLS_IN

STANDARD_GRAVITY = Fraction("9.80665")  # m/s2
INCH_MM = Fraction("25.4")
POUND_KG = Fraction("0.45359237")
POUND_FORCE_N = POUND_KG * STANDARD_GRAVITY
FOOT_MM = 12 * INCH_MM

KILOGRAM_FORCE_N = float(STANDARD_GRAVITY)
STANDARD_GRAVITY_M_S2 = float(STANDARD_GRAVITY)

LONGEST_TEXT = 40


@dataclass(frozen=True, slots=True)
class Dimension:
    """A kind of quantity: its factors to our unit, an example, and units often mistaken for it."""

    name: str
    factors: Mapping[str, Fraction]
    shown: str
    example: str
    mistaken: Mapping[str, str]


def _factors(**named: Fraction | int) -> dict[str, Fraction]:
    return {unit: Fraction(value) for unit, value in named.items()}


_PSI = POUND_FORCE_N / INCH_MM**2

FORCE = Dimension(
    "force",
    _factors(N=1, daN=10, kN=1000, kgf=STANDARD_GRAVITY, lbf=POUND_FORCE_N),
    "N, daN, kN, kgf or lbf",
    "8.2 kN",
    {
        "kg": 'kg is a mass; the force that many people call "kg" is kgf',
        "lb": "lb is a mass here; the force is lbf",
        "lbs": "lbs is a mass here; the force is lbf",
    },
)
LENGTH = Dimension(
    "length",
    {
        **_factors(um=Fraction(1, 1000), mm=1, cm=10, m=1000, inch=INCH_MM, inches=INCH_MM),
        **{"µm": Fraction(1, 1000), "in": INCH_MM, '"': INCH_MM, "thou": INCH_MM / 1000},
        **{"ft": FOOT_MM, "'": FOOT_MM},
    },
    'mm, cm, m, in or ft, or a drill ("No. 21", "F drill")',
    "402 mm",
    {},
)
ANGLE = Dimension(
    "angle",
    {
        **_factors(deg=1, degrees=1),
        **{"°": Fraction(1), "rad": Fraction(180 / math.pi), "mrad": Fraction(0.18 / math.pi)},
    },
    "deg or rad",
    "3 deg",
    {},
)
MASS = Dimension(
    "mass",
    _factors(g=Fraction(1, 1000), kg=1, lb=POUND_KG, lbs=POUND_KG, oz=POUND_KG / 16),
    "g, kg, lb or oz",
    "20 kg",
    {"kgf": "kgf is a force; a mass is in kg", "lbf": "lbf is a force; a mass is in lb"},
)
TIME = Dimension(
    "time",
    _factors(us=Fraction(1, 10**6), ms=Fraction(1, 1000), s=1, min=60, h=3600),
    "ms, s, min or h",
    "0.5 s",
    {},
)
STRESS = Dimension(
    "stress",
    {
        **_factors(Pa=Fraction(1, 10**6), kPa=Fraction(1, 1000), MPa=1, GPa=1000),
        **{"N/mm2": Fraction(1), "kN/mm2": Fraction(1000), "psi": _PSI, "ksi": 1000 * _PSI},
        **{"kgf/cm2": STANDARD_GRAVITY / 100, "kgf/mm2": STANDARD_GRAVITY},
    },
    "MPa, N/mm2 or psi",
    "10 MPa",
    {},
)
DENSITY = Dimension(
    "density",
    {
        "kg/m3": Fraction(1),
        "g/cm3": Fraction(1000),
        "lb/ft3": POUND_KG / (FOOT_MM / 1000) ** 3,
    },
    "kg/m3, g/cm3 or lb/ft3",
    "690 kg/m3",
    {},
)
STIFFNESS = Dimension(
    "stiffness",
    {
        "N/mm": Fraction(1),
        "kN/mm": Fraction(1000),
        "N/m": Fraction(1, 1000),
        "kN/m": Fraction(1),
        "kgf/mm": STANDARD_GRAVITY,
        "lbf/in": POUND_FORCE_N / INCH_MM,
    },
    "N/mm, kN/mm, kgf/mm or lbf/in",
    "1.15 kN/mm",
    {},
)

_DECIMAL = r"[0-9]+(?:\.[0-9]*)?(?:[eE][+-]?[0-9]{1,2})?|\.[0-9]+(?:[eE][+-]?[0-9]{1,2})?"
_FRACTION = r"(?:(?P<whole>[0-9]+)[ -])?(?P<top>[0-9]+)/(?P<bottom>[0-9]+)"
_QUANTITY = re.compile(
    rf"(?P<sign>[+-]?)(?:{_FRACTION}|(?P<decimal>{_DECIMAL})) *(?P<unit>[^0-9 .,].*)?"
)
_DRILL = re.compile(
    r"(?:(?:no\.?|number|#) *(?P<number>[0-9]+)(?: drill)?"
    r"|(?:letter|drill) (?P<letter>[a-z])|(?P<before>[a-z]) drill)",
    re.IGNORECASE,
)
_TYPOGRAPHY = str.maketrans(
    {"²": "2", "³": "3", "″": '"', "”": '"', "′": "'", "−": "-", "\u00a0": " ", "μ": "µ"}
)


def parse_force_n(text: str) -> float:
    """Return a force in N from text such as "8.2 kN", "200 kgf" or "350 lbf"."""
    return parse(text, FORCE)


def parse_length_mm(text: str) -> float:
    """Return a length in mm from text such as "402 mm", "1-1/2 in" or "No. 21 drill".

    "No. 8" is a drill here, never a screw gauge.
    """
    drill = drill_mm(text)
    return parse(text, LENGTH) if drill is None else drill


def parse_angle_deg(text: str) -> float:
    """Return an angle in degrees from text such as "3 deg"."""
    return parse(text, ANGLE)


def parse_mass_kg(text: str) -> float:
    """Return a mass in kg from text such as "20 kg" or "45 lb"."""
    return parse(text, MASS)


def parse_time_s(text: str) -> float:
    """Return a time in s from text such as "0.5 s" or "400 ms"."""
    return parse(text, TIME)


def parse_stress_mpa(text: str) -> float:
    """Return a stress in N/mm2 from text such as "10 MPa" or "1450 psi"."""
    return parse(text, STRESS)


def parse_density_kg_m3(text: str) -> float:
    """Return a density in kg/m3 from text such as "690 kg/m3" or "0.69 g/cm3"."""
    return parse(text, DENSITY)


def parse_stiffness_n_per_mm(text: str) -> float:
    """Return a stiffness, or a force per length, in N/mm from text such as "1.15 kN/mm"."""
    return parse(text, STIFFNESS)


def drill_mm(text: str) -> float | None:
    """Return the diameter in mm of a number or letter drill, or None if ``text`` names none.

    Raises ValueError where it names a drill that does not exist.
    """
    found = _DRILL.fullmatch(_tidy(text))
    if found is None:
        return None
    if found["number"] is not None:
        size = NUMBER_DRILLS_IN.get(found["number"])
        if size is None:
            raise ValueError(f'"{text}" is no number drill: they run from No. 80 to No. 1')
    else:
        size = LETTER_DRILLS_IN[(found["letter"] or found["before"]).upper()]
    return float(Fraction(size) * INCH_MM)


def parse(text: str, dimension: Dimension) -> float:
    """Return the quantity in our unit of ``dimension``; raise ValueError with a sentence."""
    meant = f'write a {dimension.name} in {dimension.shown}, such as "{dimension.example}"'
    if len(text) > LONGEST_TEXT:
        raise ValueError(f'"{text[:LONGEST_TEXT]}..." is too long to be a quantity; {meant}')
    found = _QUANTITY.fullmatch(_tidy(text))
    if found is None:
        comma = " with a decimal point, not a comma" if "," in text else ""
        raise ValueError(f'"{text}" is not a number with a unit; {meant}{comma}')
    if found["unit"] is None:
        raise ValueError(f'"{text}" has no unit; {meant}')
    return float(_number(found, text) * _factor(found["unit"].strip(), text, dimension, meant))


def _tidy(text: str) -> str:
    return text.translate(_TYPOGRAPHY).strip()


def _number(found: re.Match[str], text: str) -> Fraction:
    sign = -1 if found["sign"] == "-" else 1
    if found["decimal"] is not None:
        return sign * Fraction(found["decimal"])
    if int(found["bottom"]) == 0:
        raise ValueError(f'"{text}" divides by zero')
    return sign * (int(found["whole"] or 0) + Fraction(int(found["top"]), int(found["bottom"])))


def _factor(unit: str, text: str, dimension: Dimension, meant: str) -> Fraction:
    if unit in dimension.factors:
        return dimension.factors[unit]
    same = [f for known, f in dimension.factors.items() if known.casefold() == unit.casefold()]
    if len(same) == 1:
        return same[0]
    mistaken = dimension.mistaken.get(unit)
    why = mistaken or f'"{unit}" is no unit of {dimension.name} known here'
    raise ValueError(f'"{text}": {why}; {meant}')


#: Units a force may be shown in -> digits after the point that a shop rig can mean.
FORCE_DECIMALS = {"N": 0, "kN": 2, "kgf": 1, "lbf": 0}


def force_in(force_n: float, unit: str) -> float:
    """Return a force given in N in another unit of FORCE_DECIMALS."""
    return force_n / float(FORCE.factors[unit])


def format_force(force_n: float, unit: str = "kN", *, with_unit: bool = True) -> str:
    """Return a force for people, such as "6.20 kN"; "unknown" for NaN.

    The number of decimals belongs to the unit, so that a live number does not jump in width.
    """
    if math.isnan(force_n):
        return "unknown"
    number = f"{force_in(force_n, unit):.{FORCE_DECIMALS[unit]}f}"
    number = number.removeprefix("-") if not number.strip("-0.") else number
    return f"{number} {unit}" if with_unit else number
