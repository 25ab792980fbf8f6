"""NDS for Wood Construction (AWC 2018, 2024), chapter 12: REFERENCE DESIGN values.

G is G0, oven-dry mass and volume (Table 12.3.3A); the side member's for heads pulled through. The
published forms are lbf per inch; the functions take mm and give N/mm, or N for heads. Values are
before load-duration, wet-service and other factors, and far below what a test shows: about a fifth
for screws and nails, a quarter for lag screws.

W is for each mm of: lag screw, thread without the tapered tip (12.2.1.2); wood screw, thread
(12.2.2.2); nail, full penetration (12.2.3.1).
"""

import math
from typing import Literal

from analysis.predictions.prediction import (
    INCH_MM,
    LBF_N,
    KindOfValue,
    LeadHole,
    Prediction,
    gravity,
    outside,
    positive,
    published,
)
from daq.faults import InputFault

Shank = Literal["smooth", "stainless", "annular"]

EDITION = "NDS 2018/2024"
#: Lag screws in end grain (12.2.1.3); wood screws and nails are not permitted there.
END_GRAIN_FACTOR = 0.75

_DESIGN = KindOfValue.DESIGN_REFERENCE
_LBF_PER_INCH = LBF_N / INCH_MM
_FROM_MEMORY = "the coefficient is from memory: check it against the standard"
# shank -> (coefficient, exponent of G, equation, note)
_NAILS: dict[str, tuple[float, float, str, tuple[str, ...]]] = {
    "smooth": (1380.0, 2.5, "12.2-3", ()),
    "stainless": (465.0, 1.5, "12.2-4", (_FROM_MEMORY,)),
    "annular": (
        1800.0,
        2.0,
        "12.2-5",
        (_FROM_MEMORY, "for roof-sheathing and post-frame ring-shank nails only"),
    ),
}


def lag_screw(g0: float, shank_mm: float, grain: Literal["side", "end"] = "side") -> Prediction:
    """Return W = 1800 G0^1.5 D^0.75 (published in lbf/in) as N/mm, Eq. 12.2-1."""
    gravity("G0", g0)
    positive(d_mm=shank_mm)
    inches = shank_mm / INCH_MM
    side = published(
        1800.0 * g0**1.5 * inches**0.75 * _LBF_PER_INCH,
        "N/mm",
        f"{EDITION} Eq. 12.2-1",
        f"G0; shank diameter; per mm of thread without the tip; {grain} grain",
        _DESIGN,
        (_gravity_range(g0), outside("d_mm", shank_mm, 6.35, 31.75, "Table 12.2A, from memory")),
        ("check the screw itself in tension too (12.2.1.4)",),
    )
    return side if grain == "side" else side.times(END_GRAIN_FACTOR, "C_eg = 0.75 (12.2.1.3)")


def wood_screw(g0: float, shank_mm: float) -> Prediction:
    """Return W = 2850 G0^2 D (published in lbf/in) as N/mm, Eq. 12.2-2, side grain."""
    gravity("G0", g0)
    positive(d_mm=shank_mm)
    return published(
        2850.0 * g0**2 * (shank_mm / INCH_MM) * _LBF_PER_INCH,
        "N/mm",
        f"{EDITION} Eq. 12.2-2",
        "G0; nominal (shank) diameter; per mm of thread in the wood; side grain",
        _DESIGN,
        (_gravity_range(g0), outside("d_mm", shank_mm, 3.5, 9.46, "No. 6 to 24, Table 12.2B")),
        ("check the screw itself in tension too (12.2.2.5)",),
    )


def nail(g0: float, diameter_mm: float, shank: Shank = "smooth") -> Prediction:
    """Return W of a nail (published in lbf/in) as N/mm, side grain.

    smooth: 1380 G0^2.5 D, Eq. 12.2-3; stainless, smooth: 465 G0^1.5 D, Eq. 12.2-4; annular (roof
    sheathing, post-frame): 1800 G0^2 D, Eq. 12.2-5. The last two coefficients are from memory.
    """
    gravity("G0", g0)
    positive(d_mm=diameter_mm)
    coefficient, exponent, equation, notes = _NAILS[shank]
    return published(
        coefficient * g0**exponent * (diameter_mm / INCH_MM) * _LBF_PER_INCH,
        "N/mm",
        f"{EDITION} Eq. {equation}",
        f"G0; nail diameter ({shank} shank); per mm of penetration; side grain",
        _DESIGN,
        (
            _gravity_range(g0),
            outside("d_mm", diameter_mm, 2.51, 9.53, "Table 12.2C, 0.099 to 0.375 in, from memory"),
        ),
        notes,
    )


def head_pull_through(g0_side: float, head_mm: float, side_mm: float) -> Prediction:
    """Return W_H in N of a round head, Eq. 12.2-6a/b.

    690 pi D_H G0^2 t lbf while t <= 2.5 D_H, else 1725 pi D_H^2 G0^2 (published in inches). t is
    the net thickness of the side member, below any counterbore. Range (Table 12.2F): D_H 0.234 to
    0.500 in, t 5/16 to 1-1/2 in.
    """
    gravity("G0", g0_side)
    positive(head_mm=head_mm, t_mm=side_mm)
    head, side = head_mm / INCH_MM, side_mm / INCH_MM
    thin = side <= 2.5 * head
    length = side if thin else 2.5 * head
    return published(
        690.0 * math.pi * head * g0_side**2 * length * LBF_N,
        "N",
        f"{EDITION} Eq. 12.2-6{'a' if thin else 'b'}",
        "G0 of the side member; diameter of a round head; net thickness below the head",
        _DESIGN,
        (
            _gravity_range(g0_side),
            outside("head_mm", head_mm, 5.94, 12.7, "Table 12.2F"),
            outside("t_mm", side_mm, 7.93, 38.1, "Table 12.2F"),
        ),
        ("round heads only; for a flush countersunk head take a third of its depth off t_mm",),
    )


def lead_hole(g0: float, root_mm: float) -> LeadHole | None:
    """Return the lead hole for a wood screw loaded in withdrawal (12.1.5); None: none is required.

    90 % of the ROOT diameter over G0 0.6, 70 % over 0.5.
    """
    gravity("G0", g0)
    positive(root_mm=root_mm)
    if g0 <= 0.5:
        return None
    part, wood = (0.90, "G0 over 0.6") if g0 > 0.6 else (0.70, "G0 over 0.5 to 0.6")
    return LeadHole(wood, part * root_mm, part * root_mm, "root diameter", f"{EDITION} 12.1.5")


def side_grain_only(kind: str, clause: str) -> InputFault:
    """Return the refusal of end grain for nails and wood screws."""
    return InputFault(
        f"grain: the NDS does not permit a {kind} loaded in withdrawal from end grain ({clause}); "
        "take source=handbook for an expectation"
    )


def _gravity_range(g0: float) -> str | None:
    return outside("G0", g0, 0.31, 0.73, "tables of chapter 12")
