"""Braille dots against the Unicode Standard's pattern block, and what is (not) drawn."""

import unicodedata

import numpy as np
import pytest

from daq.samples import Flag
from tui.trace_columns import Columns
from tui.widgets.braille import BLANK, DOTS, characters, force_range, span_of


def columns(least, greatest, flags=None):
    flags = np.zeros(len(least), np.uint16) if flags is None else np.asarray(flags, np.uint16)
    return Columns(np.asarray(least, float), np.asarray(greatest, float), flags, 0.0, 1.0)


#: Dot numbers by place, Unicode Standard, Braille Patterns (U+2800..U+28FF).
DOT_NUMBERS = [[1, 4], [2, 5], [3, 6], [7, 8]]


@pytest.mark.parametrize(("row", "column"), [(r, c) for r in range(4) for c in range(2)])
def test_each_dot_stands_where_unicode_says(row, column):
    name = unicodedata.name(chr(BLANK + int(DOTS[row, column])))
    assert name == f"BRAILLE PATTERN DOTS-{DOT_NUMBERS[row][column]}"


def test_full_height_fills_every_dot():
    codes = characters(columns([0.0] * 8, [10.0] * 8), 0.0, 10.0, 4, 3)
    assert (codes == 0xFF).all()


def test_nothing_is_drawn_through_a_gap():
    nan = float("nan")
    least = [5.0, nan, nan, 5.0]
    joined = characters(columns(least, least), 0.0, 10.0, 2, 4)
    broken = characters(columns(least, least, [0, 0, 0, int(Flag.GAP)]), 0.0, 10.0, 2, 4)
    assert np.bitwise_count(joined).sum() == 4
    assert np.bitwise_count(broken).sum() == 2


def test_a_step_is_joined():
    codes = characters(columns([0.0, 10.0], [0.0, 10.0]), 0.0, 10.0, 1, 4)
    assert np.bitwise_count(codes).sum() == 1 + 16


def test_empty_columns_draw_nothing():
    nan = [float("nan")] * 8
    assert not characters(columns(nan, nan), 0.0, 10.0, 4, 3).any()
    assert force_range(columns(nan, nan), 6200.0, True) == (0.0, pytest.approx(6572.0))


def test_a_force_over_the_stop_stays_on_the_axis():
    low, high = force_range(columns([0.0], [7000.0]), 6200.0, True)
    assert low <= 0.0 and high >= 7000.0


def test_span_grows_by_doubling():
    assert [span_of(s) for s in (0, 30, 31, 60, 61, 125, 400)] == [30, 30, 60, 60, 120, 240, 480]
