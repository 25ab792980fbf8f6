"""Units against definitions and public tables; each source beside its check."""

import csv
from fractions import Fraction
from pathlib import Path

import pytest

from daq import units

DATA = Path(__file__).parent / "data"


@pytest.mark.parametrize(
    ("parse", "text", "value"),
    [
        # Exact by definition: 3rd CGPM 1901 (standard gravity); international yard and pound 1959.
        (units.parse_force_n, "1 kgf", 9.80665),
        (units.parse_force_n, "1 lbf", 4.4482216152605),
        (units.parse_length_mm, "1 in", 25.4),
        (units.parse_length_mm, "1 ft", 304.8),
        (units.parse_mass_kg, "1 lb", 0.45359237),
        (units.parse_mass_kg, "16 oz", 0.45359237),
    ],
)
def test_exact_factors(parse, text, value):
    assert parse(text) == value


@pytest.mark.parametrize(
    ("parse", "text", "value"),
    [
        # NIST SP 811 (2008) appendix B, seven digits as printed, from memory.
        (units.parse_stress_mpa, "1 psi", 6.894757e-3),
        (units.parse_density_kg_m3, "1 lb/ft3", 16.01846),
        (units.parse_stiffness_n_per_mm, "1 lbf/in", 0.1751268),
        (units.parse_angle_deg, "1 rad", 57.29578),
    ],
)
def test_factors_as_printed(parse, text, value):
    assert parse(text) == pytest.approx(value, rel=4e-7)


def test_force_and_mass_factors_to_the_last_digit():
    """Products of the defining decimals, exact: 0.45359237 x 9.80665 = 4.4482216152605."""
    assert Fraction("4.4482216152605") == units.POUND_FORCE_N
    assert units.parse_force_n("1 lbf") == 4.4482216152605
    assert units.parse_force_n("1000 lbf") == 4448.2216152605


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        # Common practice, no source: rounded to 0.01 mm as drill charts print them.
        ("1/16 in", 1.59),
        ("5/64 in", 1.98),
        ("3/32 in", 2.38),
        ("9/64 in", 3.57),
        ('7/32"', 5.56),
        ("1-1/2 in", 38.10),
        ("No. 52", 1.61),
        ("No. 45 drill", 2.08),
        ("#40", 2.49),
        ("no 35", 2.79),
        ("number 31", 3.05),
        ("No. 29", 3.45),
        ("No. 21 drill", 4.04),
        ("No. 10", 4.91),
        ("F drill", 6.53),
        ("letter Z", 10.49),
    ],
)
def test_inch_sizes_of_the_shop(text, mm):
    assert round(units.parse_length_mm(text) + 1e-9, 2) == mm


def test_every_number_and_letter_drill_against_a_public_chart():
    lines = (DATA / "inch_drills.csv").read_text().splitlines()
    rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    assert len(rows) == 106
    for row in rows:
        name = f"No. {row['drill']}" if row["drill"].isdigit() else f"letter {row['drill']}"
        assert units.parse_length_mm(name) == float(Fraction(row["diameter_in"]) * Fraction("25.4"))
