"""Counts, force and truth of a simulated session belong together."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from simulators import crank, rig_mechanics
from simulators.scenario import Range, ScenarioError, load_scenario, scenario_names
from simulators.simulation import simulate

simulated = cache(simulate)


def recovered(simulation):
    """Specimen force by simple sums: (counts - zero) / slope of the rig file, summed, x ratio."""
    rig = simulation.rig
    zero = simulation.counts[:400].mean(axis=0)
    at_cells = (simulation.counts - zero) / (np.array(rig.counts_per_newton) * rig.signs)
    return at_cells.sum(axis=1) * rig.ratio


@pytest.mark.parametrize("name", scenario_names())
def test_simple_sums_find_the_true_maximum(name):
    """Within 1 %, settling, noise, friction of bearings and all; the time as well."""
    for seed in range(4):
        simulation = simulated(name, seed)
        true = simulation.truth.pulls[0]
        force = recovered(simulation)
        assert force.max() == pytest.approx(true.max_force_n, rel=0.01)
        at = int(np.argmin(np.abs(simulation.board_us / 1e6 - true.time_of_max_s)))
        assert force[at : at + 8].max() == pytest.approx(true.max_force_n, rel=0.01)
        assert simulation.fine_force_n.max() == pytest.approx(true.max_force_n, rel=0.002)


@pytest.mark.parametrize("name", scenario_names())
def test_a_pull_has_slack_a_climb_and_slack(name):
    for seed in range(4):
        simulation = simulated(name, seed)
        true = simulation.truth.pulls[0]
        force, time_s = recovered(simulation), simulation.board_us / 1e6
        assert np.abs(force[time_s < 6.0]).max() < 10.0
        assert np.abs(force[time_s > time_s[-1] - 8.0]).max() < 15.0  # back to zero, slowly
        assert true.start_of_load_s > 6.5
        assert 58.0 <= true.time_to_max_s <= 112.0
        assert time_s[-1] - true.end_of_load_s > 8.0


def test_the_same_seed_gives_the_same_bits_and_another_seed_another_pull():
    first, again = simulate("split", 11), simulate("split", 11)
    assert np.array_equal(first.counts, again.counts)
    assert np.array_equal(first.board_us, again.board_us)
    assert first.truth == again.truth
    assert simulate("split", 12).truth.max_force_n != first.truth.max_force_n


def test_kinds_and_modes_are_what_happened():
    back = simulate("wound-back", 3).truth.pulls[0]
    assert (back.kind, back.mode) == ("at least", "stopped whole")
    assert 6200.0 <= back.max_force_n < 6300.0
    assert np.isnan(back.yield_force_n)
    slip = simulate("grip-slip", 3).truth.pulls[0]
    assert (slip.kind, slip.mode) == ("invalid", "grip slipped")
    assert slip.reason
    hard = simulate("hardwood-withdrawal", 3).truth.pulls[0]
    assert 0.70 < hard.yield_force_n / hard.max_force_n < 0.90


@pytest.mark.parametrize(
    ("name", "seconds", "least", "most"),
    [
        ("hardwood-withdrawal", 0.3, 0.40, 0.92),
        ("softwood-withdrawal", 0.1, 0.00, 0.20),
        ("softwood-withdrawal", 10.0, 0.20, 0.80),
        ("head-pull-through", 0.3, 0.30, 0.70),
        ("split", 0.02, 0.60, 1.0),
        ("fastener-fracture", 0.005, 0.95, 1.0),
        ("grip-slip", 0.2, 0.10, 1.0),
        ("wound-back", 0.1, 0.00, 0.15),
    ],
)
def test_each_loses_its_force_in_the_time_it_takes_in_wood(name, seconds, least, most):
    """Largest share of the maximum lost so quickly (ranges: common practice, no source)."""
    for seed in range(3):
        force = simulated(name, seed).fine_force_n
        later = round(seconds * 1000)
        after = force[force.argmax() :]
        assert least <= (after[:-later] - after[later:]).max() / force.max() <= most


def test_a_fracture_rings_below_zero_but_never_below_a_bare_cell():
    """The beam may leave the jack; it cannot pull on it."""
    simulation = simulate("fastener-fracture", 4)
    force = recovered(simulation)
    board = simulation.board
    bare = -board.beam_weight_n * simulation.rig.ratio
    assert bare - 4.0 < force.min() < -10.0


def test_cracks_are_seen_where_the_truth_has_them():
    simulation = simulate("split", 0)
    true = simulation.truth.pulls[0]
    assert len(true.cracks) >= 2
    force, time_s = recovered(simulation), simulation.board_us / 1e6
    for crack in true.cracks:
        before = force[(time_s > crack.time_s - 0.2) & (time_s < crack.time_s + 0.03)].max()
        after = force[(time_s > crack.time_s) & (time_s < crack.time_s + 0.25)].min()
        assert before == pytest.approx(crack.force_n, rel=0.02)
        assert before - after > 0.7 * crack.drop_n


def test_the_true_maximum_does_not_hang_on_the_step(monkeypatch):
    """Steps four times finer move it by less than 0.05 %."""
    names = ("hardwood-withdrawal", "grip-slip", "wound-back")
    usual = [simulate(name, 8).truth.max_force_n for name in names]
    monkeypatch.setattr(crank, "MOVING_S", crank.MOVING_S / 4)
    monkeypatch.setattr(crank, "RESTING_S", crank.RESTING_S / 4)
    monkeypatch.setattr(rig_mechanics, "FINE_S", rig_mechanics.FINE_S / 4)
    finer = [simulate(name, 8).truth.max_force_n for name in names]
    assert finer != usual
    assert finer == pytest.approx(usual, rel=5e-4)


def test_pulls_follow_each_other_on_one_clock_with_a_new_specimen_each():
    simulation = simulate("split", 4, pulls=3)
    truth = simulation.truth
    assert len({pull.max_force_n for pull in truth.pulls}) == 3
    assert np.all(np.diff(simulation.board_us.astype(np.int64)) > 0)
    force, time_s = recovered(simulation), simulation.board_us / 1e6
    for pull in truth.pulls:
        within = (time_s > pull.begins_s) & (time_s < pull.ends_s)
        assert force[within].max() == pytest.approx(pull.max_force_n, rel=0.01)
    assert truth.max_force_n == max(pull.max_force_n for pull in truth.pulls)
    assert simulate("split", 4, pulls=1).truth.pulls[0] == truth.pulls[0]


def test_the_board_runs_at_its_own_rate_on_its_own_clock():
    """About 93 a second, jittered; the clock off by what the truth says."""
    simulation = simulate("hardwood-withdrawal", 9)
    steps = np.diff(simulation.board_us.astype(np.int64))
    assert 1e6 / steps.mean() == pytest.approx(simulation.truth.samples_per_s, rel=1e-3)
    assert 92.0 < simulation.truth.samples_per_s < 94.0
    assert 0.001 < steps.std() / steps.mean() < 0.01
    error = simulation.board_us[-1] / 1e6 / simulation.time_s[-1] - 1.0
    assert error == pytest.approx(simulation.truth.clock_error, abs=1e-7)
    assert simulation.board_us[0] < 20_000


def test_plain_pins_show_too_much_on_the_way_up_and_the_truth_says_so():
    """1.5 % of friction: the cells see 1.5 % more while cranking, less on the way back."""
    scenario = load_scenario("wound-back")
    plain = replace(scenario, rig=replace(scenario.rig, pin_friction_share=Range(0.015, 0.015)))
    simulation = simulate(plain, 2)
    true = simulation.truth.pulls[0]
    assert true.friction_share == 0.015
    force = recovered(simulation)
    assert force.max() / true.max_force_n == pytest.approx(1.015, abs=0.003)


def test_a_hidden_gain_error_is_in_the_counts_and_in_the_truth():
    scenario = load_scenario("wound-back")
    off = replace(scenario, board=replace(scenario.board, gain_error=Range(0.036, 0.036)))
    simulation = simulate(off, 2)
    assert recovered(simulation).max() / simulation.truth.max_force_n == pytest.approx(
        1.036, abs=0.004
    )
    known = np.array(simulation.rig.counts_per_newton)
    assert np.array(simulation.truth.gains) / known == pytest.approx(1.036)


def test_fewer_than_one_pull_is_refused():
    with pytest.raises(ScenarioError, match="cannot simulate 0 pulls"):
        simulate("split", 1, pulls=0)
