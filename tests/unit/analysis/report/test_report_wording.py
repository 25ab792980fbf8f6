"""Numbers beside their uncertainty, units of choice, answers in words."""

import math

import pytest

from analysis.report.wording import (
    UNITS,
    ForceUnit,
    decimals_for,
    key_name,
    key_unit,
    level_name,
    number,
    percent,
)
from daq.units import KILOGRAM_FORCE_N

NB = "\u00a0"


@pytest.mark.parametrize(
    ("force_n", "u_n", "unit", "text"),
    [
        # Two significant digits of the uncertainty: JCGM 100:2008 (GUM) 7.2.6.
        (4603.4, 121.0, "kN", "4.60"),
        (4603.4, 12.1, "kN", "4.603"),
        (251.3, 1.4, "kN", "0.251"),  # three decimals of kN are as fine as a shop rig goes
        (4603.4, 121.0, "N", "4603"),
        (4603.4, math.nan, "kN", "4.60"),
        (-1383.5, 270.0, "kN", "−1.38"),
        (-0.4, math.nan, "N", "0"),
        (math.nan, 10.0, "kN", "–"),
    ],
)
def test_digits_go_with_the_uncertainty(force_n, u_n, unit, text):
    assert number(force_n, unit, u_n) == text


@pytest.mark.parametrize("unit", UNITS)
def test_decimals_never_run_away(unit):
    found = [decimals_for(10.0**k, unit) for k in range(-12, 9)]
    assert min(found) == 0
    assert max(found) <= 3
    assert found == sorted(found, reverse=True)


def test_si_stands_first_and_the_persons_unit_beside_it():
    # 1 kgf = 9.80665 N exactly (3rd CGPM, 1901)
    assert ForceUnit("kgf").words(100 * KILOGRAM_FORCE_N) == f"0.98{NB}kN (100{NB}kgf)"
    # 1 lbf = 4.4482216152605 N (international pound x standard gravity)
    assert ForceUnit("lbf").words(4448.2216152605) == f"4.45{NB}kN (1000{NB}lbf)"
    assert ForceUnit("kN").words(4448.2) == f"4.45{NB}kN"
    assert ForceUnit("N").words(4448.2) == f"4448{NB}N"


def test_keys_become_words_with_units():
    assert (key_name("pilot_mm"), key_unit("pilot_mm")) == ("pilot", "mm")
    assert (key_name("density_kg_m3"), key_unit("density_kg_m3")) == ("density", "kg/m³")
    assert (key_name("coating"), key_unit("coating")) == ("coating", "")
    assert key_name("_mm") == "_mm"
    assert level_name("pilot_mm", 8.5) == f"8.5{NB}mm"
    assert level_name("pilot_mm", "7/32 in") == "7/32 in"


def test_a_share_of_nothing_has_no_sign():
    assert percent(-0.001, sign=True) == "0\u202f%"
    assert percent(-0.314, sign=True) == "−31\u202f%"
