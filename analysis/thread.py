"""Thread geometry and the two withdrawal strengths in use. mm, N, N/mm2.

Facts of common practice, no source: in softwood a pilot smaller than the minor diameter gains
nothing, and a screw holds less than half of what it holds in hardwood.
"""

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Bite:
    """How deep a thread grips the wall of its pilot hole."""

    bite_mm: float  # radial
    engagement_pct: float  # of the thread's depth
    capped: bool  # the pilot is no larger than the minor diameter: the whole thread bites


def bite(major_mm: float, minor_mm: float, pilot_mm: float) -> Bite:
    """Return the radial bite (major - pilot)/2, at most the thread depth (major - minor)/2.

    A pilot as large as the major diameter or larger leaves none.

    Raises:
        ValueError: the minor diameter is not between 0 and the major one, or the pilot is negative.
    """
    if not 0.0 <= minor_mm < major_mm or not pilot_mm >= 0.0:
        raise ValueError(
            f"major {major_mm:g} mm, minor {minor_mm:g} mm, pilot {pilot_mm:g} mm: the minor "
            "diameter must be smaller than the major one, and none may be negative"
        )
    depth = (major_mm - minor_mm) / 2.0
    radial = max(0.0, (major_mm - pilot_mm) / 2.0)
    deep = min(radial, depth)
    return Bite(deep, 100.0 * deep / depth, pilot_mm <= minor_mm)


def strength_on_d_l_mpa(force_n: float, outer_mm: float, length_mm: float) -> float:
    """Return f = F/(d l), the definition of EN 1382 and EN 1995-1-1 8.7.2."""
    return force_n / (outer_mm * length_mm)


def strength_on_cylinder_mpa(force_n: float, outer_mm: float, length_mm: float) -> float:
    """Return f = F/(pi d l), used by many papers (CIB-W18/46-7-4); a factor 3.14 lower."""
    return force_n / (math.pi * outer_mm * length_mm)


def head_strength_mpa(force_n: float, head_mm: float) -> float:
    """Return f_head = F/d_h^2, the definition of EN 1383."""
    return force_n / head_mm**2
