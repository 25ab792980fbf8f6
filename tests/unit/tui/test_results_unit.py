"""Tables of results are in the unit that this person chose; JSON stays in newtons."""

import json
from pathlib import Path

import pytest

from tui.cli import main
from tui.results_page import budget_lines, force

HERE = Path(__file__)
DEMO = next(up for up in HERE.parents if (up / "recordings/demo").is_dir()) / "recordings/demo"
ONE = next(iter(sorted(DEMO.glob("*.h5"))))


@pytest.fixture
def choose(tmp_path, monkeypatch):
    """Write a settings file of this person."""
    file = tmp_path / "console.toml"
    monkeypatch.setattr("tui.settings.settings_file", lambda: file)
    monkeypatch.setenv("COLUMNS", "80")
    return lambda text: file.write_text(text, "utf-8")


@pytest.mark.parametrize(
    ("unit", "newtons", "digits"),
    # 1 kgf = 9.80665 N, 1 lbf = 4.4482216152605 N, by definition
    [("kN", 1000.0, 3), ("N", 1.0, 0), ("kgf", 9.80665, 1), ("lbf", 4.4482216152605, 0)],
)
def test_the_table_of_reduce_is_in_the_chosen_unit(choose, capsys, unit, newtons, digits):
    choose(f'unit = "{unit}"\n')
    assert main(["reduce", str(ONE), "--json"]) == 0
    (document,) = json.loads(capsys.readouterr().out)
    assert main(["reduce", str(ONE)]) == 0
    _, head, units, figures, *_ = capsys.readouterr().out.splitlines()
    assert head.split() == ["specimen", "kind", "maximum", "+-U95", "time", "yield", "cracks"]
    assert units.split() == [unit, unit, "s", unit]
    shown = [document[key] / newtons for key in ("max_force_n", "U95_max_force_n")]
    assert figures.split()[2:4] == [f"{value:.{digits}f}" for value in shown]


def test_without_a_choice_it_is_the_unit_of_the_report(choose, capsys):
    assert main(["reduce", str(ONE)]) == 0
    assert capsys.readouterr().out.splitlines()[2].split()[0] == "kN"


def test_settings_that_cannot_be_read_are_told_and_do_not_stop_the_table(choose, capsys):
    choose('unit = "stone"\n')
    assert main(["reduce", str(ONE)]) == 0
    told = capsys.readouterr()
    assert told.out.splitlines()[2].split()[0] == "kN"
    assert "unit: must be one of" in told.err


def test_a_budget_carries_its_unit():
    budget = {"contributions": [{"name": "arm", "u_n": 25.87, "share": 1.0, "words": ""}]}
    budget |= {"u_n": 25.87, "k": 2.0, "bias_n": -4.0, "U95_n": 51.74}
    lines = [getattr(line, "plain", "") for line in budget_lines(budget, "kN")]
    assert lines[0].split()[1:3] == ["u,", "kN"]
    assert lines[1].split()[:2] == ["arm", "0.0259"]
    assert "u = 0.0259 kN" in lines[2]
    assert "bias -0.0040 kN, U95 = 0.052 kN" in lines[2]
    assert force(float("nan"), "kN") == "-"
