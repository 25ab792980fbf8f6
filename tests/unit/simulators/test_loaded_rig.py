"""Crank, spring, creep, cracks and friction, against sums that can be done by hand."""

import math

import numpy as np
import pytest

from simulators.rig_mechanics import LoadedRig, RigBuild
from simulators.specimen import Crack, Specimen

#: Stiff in series: 1 / (1/1500 + 1/4929) = 1150 N/mm.
STIFF = 1.0 / (1.0 / 1150.0 - 1.0 / 1500.0)


def a_build(**changes):
    usual = {
        "ratio": 2.0,
        "lead_mm": 4.0,
        "stiffness_n_per_mm": 1500.0,
        "friction_share": 0.001,
        "friction_reversal_mm": 0.03,
        "screw_runout_mm": 0.0,
        "slack_mm": 0.0,
    }
    return RigBuild(**(usual | changes))


def a_specimen(**changes):
    usual = {
        "strength_n": 1e6,
        "stiffness_n_per_mm": STIFF,
        "toe_mm": 1e-6,
        "yield_n": 0.9e6,
        "hardening_mm": 0.4,
        "softening_mm": 0.5,
        "collapse_s": 0.03,
        "residual_n": 800.0,
        "tail_mm": 12.0,
        "tooth_share": 0.0,
        "tooth_mm": 1.5,
        "relaxation": 0.0,
        "relaxation_growth": 0.0,
        "cracks": (),
    }
    return Specimen(**(usual | changes))


def crank(rig, turns, seconds, step_s=0.001):
    """Turn evenly; return the force after each step."""
    start, steps = rig.turns, round(seconds / step_s)
    return [rig.step(start + turns * (i + 1) / steps, step_s) for i in range(steps)]


def test_a_quarter_turn_raises_the_force_as_by_hand():
    """4 mm lead, 2:1, 1.15 kN/mm: 0.25 x 4 / 2 x 1150 = 575 N (common practice: about 0.58 kN)."""
    rig = LoadedRig(a_build(), a_specimen())
    crank(rig, 0.25, 1.0)
    first = rig.force_n
    crank(rig, 0.25, 1.0)
    assert rig.force_n - first == pytest.approx(575.0, rel=1e-6)


def test_the_same_turns_at_three_to_one_move_the_hook_by_a_third():
    rig = LoadedRig(a_build(ratio=3.0), a_specimen())
    crank(rig, 0.75, 1.0)
    assert rig.force_n == pytest.approx(0.75 * 4.0 / 3.0 * 1150.0, rel=1e-5)


def test_slack_is_taken_up_first_and_the_toe_is_soft():
    rig = LoadedRig(a_build(slack_mm=0.5), a_specimen(toe_mm=0.4))
    crank(rig, 0.25, 1.0)  # 0.5 mm at the hook
    assert rig.force_n == 0.0
    crank(rig, 0.2, 1.0)  # 0.4 mm: through the toe, half of what the springs would give
    assert rig.force_n == pytest.approx(0.5 * 0.4 * 1150.0, rel=1e-6)


def test_at_rest_the_force_falls_with_the_logarithm_of_time():
    """As much in each decade of time, as asked for, within a fifth."""
    rig = LoadedRig(a_build(), a_specimen(relaxation=0.02))
    crank(rig, 1.0, 0.05)
    start, times, forces = rig.force_n, [], []
    for i in range(20_000):
        forces.append(rig.step(rig.turns, 0.005))
        times.append(0.005 * (i + 1))
    at = np.interp([0.6, 6.0, 60.0], times, forces)
    losses = -np.diff(at) / start
    assert losses == pytest.approx(0.02, rel=0.2)


def test_a_rest_shows_the_same_whatever_the_step():
    losses = []
    for step_s in (0.002, 0.02):
        rig = LoadedRig(a_build(), a_specimen(relaxation=0.03))
        crank(rig, 1.0, 1.0)
        crank(rig, 0.0, 5.0, step_s)
        losses.append(rig.force_n)
    assert losses[0] == pytest.approx(losses[1], rel=5e-4)


def test_once_per_turn_the_screw_runs_out():
    """0.02 mm at the jack is 0.01 mm at the hook: 11.5 N, as a sine of the crank angle."""
    even = LoadedRig(a_build(), a_specimen())
    uneven = LoadedRig(a_build(screw_runout_mm=0.02), a_specimen())
    ripple = np.array(crank(uneven, 3.0, 3.0)) - np.array(crank(even, 3.0, 3.0))
    angle = 2 * np.pi * np.arange(1, 3001) / 1000
    assert ripple == pytest.approx(11.5 * np.sin(angle), abs=0.01)


def test_a_crack_loses_its_share_and_recovers():
    rig = LoadedRig(a_build(), a_specimen(cracks=(Crack(1000.0, 0.10, 0.005),)))
    crank(rig, 1000.0 / 1150.0 / 2.0, 1.0)
    assert rig.cracks == []
    crank(rig, 0.002, 0.005)
    (force, drop) = rig.cracks[0]
    assert force == pytest.approx(1000.0, rel=0.01)
    crank(rig, 0.0, 0.2)
    assert rig.force_n == pytest.approx(force + 0.002 * 2300.0 - drop, rel=0.01)
    crank(rig, 0.5, 1.0)
    assert rig.force_n > 1.3 * force
    assert len(rig.cracks) == 1


def test_friction_turns_round_with_the_crank():
    rig = LoadedRig(a_build(), a_specimen())
    crank(rig, 0.5, 1.0)
    assert rig.friction == 1.0
    crank(rig, 0.0, 2.0)
    assert rig.friction == 1.0  # a rest does not turn it
    crank(rig, -0.1, 1.0)
    assert rig.friction == -1.0


@pytest.mark.parametrize("collapse_s", [0.0015, 0.03])
def test_the_maximum_is_the_strength_and_the_loss_takes_its_time(collapse_s):
    """A loss falls to 1/e of what is to go in about its time constant, and ends at the tail."""
    specimen = a_specimen(strength_n=3000.0, yield_n=2800.0, collapse_s=collapse_s)
    rig = LoadedRig(a_build(), specimen)
    forces, times = [0.0], [0.0]
    while not (rig.past_strength and forces[-1] < 830.0):
        step_s = max(1e-5, min(0.001, rig.longest_step_s()))
        forces.append(rig.step(rig.turns + 0.08 * step_s, step_s))
        times.append(times[-1] + step_s)
        assert times[-1] < 30.0
    forces, times = np.array(forces), np.array(times)
    assert forces.max() == pytest.approx(3000.0, rel=0.006)  # a little more: it is pulled quickly
    assert rig.yield_n == 2800.0
    at = [times[np.argmax((forces < level) & (times > 15.0))] for level in (2000.0, 1200.0)]
    fall_s = at[1] - at[0]
    assert fall_s == pytest.approx(collapse_s * math.log(1200.0 / 400.0), rel=0.35)


def test_wood_that_softens_slower_than_the_spring_gives_way_only_as_it_is_cranked():
    specimen = a_specimen(strength_n=2000.0, yield_n=1200.0, hardening_mm=1.0, softening_mm=6.0)
    rig = LoadedRig(a_build(), specimen)
    crank(rig, 2.5, 20.0)  # past the maximum
    before = rig.force_n
    assert rig.past_strength
    crank(rig, 0.0, 1.0)
    settled = rig.force_n
    crank(rig, 0.0, 5.0)
    assert rig.force_n == pytest.approx(settled, rel=1e-3)
    assert before < 2000.0
