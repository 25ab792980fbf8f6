"""Text stands out in both themes.

Contrast as WCAG 2.x defines it (relative luminance, clause 1.4.3 asks 4.5:1 for text and clause
1.4.11 asks 3:1 for graphical objects).
"""

import pytest
from rich.color import Color

from tui.theme import DARK, LIGHT, NUMBER, PALETTES, PLAIN, STOP, UNKNOWN

GRAPHICS = {"used", "shade", "room", "warn_bar", "stop_bar", "old"}


def luminance(color: Color) -> float:
    def linear(part: int) -> float:
        s = part / 255
        return s / 12.92 if s <= 0.04045 else ((s + 0.055) / 1.055) ** 2.4

    red, green, blue = color.get_truecolor()
    return 0.2126 * linear(red) + 0.7152 * linear(green) + 0.0722 * linear(blue)


def contrast(style) -> float:
    light, dark = sorted((luminance(style.color), luminance(style.bgcolor)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_measure_itself():
    from rich.style import Style

    assert contrast(Style.parse("#000000 on #ffffff")) == pytest.approx(21.0)


@pytest.mark.parametrize("palette", PALETTES, ids=lambda p: p.name)
@pytest.mark.parametrize("ground", [NUMBER, STOP, UNKNOWN])
def test_words_have_contrast(palette, ground):
    for role in palette.roles:
        if role not in GRAPHICS:
            assert contrast(palette.style(role, ground)) >= 4.5, role


@pytest.mark.parametrize("palette", PALETTES, ids=lambda p: p.name)
def test_bars_have_contrast(palette):
    for role in ("room", "warn_bar", "stop_bar", "trace"):
        assert contrast(palette.style(role)) >= 3.0, role


@pytest.mark.parametrize("palette", PALETTES, ids=lambda p: p.name)
def test_grounds_differ_in_lightness(palette):
    """Alarm grounds stand apart from the plain one without any hue."""
    plain = luminance(palette.style("").bgcolor)
    for ground in (STOP, UNKNOWN):
        other = luminance(palette.style("", ground).bgcolor)
        high, low = max(plain, other), min(plain, other)
        assert (high + 0.05) / (low + 0.05) >= 3.0


def test_no_colour_means_none():
    for role in DARK.roles | LIGHT.roles:
        for ground in (NUMBER, STOP, UNKNOWN):
            style = PLAIN.style(role, ground)
            assert style.color is None or style.color.is_default
            assert style.bgcolor is None or style.bgcolor.is_default
