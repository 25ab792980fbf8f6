"""A pin between two side members, pulled by one in the middle: shear and bending."""

import math

from daq.rig.rig import Pin


def pin_shear_mpa(force_n: float, pin: Pin) -> float:
    """Return the mean stress in double shear, F / (2 A), N/mm2."""
    return force_n / (2.0 * math.pi / 4.0 * pin.diameter_mm**2)


def pin_bending_mpa(force_n: float, pin: Pin) -> float:
    """Return the bending stress, M = (F/2) (side/2 + gap + middle/4), W = pi d^3 / 32, N/mm2.

    Loads spread evenly over each member (strength-of-materials form used for bolts and pins).
    """
    reach = pin.side_mm / 2.0 + pin.gap_mm + pin.middle_mm / 4.0
    return force_n / 2.0 * reach * 32.0 / (math.pi * pin.diameter_mm**3)
