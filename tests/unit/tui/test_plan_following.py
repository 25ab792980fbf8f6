"""Which specimens a plan still holds, and what counts as a departure from its list."""

from dataclasses import replace

import pytest

from analysis.campaign_plan import Design, Plan, make_pulls, read_board, read_factor
from analysis.plan_folder import write_plan
from analysis.plan_reading import read_departures, read_plan
from daq.faults import InputFault
from tui.plan_following import PlanFollower, departures, specimens_to_come


@pytest.fixture
def plan() -> Plan:
    factors = (read_factor("pilot=8.0 mm,8.5 mm"),)
    design = Design(factors, (read_board("A"), read_board("B")), 1, 3, {"species": "ash"})
    return Plan(design, make_pulls(design), made="2026-03-12T20:15:00+01:00")


def labels(specimens):
    return [specimen["label"] for specimen in specimens]


def test_what_is_done_is_not_to_come(plan):
    assert labels(specimens_to_come(plan, {"A-01", "B-02"}, {})) == ["A-02", "B-01"]


def test_the_planned_entries_go_along(plan):
    first = specimens_to_come(plan, (), {})[0]
    assert first["species"] == "ash"
    assert first["pilot_mm"] in (8.0, 8.5)
    assert first["run"] == 1.0


def test_a_word_without_a_label_goes_on_all(plan):
    found = specimens_to_come(plan, (), {"operator": "the neighbour"})
    assert {specimen["operator"] for specimen in found} == {"the neighbour"}
    assert departures(plan, (), found[0]) == []


def test_a_label_of_the_list_comes_first(plan):
    found = specimens_to_come(plan, {"A-01"}, {"label": "B-02", "torque": "high"})
    assert labels(found) == ["B-02", "A-02", "B-01"]
    assert found[0]["torque"] == "high"
    assert "torque" not in found[1]
    assert departures(plan, {"A-01"}, found[0]) == ["B-02 was pulled where A-02 was next"]


def test_a_spare_carries_only_what_was_said_of_it(plan):
    said = {"label": "A-07", "pilot_mm": 8.0}
    found = specimens_to_come(plan, {"A-01"}, said)
    assert found[0] == said
    assert labels(found[1:]) == ["A-02", "B-01", "B-02"]
    assert departures(plan, {"A-01"}, found[0]) == ["A-07 is not on the list"]


def test_another_value_is_a_departure(plan):
    first = dict(specimens_to_come(plan, (), {})[0])
    planned = first["pilot_mm"]
    first["pilot_mm"] = 8.7
    assert departures(plan, (), first) == [f"pilot_mm is 8.7, the list says {planned}"]


def test_at_the_end_it_says_so(plan):
    everything = {pull.label for pull in plan.pulls}
    with pytest.raises(InputFault, match="recorded already"):
        specimens_to_come(plan, everything, {})
    assert labels(specimens_to_come(plan, everything, {"label": "spare"})) == ["spare"]


def test_the_pace_is_led_by_the_list_where_all_expect_the_same(plan, tmp_path):
    def expected_of(plan):
        return PlanFollower(plan, tmp_path, ()).expected_n

    assert expected_of(plan) is None
    alike = tuple(replace(pull, expected_n=4300.0) for pull in plan.pulls)
    assert expected_of(replace(plan, pulls=alike)) == 4300.0
    other = replace(alike[0], expected_n=3000.0)
    assert expected_of(replace(plan, pulls=(other, *alike[1:]))) is None


def test_departures_are_written_beside_the_plan(plan, tmp_path):
    folder = tmp_path / "plan"
    write_plan(folder, plan)
    follower = PlanFollower(read_plan(folder), folder, (), "said at the start: label=A-02")
    by_label = {pull.label: pull.specimen for pull in plan.pulls}
    for label in ("A-02", "A-01", "A-01"):
        follower.pulled(by_label[label])
    follower.pulled({})
    told = [(row["label"], row["what"]) for row in read_departures(folder)]
    assert told == [
        ("A-02", "A-02 was pulled where A-01 was next"),
        ("A-01", "A-01 was pulled before"),
        ("", "a pull without a label"),
    ]
    assert {row["reason"] for row in read_departures(folder)} == {"said at the start: label=A-02"}
    assert follower.complaints == []


def test_a_departure_that_cannot_be_written_is_told_later(plan, tmp_path):
    """The pull itself is on disk; the session goes on."""
    follower = PlanFollower(plan, tmp_path / "gone", ())
    follower.pulled({"label": "Z-1"})
    assert len(follower.complaints) == 1
