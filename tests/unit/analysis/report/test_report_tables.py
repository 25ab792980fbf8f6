"""Cells that a spreadsheet must not run, and numbers that come back as they were."""

import csv
import io
import math

import pytest

from analysis.report.tables import cell, csv_text
from daq.record.inert_text import sheet_text


@pytest.mark.parametrize(
    "text",
    # OWASP, "CSV Injection": = + - @ tab and carriage return start a formula; full-width forms too.
    [
        "=1+1", "+1+1", "-1+1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "  =1", "\"=1", "'=1",
        '=HYPERLINK("http://example.invalid","x")', "=cmd|' /C calc'!A0", "\uff1d1+1", "\uff201",
    ],
)  # fmt: skip
def test_a_formula_is_defused(text):
    assert sheet_text(text).startswith("'")
    (read,) = next(csv.reader(io.StringIO(csv_text([[text]]), newline="")))
    assert not read.startswith(("=", "+", "-", "@", "\t", "\r", "\n"))


def test_plain_text_and_numbers_stay_as_they_are():
    assert sheet_text("8.5 mm, wax") == "8.5 mm, wax"
    assert sheet_text("A-01") == "A-01"
    assert cell(-0.5) == "-0.5"  # a number, so no formula
    assert cell(math.nan) == cell(math.inf) == cell(None) == ""


def test_control_codes_and_endless_text_do_not_come_through():
    assert "\x1b" not in sheet_text("a\x1b[31m")
    assert "\u202e" not in sheet_text("a\u202eb")
    assert len(sheet_text("x" * 10_000_000)) <= 4_001


def test_commas_quotes_and_umlauts_come_back():
    rows = [['a, "b"', "höhe", "x;y"], ["1.5", "", "z"]]
    assert list(csv.reader(io.StringIO(csv_text(rows), newline=""))) == rows


def test_numbers_come_back_to_ten_digits():
    text = csv_text([[math.pi * 1000.0, 0.1, 5318.551830912]])
    (row,) = csv.reader(io.StringIO(text))
    assert [float(field) for field in row] == pytest.approx([math.pi * 1000.0, 0.1, 5318.551830912])
