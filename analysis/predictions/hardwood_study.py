"""Self-tapping screws in European hardwoods: CIB-W18/46-7-4 (2013), characteristic values.

Tests to EN 1382 in ash (n = 2,657), beech (371) and black locust (300). The strength is on the
CYLINDER pi d l_ef, a factor 3.14 below the F/(d l) of EN 1382 and EC5.
"""

import math

from analysis.predictions.prediction import (
    KindOfValue,
    Prediction,
    outside,
    positive,
    published,
)
from daq.faults import InputFault

EDITION = "CIB-W18/46-7-4 (2013)"


def strength_mpa(rho_k: float, outer_mm: float) -> float:
    """Return f_ax,k = 7e-4 rho_k^1.6 d^-0.34 (N/mm2, on pi d l_ef)."""
    positive(rho_k=rho_k, d_mm=outer_mm)
    return float(7e-4 * rho_k**1.6 * outer_mm**-0.34)


def screw(rho_k: float, outer_mm: float, threaded_mm: float, angle_deg: float = 90.0) -> Prediction:
    """Return the characteristic withdrawal in N: f_ax,k pi d (l - 1.1 d), for 30 to 90 deg.

    ``threaded_mm`` counts the point, which the form takes off as 1.1 d. Below 30 deg the study lets
    the value fall in a straight line to 70 % at 0 deg.

    Raises:
        InputFault: the thread is no longer than its point.
    """
    positive(l_mm=threaded_mm)
    effective = threaded_mm - 1.1 * outer_mm
    if effective <= 0.0:
        raise InputFault(
            f"l_mm: {threaded_mm:g} mm of thread is no more than the point (1.1 d); give the "
            "length of thread with its point"
        )
    along = 1.0 - 0.3 * max(0.0, 1.0 - angle_deg / 30.0)
    value = strength_mpa(rho_k, outer_mm) * math.pi * outer_mm * effective * along
    return published(
        value,
        "N",
        f"{EDITION}, f = 7e-4 rho_k^1.6 d^-0.34 on pi d (l - 1.1 d)",
        "rho_k (5th percentile, kg/m3); OUTER thread diameter; thread with its point",
        KindOfValue.CHARACTERISTIC,
        (
            outside("rho_k", rho_k, 450.0, 850.0, "European hardwoods: ash, beech, black locust"),
            outside("d_mm", outer_mm, 4.0, 12.0, "screws of such tests, from memory"),
            outside("angle_deg", angle_deg, 0.0, 90.0, "angle between screw and grain"),
        ),
    )
