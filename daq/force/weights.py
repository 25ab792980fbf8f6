"""What a known weight pulls with: mass, local gravity, air; and how well it is known.

Gravity: WGS 84 normal gravity (Somigliana's closed formula). Conventional mass and class limits:
OIML R 111-1:2004 (table read in copies that agree).
"""

import math
import re
from dataclasses import dataclass

from daq.units import STANDARD_GRAVITY_M_S2

#: OIML R 111-1:2004 Table 1: nominal kg -> limits of M1, M2, M3 in mg.
CLASS_LIMITS_MG = {
    0.1: (5.0, 16.0, 50.0),
    0.2: (10.0, 30.0, 100.0),
    0.5: (25.0, 80.0, 250.0),
    1.0: (50.0, 160.0, 500.0),
    2.0: (100.0, 300.0, 1000.0),
    5.0: (250.0, 800.0, 2500.0),
    10.0: (500.0, 1600.0, 5000.0),
    20.0: (1000.0, 3000.0, 10000.0),
    50.0: (2500.0, 8000.0, 25000.0),
}
CLASSES = ("M1", "M2", "M3")
UNKNOWN_WITHIN = 0.05  # castings and plates of unknown make are off by a few per cent

CONVENTIONAL_DENSITY_KG_M3 = 8000.0
CONVENTIONAL_AIR_KG_M3 = 1.2

#: Between a formula and the real value at a place (local anomalies), m/s2; from memory.
U_GRAVITY_M_S2 = 3e-4
POLE_M_S2 = 9.8321849378
EQUATOR_M_S2 = 9.7803253359


@dataclass(frozen=True, slots=True)
class Gravity:
    """Local gravity and its standard uncertainty, m/s2, and how it is known."""

    value_m_s2: float
    u_m_s2: float
    words: str
    surveyed: bool = True  # of this place, not of the Earth at large

    @property
    def u_rel(self) -> float:
        """Relative standard uncertainty."""
        return self.u_m_s2 / self.value_m_s2


@dataclass(frozen=True, slots=True)
class WeightsKnown:
    """How well the weights are known: relative standard uncertainty, and words."""

    u_rel: float
    words: str
    traceable: bool  # a class or a measured value stands behind them


def normal_gravity_m_s2(latitude_deg: float, height_m: float = 0.0) -> float:
    """Return gravity on and near the WGS 84 ellipsoid (Somigliana; second order in height)."""
    squared = math.sin(math.radians(latitude_deg)) ** 2
    surface = EQUATOR_M_S2 * (1.0 + 0.00193185265 * squared)
    surface /= math.sqrt(1.0 - 0.00669437999014 * squared)
    axis_m, flattening, m = 6378137.0, 1.0 / 298.257223563, 0.00344978650684
    slope = 2.0 / axis_m * (1.0 + flattening + m - 2.0 * flattening * squared)
    return surface * (1.0 - slope * height_m + 3.0 * height_m**2 / axis_m**2)


def local_gravity(latitude_deg: float | None, height_m: float = 0.0) -> Gravity:
    """Return gravity at a place; without one the standard value, good to all of the Earth."""
    if latitude_deg is None:
        widest = max(POLE_M_S2 - STANDARD_GRAVITY_M_S2, STANDARD_GRAVITY_M_S2 - EQUATOR_M_S2)
        return Gravity(
            STANDARD_GRAVITY_M_S2,
            widest / math.sqrt(3.0),
            "place unknown: 9.80665 m/s2, which may be off by 0.27 %",
            surveyed=False,
        )
    value = normal_gravity_m_s2(latitude_deg, height_m)
    place = f"latitude {latitude_deg:g} deg, {height_m:g} m above the sea"
    return Gravity(value, U_GRAVITY_M_S2, f"{place}: {value:.5f} m/s2")


def buoyancy(density_kg_m3: float) -> float:
    """Return the part of its weight that a body of this density keeps in conventional air."""
    return 1.0 - CONVENTIONAL_AIR_KG_M3 / density_kg_m3


def weight_force_n(conventional_mass_kg: float, gravity_m_s2: float) -> float:
    """Return the force in N of a weight in ordinary air.

    Certificates, classes and shop scales state conventional mass: what balances steel of 8000
    kg/m3 in air of 1.2 kg/m3 (OIML D 28). In such air its force does not depend on its metal.
    """
    return conventional_mass_kg * gravity_m_s2 * buoyancy(CONVENTIONAL_DENSITY_KG_M3)


def class_limit_kg(nominal_kg: float, accuracy_class: str) -> float:
    """Return the limit of error of one weight, kg. Raises ValueError for one not in the table."""
    try:
        limits = CLASS_LIMITS_MG[nominal_kg]
        return limits[CLASSES.index(accuracy_class)] * 1e-6
    except (KeyError, ValueError):
        raise ValueError(
            f"OIML R 111-1 limits are held for {', '.join(CLASSES)} from 100 g to 50 kg, "
            f"not for {accuracy_class} {nominal_kg:g} kg"
        ) from None


def class_limit_rel(accuracy_class: str) -> float:
    """Return what no weight of a class, of 100 g or more, exceeds as a part of its nominal."""
    return max(class_limit_kg(kg, accuracy_class) / kg for kg in CLASS_LIMITS_MG)


def weights_known(how: str) -> WeightsKnown:
    """Return how good weights are, from "M1", "M2", "M3", a percentage such as "0.1 %", "unknown".

    A percentage is the standard uncertainty of measured masses; a class and "unknown" are limits
    (rectangular: limit / sqrt 3, GUM 4.3.7). Raises ValueError.
    """
    text = how.strip()
    if text.upper() in CLASSES:
        limit = class_limit_rel(text.upper())
        words = f"class {text.upper()} by OIML R 111-1 (each within {100 * limit:g} %)"
        return WeightsKnown(limit / math.sqrt(3.0), words, traceable=True)
    if text.lower() == "unknown":
        words = f"unknown: taken as within {100 * UNKNOWN_WITHIN:g} %, weigh them on a good scale"
        return WeightsKnown(UNKNOWN_WITHIN / math.sqrt(3.0), words, traceable=False)
    match = re.fullmatch(r"(\d{1,2}(?:\.\d{1,6})?)\s*%", text)
    if match is None:
        raise ValueError(
            f'weights are known as M1, M2, M3, a percentage ("0.1 %") or unknown: {how!r}'
        )
    percent = float(match[1])
    words = f"measured, standard uncertainty {percent:g} %"
    return WeightsKnown(percent / 100.0, words, traceable=True)
