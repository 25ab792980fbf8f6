"""Scenario files: the names that ship, and what is said about a wrong one."""

import tomllib

import numpy as np
import pytest

from analysis.pull_result import MODES, Kind
from simulators import scenario
from simulators.scenario import FOLDER, Range, ScenarioError, load_scenario, read_scenario

NAMES = {
    "hardwood-withdrawal",
    "softwood-withdrawal",
    "head-pull-through",
    "split",
    "fastener-fracture",
    "grip-slip",
    "wound-back",
}


@pytest.fixture
def table():
    return tomllib.loads((FOLDER / "split.toml").read_text("utf-8"))


def test_the_seven_scenarios_ship():
    assert set(scenario.scenario_names()) == NAMES


@pytest.mark.parametrize("name", sorted(NAMES))
def test_each_speaks_of_kinds_and_modes_that_results_know(name):
    """The simulators write these words apart from the analysis; both lists must agree."""
    loaded = load_scenario(name)
    assert loaded.kind in [kind.value for kind in Kind]
    assert loaded.mode in MODES
    assert loaded.about


def test_word_lists_are_those_of_the_results():
    assert set(scenario.KINDS) == {kind.value for kind in Kind}
    assert scenario.MODES == MODES


def test_an_unknown_name_is_told_with_the_known_ones():
    with pytest.raises(ScenarioError, match=r'no scenario "splitt".*hardwood-withdrawal'):
        load_scenario("splitt")


def test_a_missing_and_a_broken_file_are_told(tmp_path):
    with pytest.raises(ScenarioError, match="cannot be read"):
        load_scenario(tmp_path / "none.toml")
    (tmp_path / "broken.toml").write_text("kind = ", "utf-8")
    with pytest.raises(ScenarioError, match="is not TOML"):
        load_scenario(tmp_path / "broken.toml")


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda t: t.update(colour="red"), 'unknown key "colour"'),
        (lambda t: t.update(kind="broken"), "kind must be one of"),
        (lambda t: t.update(mode="exploded"), "mode must be one of"),
        (lambda t: t.pop("specimen"), r"\[specimen\] is missing"),
        (lambda t: t.update(specimen=3), "must be a table"),
        (lambda t: t["specimen"].update(weight=1), 'unknown key "weight"'),
        (lambda t: t["specimen"].pop("toe_mm"), "missing: toe_mm"),
        (lambda t: t["specimen"].update(toe_mm=[2, 1]), r"toe_mm: write one number, or \[low"),
        (lambda t: t["specimen"].update(toe_mm="1 mm"), "toe_mm: write one number"),
        (lambda t: t["specimen"].update(toe_mm=True), "toe_mm: write one number"),
    ],
)
def test_each_mistake_is_named(table, change, words):
    change(table)
    with pytest.raises(ScenarioError, match=words):
        read_scenario(table, "mine", "mine.toml")


def test_a_scenario_of_ones_own_may_set_rig_crank_and_board(table):
    table |= {"rig": {"pin_friction_share": 0.015}, "board": {"gain_error": [0.0, 0.01]}}
    loaded = read_scenario(table, "mine", "mine.toml")
    assert loaded.rig.pin_friction_share == Range(0.015, 0.015)
    assert loaded.board.gain_error == Range(0.0, 0.01)
    assert loaded.crank == load_scenario("split").crank


def test_a_range_is_drawn_between_its_ends_and_a_single_value_costs_no_randomness():
    rng = np.random.default_rng(1)
    draws = [Range(2.0, 3.0).draw(rng) for _ in range(500)]
    assert 2.0 <= min(draws) < 2.05
    assert 2.95 < max(draws) <= 3.0
    before = rng.bit_generator.state
    assert Range(5.0, 5.0).draw(rng) == 5.0
    assert rng.bit_generator.state == before
    assert {Range(1, 3).draw_whole(rng) for _ in range(100)} == {1, 2, 3}
