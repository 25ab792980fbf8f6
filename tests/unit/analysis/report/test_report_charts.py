"""Charts say what they show to those who cannot see them, and need nothing from elsewhere."""

import re
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from analysis.comparison import compare
from analysis.groups import sort_pulls
from analysis.pull_result import Kind, PullResult
from analysis.report import charts
from analysis.report.wording import ForceUnit

FORCES = {"dry": (4.69, 4.33, 4.35, 5.04), "wax": (3.1, 3.18, 3.05, 2.92)}
MODES = ("withdrawal", "splitting", "fibre plug", "thread strip-out")


def pulls() -> list[PullResult]:
    return [
        PullResult(
            Path(f"{level}{place}.h5"),
            {"coating": level, "board": "ABCD"[place]},
            Kind.AT_LEAST if (level, place) == ("dry", 3) else Kind.FAILED,
            MODES[place],
            1000.0 * force,
            50.0,
            100.0,
            60.0,
            3000.0,
            0,
            100.0,
        )
        for level, forces in FORCES.items()
        for place, force in enumerate(forces)
    ]


def drawn(unit="kN") -> str:
    found = compare(pulls(), "coating", "board")
    selection = sort_pulls(pulls(), "coating", "board")
    return charts.dots(found, selection.pulls, [("dry", 2100.0)], ForceUnit(unit), "one")


def test_title_and_description_tell_levels_numbers_and_means():
    svg = drawn()
    title = re.search(r"<title.*?>(.*?)</title>", svg)
    words = re.search(r"<desc.*?>(.*?)</desc>", svg)
    assert title and title.group(1) == "Every pull by coating"
    assert words and "wax: 4 pulls, mean 3.06" in words.group(1)
    assert "dry: 4 pulls" in words.group(1)


def test_each_mode_has_a_shape_of_its_own_and_a_name():
    shapes = charts.mode_shapes(pulls())
    assert len(set(shapes.values())) == len(shapes) == 4
    svg = drawn()
    for words in (*MODES[:3], "at least", "invalid, not counted"):
        assert words in svg


@pytest.mark.parametrize("unit", ["kN", "N", "kgf", "lbf"])
def test_nothing_from_elsewhere_text_as_text_and_the_same_again(unit):
    svg = drawn(unit)
    assert svg == drawn(unit)
    assert "http" not in svg and "xlink" not in svg and "<style" not in svg
    assert "<text" in svg
    assert "sans-serif" in svg
    assert f"maximum at the specimen, {'N' if unit == 'N' else 'kN'}" in svg
    ET.fromstring(svg)


def test_ids_are_the_charts_own():
    ids = re.findall(r'\bid="([^"]*)"', drawn())
    assert len(ids) == len(set(ids))
    assert all(name.startswith("one-") for name in ids)
    for used in re.findall(r'(?:href="|url\()#([^")]*)', drawn()):
        assert used in ids


def test_a_persons_own_drawing_settings_change_nothing():
    import matplotlib as mpl

    before = drawn()
    with mpl.rc_context({"font.size": 30, "lines.linewidth": 9, "svg.fonttype": "path"}):
        assert drawn() == before


def test_differences_name_verdicts_and_the_bound():
    found = compare(pulls(), "coating", "board")
    svg = charts.differences(found, ForceUnit("kN"), "two")
    assert "within 10 %" in svg
    assert "matters" in svg
    assert "wax less dry" in svg
