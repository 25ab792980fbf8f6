"""Numerals rendered and measured: as tall as asked, all unlike each other, nothing jumps."""

import pytest

from tui.block_letters import GLYPHS, block_text, drawable, glyph_picture, tallest, width_of


@pytest.mark.parametrize("rows", [3, 4, 5, 7, 10, 13, 18, 24])
@pytest.mark.parametrize("text", ["0123456789", "4.38", "STOP", "kN", "kgf", "lbf"])
def test_ink_fills_the_rows_asked_for(text, rows):
    drawn = block_text(text, rows)
    assert len(drawn) == rows
    assert {len(row) for row in drawn} == {width_of(text, rows)}
    assert drawn[0].strip() and drawn[-1].strip()
    assert set("".join(drawn)) <= set(" ▀▄█")


@pytest.mark.parametrize("rows", [3, 5, 7, 10, 14])
def test_no_two_digits_look_alike(rows):
    pictures = {tuple(block_text(digit, rows)) for digit in "0123456789"}
    assert len(pictures) == 10


@pytest.mark.parametrize("rows", [5, 7, 10, 14])
def test_digits_differ_in_more_than_a_speck(rows):
    """At least 3 % of a digit's area tells it from every other of its breadth."""
    for first in "0235689":
        for second in "0235689":
            if first < second:
                a, b = glyph_picture(first, 2 * rows), glyph_picture(second, 2 * rows)
                assert (a != b).mean() > 0.03, (first, second)


def test_digits_but_1_are_equally_broad():
    assert len({width_of(digit, 9) for digit in "023456789"}) == 1


def test_tallest_fits():
    for columns in (20, 40, 80):
        rows = tallest("-0.00", columns, 30)
        assert width_of("-0.00", rows) <= columns < width_of("-0.00", rows + 1)
    assert tallest("-0.00", 4, 30) == 0


def test_what_has_no_glyph_is_drawn_all_the_same():
    assert drawable("D-07 ä") == "D-07 ?"
    assert all(glyph in GLYPHS for glyph in drawable("Ossel_17"))
