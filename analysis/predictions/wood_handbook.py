"""USDA Wood Handbook, chapter 8: average ultimate withdrawal in side grain of seasoned wood.

FPL-GTR-190 (2010) and FPL-GTR-282 (2021); equation numbers are those of GTR-282. Metric forms, N
and mm. G12 is oven-dry mass over volume at 12 % moisture; the annular nail alone is on an oven-dry
basis (G0). D is the nail's diameter, or the SHANK diameter of a screw; L is the penetration in the
member that holds the point, for screws and lag screws of the THREADED part alone.

The chapter gives no equation for heads pulled through solid wood.
"""

import math
from typing import Literal

from analysis.predictions.prediction import (
    INCH_MM,
    KindOfValue,
    LeadHole,
    Prediction,
    gravity,
    outside,
    positive,
    published,
)

Grain = Literal["side", "end"]

EDITION = "USDA Wood Handbook, FPL-GTR-282 (2021) ch. 8"
#: Average ultimate strength of lag-screw steel, N/mm2 (chapter 8, lag screws).
LAG_STEEL_ULTIMATE_MPA = 530.9
#: Tapping (sheet metal, type A) screws hold about 10 % more than wood screws (chapter 8, p. 8-10).
TAPPING_FACTOR = 1.10
#: Lag screws in end grain hold about three fourths (p. 8-12/8-13). For wood screws 75 % where
#: nothing splits, erratic (from memory).
END_GRAIN_FACTOR = 0.75

_WOODS = "woods of the handbook's Table 5-3a, from memory"
_ULTIMATE = KindOfValue.AVERAGE_ULTIMATE

# Table 8-8: screw length (mm) -> gauges made in it. From memory.
_LENGTHS_MM = (
    (12.7, 1, 6),
    (19.0, 2, 11),
    (25.4, 3, 12),
    (38.0, 5, 14),
    (51.0, 7, 16),
    (64.0, 9, 18),
    (76.0, 12, 20),
)


def smooth_nail(g12: float, diameter_mm: float, penetration_mm: float) -> Prediction:
    """Return p = 54.12 G12^2.5 D L (N), bright smooth common nail, Eq. 8-1, p. 8-2.

    The inch-pound form is 7,850 G^2.5 D L. Range: 6d to 60d common nails (Table 8-1).
    """
    gravity("G12", g12)
    positive(d_mm=diameter_mm, l_mm=penetration_mm)
    return published(
        54.12 * g12**2.5 * diameter_mm * penetration_mm,
        "N",
        f"{EDITION} Eq. 8-1",
        "G12; nail diameter; penetration in the member that holds the point; side grain",
        _ULTIMATE,
        (_gravity_range("G12", g12), _nail_range(diameter_mm)),
    )


def annular_nail(g0: float, root_mm: float, penetration_mm: float) -> Prediction:
    """Return p = 77.57 G0^2 D L (N), annularly threaded nail, Eq. 8-2a, p. 8-4.

    The basis is oven-dry mass and volume, unlike the rest of the chapter, and D is the diameter at
    the root of the threads by the handbook's own note.
    """
    gravity("G0", g0)
    positive(d_mm=root_mm, l_mm=penetration_mm)
    return published(
        77.57 * g0**2 * root_mm * penetration_mm,
        "N",
        f"{EDITION} Eq. 8-2a",
        "G0 (this equation alone); diameter at the thread root; penetration; side grain",
        _ULTIMATE,
        (_gravity_range("G0", g0),),
    )


def drift_bolt(g12: float, diameter_mm: float, penetration_mm: float) -> Prediction:
    """Return p = 45.51 G12^2 D L (N), round drift bolt, Eq. 8-9, p. 8-10."""
    gravity("G12", g12)
    positive(d_mm=diameter_mm, l_mm=penetration_mm)
    return published(
        45.51 * g12**2 * diameter_mm * penetration_mm,
        "N",
        f"{EDITION} Eq. 8-9",
        "G12; bolt diameter; penetration; side grain; hole 3 mm smaller or less (from memory)",
        _ULTIMATE,
        (_gravity_range("G12", g12),),
    )


def wood_screw(
    g12: float,
    shank_mm: float,
    thread_mm: float,
    grain: Grain = "side",
    tapping: bool = False,
) -> Prediction:
    """Return p = 108.25 G12^2 D L (N), wood screw, Eq. 8-10, p. 8-10.

    The inch-pound form is 15,700 G^2 D L. Range: gauges and lengths of Table 8-8 (from memory),
    lead hole about 70 % of the root in softwoods and 90 % in hardwoods, and only while the screw
    itself does not break.
    """
    gravity("G12", g12)
    positive(d_mm=shank_mm, l_mm=thread_mm)
    side = published(
        108.25 * g12**2 * shank_mm * thread_mm,
        "N",
        f"{EDITION} Eq. 8-10",
        f"G12; shank diameter; length of thread in the wood; {grain} grain",
        _ULTIMATE,
        (_gravity_range("G12", g12), _screw_range(shank_mm, thread_mm)),
        _thread_notes(shank_mm, thread_mm),
    )
    if tapping:
        side = side.times(TAPPING_FACTOR, "tapping screw, about 10 % more (p. 8-10)")
    if grain == "side":
        return side
    return side.times(END_GRAIN_FACTOR, "0.75 of side grain").noting(
        "end grain: 75 % is the upper figure where nothing splits, and erratic (from memory)"
    )


def lag_screw(g12: float, shank_mm: float, thread_mm: float, grain: Grain = "side") -> Prediction:
    """Return p = 125.4 G12^1.5 D^0.75 L (N), lag (coach) screw, Eq. 8-14, p. 8-12.

    The inch-pound form is 8,100 G^1.5 D^0.75 L. About 7 D of thread in dense wood (G over 0.61) and
    10 to 12 D in light wood (under 0.42) develop the tensile strength of the screw.
    """
    gravity("G12", g12)
    positive(d_mm=shank_mm, l_mm=thread_mm)
    side = published(
        125.4 * g12**1.5 * shank_mm**0.75 * thread_mm,
        "N",
        f"{EDITION} Eq. 8-14",
        f"G12; shank diameter; length of thread in the wood, tip not counted; {grain} grain",
        _ULTIMATE,
        (
            _gravity_range("G12", g12),
            outside("d_mm", shank_mm, 4.7, 25.4, "3/16 in to 1 in lag screws, from memory"),
        ),
        _lag_notes(g12, shank_mm, thread_mm),
    )
    return side if grain == "side" else side.times(END_GRAIN_FACTOR, "0.75 of side grain")


def lag_steel(root_mm: float) -> Prediction:
    """Return the tensile strength in N of a lag screw: 530.9 N/mm2 on the root area (ch. 8)."""
    return published(
        tension(root_mm, LAG_STEEL_ULTIMATE_MPA),
        "N",
        f"{EDITION}, lag screws, average ultimate {LAG_STEEL_ULTIMATE_MPA} N/mm2",
        "root diameter, measured; tension of the lag screw's own steel",
        _ULTIMATE,
        (),
        ("other screws have other steel: hardened ones carry far more, soft brass less",),
    )


def tension(root_mm: float, ultimate_mpa: float) -> float:
    """Return the force in N at which the core breaks: ultimate strength times root area."""
    positive(root_mm=root_mm, fu_mpa=ultimate_mpa)
    return ultimate_mpa * math.pi * root_mm**2 / 4.0


def screw_lead_holes(root_mm: float) -> tuple[LeadHole, ...]:
    """Return the handbook's lead holes for a wood screw: fractions of the ROOT diameter (p. 8-10).

    About 70 % of the root in softwoods, 90 % in hardwoods. Measure the root: published tables put
    that of a No. 10 anywhere from 3.2 to 4.0 mm.
    """
    positive(root_mm=root_mm)
    return tuple(
        LeadHole(wood, part * root_mm, part * root_mm, "root diameter", f"{EDITION} p. 8-10")
        for wood, part in (("softwood", 0.70), ("hardwood", 0.90))
    )


def lag_lead_holes(shank_mm: float) -> tuple[LeadHole, ...]:
    """Return lead holes for the thread of a lag screw: fractions of the SHANK (from memory)."""
    positive(d_mm=shank_mm)
    source = f"{EDITION} and NDS 12.1.4, from memory"
    parts = (
        ("dense hardwood (oak)", 0.65, 0.85),
        ("Douglas-fir, southern pine", 0.60, 0.75),
        ("light softwood", 0.40, 0.70),
    )
    return tuple(
        LeadHole(wood, low * shank_mm, high * shank_mm, "shank diameter", source)
        for wood, low, high in parts
    )


def lead_hole_words(pilot_mm: float, root_mm: float) -> str | None:
    """Return a sentence when a wood screw's lead hole is beyond what Eq. 8-10 was measured with."""
    positive(pilot_mm=pilot_mm, root_mm=root_mm)
    part = pilot_mm / root_mm
    if part <= 0.90 + 1e-9:
        return None
    return (
        f"the lead hole is {100 * part:.0f} % of the root; the equation is for about 70 % "
        "(softwood) or 90 % (hardwood): expect less"
    )


def _gravity_range(name: str, value: float) -> str | None:
    return outside(name, value, 0.31, 0.88, _WOODS)


def _nail_range(diameter_mm: float) -> str | None:
    return outside("d_mm", diameter_mm, 2.87, 6.65, "6d to 60d common nails, Table 8-1")


def _screw_range(shank_mm: float, thread_mm: float) -> str | None:
    gauge = _gauge(shank_mm)
    if not 0.5 <= gauge <= 20.5:
        return f"d_mm {shank_mm:g} is no gauge of 1 to 20 (Table 8-8): the formula is stretched"
    longest = _longest_mm(gauge)
    if thread_mm <= longest:
        return None
    return (
        f"l_mm {thread_mm:g} is more than the longest screw of this gauge, {longest:g} mm "
        "(Table 8-8, from memory): the formula is stretched, the screw may break first"
    )


def _thread_notes(shank_mm: float, thread_mm: float) -> tuple[str, ...]:
    usual = 2.0 / 3.0 * _longest_mm(_gauge(shank_mm))
    if not usual < thread_mm <= 1.5 * usual:
        return ()
    return (
        f"l_mm counts thread only; wood screws of this gauge carry up to about {usual:.0f} mm of "
        "it (2/3 of their length)",
    )


def _lag_notes(g12: float, shank_mm: float, thread_mm: float) -> tuple[str, ...]:
    share = min(1.0, max(0.0, (0.61 - g12) / (0.61 - 0.42)))
    enough = (7.0 + 4.0 * share) * shank_mm
    if thread_mm < enough:
        return ()
    return (
        f"about {enough:.0f} mm of thread in this wood already develops the screw's tensile "
        "strength: the screw may break first",
    )


def _gauge(shank_mm: float) -> float:
    """Return the gauge n of D = 0.060 + 0.013 n inch as a fraction (Table 8-9)."""
    return (shank_mm / INCH_MM - 0.060) / 0.013


def _longest_mm(gauge: float) -> float:
    whole = round(gauge)
    return max((mm for mm, low, high in _LENGTHS_MM if low <= whole <= high), default=76.0)
