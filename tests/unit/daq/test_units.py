"""Quantities as people type them, and the sentences they get back."""

import math

import pytest

from daq import units


@pytest.mark.parametrize(
    ("parse", "text", "value"),
    [
        (units.parse_force_n, "8.2 kN", 8200.0),
        (units.parse_force_n, "8.2kN", 8200.0),
        (units.parse_force_n, " 6.2e3 N ", 6200.0),
        (units.parse_force_n, "200 kgf", 1961.33),
        (units.parse_force_n, "-5 n", -5.0),
        (units.parse_length_mm, "0.2 m", 200.0),
        (units.parse_length_mm, "402 mm", 402.0),
        (units.parse_length_mm, "40.2 cm", 402.0),
        (units.parse_length_mm, "1 1/2 in", 38.1),
        (units.parse_length_mm, "1-1/2″", 38.1),
        (units.parse_length_mm, "-3 mm", -3.0),
        (units.parse_length_mm, ".5 mm", 0.5),
        (units.parse_angle_deg, "3°", 3.0),
        (units.parse_time_s, "400 ms", 0.4),
        (units.parse_stress_mpa, "10 N/mm²", 10.0),
        (units.parse_density_kg_m3, "0.69 g/cm³", 690.0),
        (units.parse_stiffness_n_per_mm, "1.15 kN/mm", 1150.0),
    ],
)
def test_reads_what_people_type(parse, text, value):
    assert parse(text) == value


@pytest.mark.parametrize(
    ("parse", "text", "words"),
    [
        (units.parse_force_n, "8200", ["has no unit", "kN", "8.2 kN"]),
        (units.parse_length_mm, "402", ["has no unit", "402 mm"]),
        (units.parse_force_n, "200 kg", ["kg is a mass", "kgf"]),
        (units.parse_mass_kg, "20 kgf", ["kgf is a force"]),
        (units.parse_force_n, "402 mm", ['"mm" is no unit of force']),
        (units.parse_force_n, "8,2 kN", ["decimal point", "comma"]),
        (units.parse_force_n, "1,000 N", ["comma"]),
        (units.parse_length_mm, "1/0 in", ["divides by zero"]),
        (units.parse_length_mm, "No. 81", ["No. 80 to No. 1"]),
        (units.parse_length_mm, "No. 0", ["No. 80 to No. 1"]),
        (units.parse_force_n, "", ["not a number with a unit"]),
        (units.parse_force_n, "nan kN", ["not a number"]),
        (units.parse_force_n, "inf N", ["not a number"]),
        (units.parse_force_n, "1e999 kN", ["no unit of force"]),
        (units.parse_force_n, "٣ kN", ["not a number"]),
        (units.parse_force_n, "9" * 5000 + " N", ["too long"]),
    ],
)
def test_refuses_with_a_sentence_that_says_what_is_meant(parse, text, words):
    with pytest.raises(ValueError, match=r"write a|run from|zero") as caught:
        parse(text)
    for word in words:
        assert word in str(caught.value)
    assert len(str(caught.value)) < 250


def test_shows_a_force_in_the_unit_of_choice():
    assert units.format_force(6200.0) == "6.20 kN"
    assert units.format_force(6200.0, "N") == "6200 N"
    assert units.format_force(6200.0, "kgf") == "632.2 kgf"
    assert units.format_force(6200.0, "lbf", with_unit=False) == "1394"
    assert units.format_force(-0.4, "kN") == "0.00 kN"
    assert units.format_force(-1234.0, "kN") == "-1.23 kN"
    assert units.format_force(math.nan) == "unknown"
