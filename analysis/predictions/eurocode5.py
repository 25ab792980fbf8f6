"""Eurocode 5, EN 1995-1-1:2004 + A1:2008 (+ A2:2014): CHARACTERISTIC values, N and mm.

rho_k is the 5th percentile of density with its moisture at 20 C and 65 % RH, kg/m3; it is neither a
mean nor oven-dry. d is the OUTER thread diameter of a screw, d1 its core. l_ef is the threaded
penetration (the text of 2004 took off one d; A1 does not). A design value needs k_mod and gamma_M
on top.
"""

import math

from analysis.predictions.prediction import (
    KindOfValue,
    Prediction,
    outside,
    positive,
    published,
)

EDITION = "EN 1995-1-1:2004+A1:2008"
_CHARACTERISTIC = KindOfValue.CHARACTERISTIC


def screw_strength_mpa(outer_mm: float, length_mm: float, rho_k: float) -> float:
    """Return f_ax,k = 0.52 d^-0.5 l_ef^-0.1 rho_k^0.8 (N/mm2 on d l_ef), Eq. (8.39)."""
    positive(d_mm=outer_mm, l_mm=length_mm, rho_k=rho_k)
    return float(0.52 * outer_mm**-0.5 * length_mm**-0.1 * rho_k**0.8)


def effective_number(count: float) -> float:
    """Return n_ef = n^0.9 of screws that act together, Eq. (8.41)."""
    positive(count=count)
    return float(count**0.9)


def screw(
    outer_mm: float,
    length_mm: float,
    rho_k: float,
    angle_deg: float = 90.0,
    count: float = 1.0,
    core_mm: float | None = None,
) -> Prediction:
    """Return F_ax,a,Rk = n_ef f_ax,k d l_ef k_d / (1.2 cos^2 a + sin^2 a) in N, Eq. (8.38).

    k_d = min(d/8, 1), Eq. (8.40). Range: 6 <= d <= 12 mm, 0.6 <= d1/d <= 0.75, l_ef >= 6 d and
    a >= 30 deg.
    """
    strength = screw_strength_mpa(outer_mm, length_mm, rho_k)
    along = strength * outer_mm * length_mm * min(outer_mm / 8.0, 1.0)
    value = effective_number(count) * along / _grain_divisor(angle_deg)
    unchecked = () if core_mm else ("core diameter not given: 0.6 <= d1/d <= 0.75 not checked",)
    return published(
        value,
        "N",
        f"{EDITION} 8.7.2 Eq. (8.38) to (8.41)",
        "rho_k; OUTER thread diameter; threaded penetration l_ef; angle between screw and grain",
        _CHARACTERISTIC,
        (
            outside("d_mm", outer_mm, 6.0, 12.0, "Eq. (8.39); beyond it a tested f_ax,k is needed"),
            outside("d1/d", core_mm / outer_mm, 0.6, 0.75, "Eq. (8.39)") if core_mm else None,
            *_screw_limits(outer_mm, length_mm, angle_deg),
        ),
        unchecked,
    )


def screw_from_test(
    f_ax_mpa: float,
    rho_a: float,
    outer_mm: float,
    length_mm: float,
    rho_k: float,
    angle_deg: float = 90.0,
    count: float = 1.0,
) -> Prediction:
    """Return n_ef f_ax,k d l_ef (rho_k/rho_a)^0.8 / (1.2 cos^2 a + sin^2 a) in N, Eq. (8.40a).

    ``f_ax_mpa`` (N/mm2 on d l_ef) was tested by EN 14592 at the density ``rho_a``.
    """
    positive(f_ax_mpa=f_ax_mpa, rho_a=rho_a, d_mm=outer_mm, l_mm=length_mm, rho_k=rho_k)
    along = f_ax_mpa * outer_mm * length_mm * (rho_k / rho_a) ** 0.8
    return published(
        effective_number(count) * along / _grain_divisor(angle_deg),
        "N",
        f"{EDITION} 8.7.2 Eq. (8.40a), (8.41)",
        "tested f_ax,k at rho_a; rho_k; OUTER thread diameter; threaded penetration; angle",
        _CHARACTERISTIC,
        _screw_limits(outer_mm, length_mm, angle_deg),
    )


def screw_head(
    f_head_mpa: float, rho_a: float, head_mm: float, rho_k: float, count: float = 1.0
) -> Prediction:
    """Return n_ef f_head,k d_h^2 (rho_k/rho_a)^0.8 in N, Eq. (8.40b); f_head is a tested value."""
    positive(f_head_mpa=f_head_mpa, rho_a=rho_a, head_mm=head_mm, rho_k=rho_k)
    return published(
        effective_number(count) * f_head_mpa * head_mm**2 * (rho_k / rho_a) ** 0.8,
        "N",
        f"{EDITION} 8.7.2 Eq. (8.40b), (8.41)",
        "tested f_head,k at rho_a; rho_k; head diameter",
        _CHARACTERISTIC,
    )


def screw_tension(f_tens_n: float, count: float = 1.0) -> Prediction:
    """Return n_ef f_tens,k in N, Eq. (8.40c), from memory; f_tens,k is the declared value."""
    positive(f_tens_n=f_tens_n)
    return published(
        effective_number(count) * f_tens_n,
        "N",
        f"{EDITION} 8.7.2 Eq. (8.40c), from memory",
        "declared f_tens,k of one screw",
        _CHARACTERISTIC,
    )


def nail_strength_mpa(rho_k: float) -> float:
    """Return f_ax,k = 20e-6 rho_k^2 (N/mm2 on d l) of a smooth nail driven 12 d, Eq. (8.25)."""
    positive(rho_k=rho_k)
    return 20e-6 * rho_k**2


def nail_head_strength_mpa(rho_k: float) -> float:
    """Return f_head,k = 70e-6 rho_k^2 (N/mm2 on d_h^2) of a smooth nail, Eq. (8.26)."""
    positive(rho_k=rho_k)
    return 70e-6 * rho_k**2


def shallow_factor(diameter_mm: float, penetration_mm: float, smooth: bool = True) -> float:
    """Return the factor on f_ax,k of a nail that is driven short, 8.3.2(7).

    Smooth nails t/(4d) - 2 between 8 d and 12 d, others t/(2d) - 3 between 6 d and 8 d; never over
    1 and nothing below the range.
    """
    positive(d_mm=diameter_mm, l_mm=penetration_mm)
    depth = penetration_mm / diameter_mm
    return min(1.0, max(0.0, depth / 4.0 - 2.0 if smooth else depth / 2.0 - 3.0))


def smooth_nail(
    diameter_mm: float,
    penetration_mm: float,
    rho_k: float,
    head_mm: float | None = None,
    side_mm: float | None = None,
) -> Prediction:
    """Return min(f_ax d t_pen; f_ax d t + f_head d_h^2) in N, Eq. (8.24).

    Without ``head_mm`` and ``side_mm`` only the point side is looked at.
    """
    factor = shallow_factor(diameter_mm, penetration_mm)
    per_mm = nail_strength_mpa(rho_k) * factor * diameter_mm
    value, unchecked = per_mm * penetration_mm, "head side not checked: give head_mm and t_mm"
    if head_mm is not None and side_mm is not None:
        positive(head_mm=head_mm, t_mm=side_mm)
        head = per_mm * side_mm + nail_head_strength_mpa(rho_k) * head_mm**2
        value, unchecked = min(value, head), ""
    return published(
        value,
        "N",
        f"{EDITION} 8.3.2 Eq. (8.24) to (8.26)",
        "rho_k; nail diameter; penetration on the point side; side grain",
        _CHARACTERISTIC,
        (_too_short(penetration_mm / diameter_mm, 8.0),),
        (*_shallow_notes(factor), unchecked),
    )


def profiled_nail(
    f_ax_mpa: float,
    diameter_mm: float,
    penetration_mm: float,
    f_head_mpa: float | None = None,
    head_mm: float | None = None,
) -> Prediction:
    """Return min(f_ax d t_pen; f_head d_h^2) in N of a nail other than smooth, Eq. (8.23).

    ``f_ax_mpa`` and ``f_head_mpa`` are tested values for the wood at hand.
    """
    positive(f_ax_mpa=f_ax_mpa)
    factor = shallow_factor(diameter_mm, penetration_mm, smooth=False)
    value = f_ax_mpa * factor * diameter_mm * penetration_mm
    unchecked = "head side not checked: give f_head_mpa and head_mm"
    if f_head_mpa is not None and head_mm is not None:
        positive(f_head_mpa=f_head_mpa, head_mm=head_mm)
        value, unchecked = min(value, f_head_mpa * head_mm**2), ""
    return published(
        value,
        "N",
        f"{EDITION} 8.3.2 Eq. (8.23)",
        "tested f_ax,k and f_head,k; nail diameter; penetration on the point side; side grain",
        _CHARACTERISTIC,
        (_too_short(penetration_mm / diameter_mm, 6.0),),
        (*_shallow_notes(factor), unchecked),
    )


def nail_head(head_mm: float, rho_k: float) -> Prediction:
    """Return f_head,k d_h^2 in N of a smooth nail's head, Eq. (8.24) second term and (8.26)."""
    positive(head_mm=head_mm)
    return published(
        nail_head_strength_mpa(rho_k) * head_mm**2,
        "N",
        f"{EDITION} 8.3.2 Eq. (8.26)",
        "rho_k; head diameter of a SMOOTH NAIL",
        _CHARACTERISTIC,
        (),
        ("for a screw give the tested f_head_mpa and its rho_a (Eq. 8.40b)",),
    )


def _grain_divisor(angle_deg: float) -> float:
    angle = math.radians(angle_deg)
    return 1.2 * math.cos(angle) ** 2 + math.sin(angle) ** 2


def _screw_limits(outer_mm: float, length_mm: float, angle_deg: float) -> tuple[str | None, ...]:
    short = length_mm < 6.0 * outer_mm * (1.0 - 1e-9)
    return (
        outside("angle_deg", angle_deg, 30.0, 90.0, "angle between screw and grain, 8.7.2"),
        f"l_mm {length_mm:g} is under the least penetration 6 d, {6 * outer_mm:g} mm (8.7.2)"
        if short
        else None,
    )


def _too_short(depth: float, least: float) -> str | None:
    if depth >= least * (1.0 - 1e-9):
        return None
    return f"driven {depth:.1f} d, under the least {least:g} d: it counts for nothing (8.3.2(7))"


def _shallow_notes(factor: float) -> tuple[str, ...]:
    return (f"driven short: f_ax,k times {factor:.2f} (8.3.2(7))",) if 0 < factor < 1 else ()
