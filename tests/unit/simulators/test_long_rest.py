"""One long rest of the person at the crank, where a scenario asks for it."""

from dataclasses import replace

import numpy as np

from simulators.scenario import Range, load_scenario
from simulators.simulation import simulate


def longest_stillness_s(simulation, above_share):
    """Return the longest time without a rise of force, while above a share of the maximum."""
    force = simulation.fine_force_n
    loaded = np.flatnonzero(force > above_share * force.max())
    still = np.diff(force[loaded[0] : force.argmax()]) <= 0.0
    runs = np.diff(np.flatnonzero(np.diff(np.concatenate([[0], still, [0]]))))[::2]
    return 0.001 * runs.max()


def test_a_pause_is_one_long_rest_near_the_maximum():
    usual = load_scenario("hardwood-withdrawal")
    pausing = replace(
        usual,
        crank=replace(usual.crank, pause_s=Range(14, 14), pause_from_share=Range(0.85, 0.85)),
    )
    assert longest_stillness_s(simulate(usual, 5), 0.8) < 10.0
    assert longest_stillness_s(simulate(pausing, 5), 0.8) >= 14.0
