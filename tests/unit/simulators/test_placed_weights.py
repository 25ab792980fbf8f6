"""Known weights on the simulated rig: the counts answer to them by the truth's gains."""

import numpy as np
import pytest

from simulators.scenario import ScenarioError
from simulators.transmission import transmit, wire_for
from simulators.truth import as_document
from simulators.weights import WeightsOrder, simulate_weights

MASSES = (5.0, 10.0, 20.0)


def settled(simulation, weight):
    """Mean counts above the zero, of each cell, over the last seconds of a stay."""
    at = (simulation.time_s > weight.ends_s - 4.0) & (simulation.time_s < weight.ends_s - 0.1)
    return simulation.counts[at].mean(axis=0) - np.array(simulation.truth.zero_counts)


@pytest.mark.parametrize("at", ["cells", "specimen"])
def test_counts_answer_the_weight_through_the_true_gains(at):
    simulation = simulate_weights(WeightsOrder(MASSES, at, 2), seed=4)
    gains = np.array(simulation.truth.gains)
    assert len(simulation.truth.weights) == 2 * 5
    for weight in simulation.truth.weights:
        force_n = weight.mass_kg * 9.80665 * (1.0 - 1.2 / 8000.0)
        expected_n = force_n if at == "cells" else force_n / simulation.rig.ratio
        found_n = (settled(simulation, weight) / gains).sum()
        assert found_n == pytest.approx(expected_n, abs=1.5 + 0.003 * expected_n)


def test_each_round_goes_over_the_next_cell():
    simulation = simulate_weights(WeightsOrder(MASSES, "cells", 2), seed=4)
    for weight in simulation.truth.weights:
        parts = settled(simulation, weight) / np.array(simulation.truth.gains)
        assert int(np.argmax(parts)) == weight.over_cell


def test_one_bucket_in_line_with_the_jack_and_at_the_pin():
    simulation = simulate_weights(WeightsOrder((15.0,), "both", 1), seed=4)
    jack, specimen = simulation.truth.weights
    assert (jack.where, specimen.where) == ("jack", "specimen")
    gains = np.array(simulation.truth.gains)
    ratio = (settled(simulation, jack) / gains).sum() / (
        settled(simulation, specimen) / gains
    ).sum()
    assert ratio == pytest.approx(simulation.rig.ratio, rel=0.02)


def test_the_gains_are_hidden_and_the_seed_decides():
    one, same = (simulate_weights(WeightsOrder(MASSES), seed=9) for _ in range(2))
    other = simulate_weights(WeightsOrder(MASSES), seed=10)
    assert np.array_equal(one.counts, same.counts)
    assert one.truth.gains != other.truth.gains
    assert one.truth.gains != one.rig.counts_per_newton


def test_it_goes_over_the_wire_and_into_a_truth_file():
    simulation = simulate_weights(WeightsOrder((5.0,)), seed=1)
    transmission = transmit(simulation, wire_for(simulation))
    assert transmission.quiet_until_s == simulation.truth.weights[0].begins_s
    document = as_document(simulation.truth)
    assert document["pulls"] == []
    assert document["weights"][0]["mass_kg"] == 5.0


@pytest.mark.parametrize(
    "order",
    [
        WeightsOrder(()),
        WeightsOrder((10.0, 5.0)),
        WeightsOrder((0.0, 5.0)),
        WeightsOrder((5.0,), "hook"),
        WeightsOrder((5.0,), "cells", 0),
        WeightsOrder((9000.0,)),
    ],
)
def test_orders_that_cannot_be_are_refused(order):
    with pytest.raises(ScenarioError):
        simulate_weights(order)
