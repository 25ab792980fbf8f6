"""Sizes that trade names stand for: screw gauges and pennies of nails. All in mm.

There is no table of roots: published ones disagree (a No. 10 has 3.2, 3.9 or 4.0 mm by three
tables), so a root is measured with a caliper.
"""

import re
from dataclasses import dataclass

from analysis.predictions.prediction import INCH_MM
from daq.faults import InputFault

#: Gauge -> shank diameter, USDA Wood Handbook GTR-282 Table 8-9, p. 8-12.
WOOD_SCREW_SHANK_MM = {
    **{4: 2.84, 5: 3.18, 6: 3.51, 7: 3.84, 8: 4.17, 9: 4.50, 10: 4.83, 11: 5.16, 12: 5.49},
    **{14: 6.15, 16: 6.81, 18: 7.47, 20: 8.13, 24: 9.45},
}


@dataclass(frozen=True, slots=True)
class NailSize:
    """A bright common wire nail."""

    length_mm: float
    diameter_mm: float


#: Penny -> size, USDA Wood Handbook GTR-282 Table 8-1, p. 8-2.
COMMON_NAILS = {
    "6d": NailSize(50.8, 2.87),
    "8d": NailSize(63.5, 3.33),
    "10d": NailSize(76.2, 3.76),
    "12d": NailSize(82.6, 3.76),
    "16d": NailSize(88.9, 4.11),
    "20d": NailSize(101.6, 4.88),
    "30d": NailSize(114.3, 5.26),
    "40d": NailSize(127.0, 5.72),
    "50d": NailSize(139.7, 6.20),
    "60d": NailSize(152.4, 6.65),
}

_GAUGE = re.compile(r"(?:no\.?|gauge|#) *([0-9]{1,2})", re.IGNORECASE)
_PENNY = re.compile(r"[0-9]{1,2}d")


def screw_shank_mm(gauge: int) -> float:
    """Return D = 0.060 + 0.013 n inch in mm (from memory; agrees with Wood Handbook Table 8-9)."""
    return (0.060 + 0.013 * gauge) * INCH_MM


def screw_gauge(text: str) -> int | None:
    """Return the gauge that ``text`` names ("No. 10", "#8"), or None if it names none.

    Raises:
        InputFault: a gauge that wood screws do not come in.
    """
    found = _GAUGE.fullmatch(text.strip())
    if found is None:
        return None
    gauge = int(found[1])
    if not 0 <= gauge <= 24:
        raise InputFault(f'd: "{text}" is no gauge of wood screws: they run from No. 0 to No. 24')
    return gauge


def nail_diameter_mm(text: str) -> float | None:
    """Return the diameter of the common nail that ``text`` names ("8d"), or None if it names none.

    Raises:
        InputFault: a penny size that the table does not hold.
    """
    name = text.strip().lower()
    if not _PENNY.fullmatch(name):
        return None
    if name not in COMMON_NAILS:
        raise InputFault(f'd: "{text}" is no common nail here; known: {", ".join(COMMON_NAILS)}')
    return COMMON_NAILS[name].diameter_mm
