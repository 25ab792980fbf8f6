"""Propagation of uncertainty, both roads, against worked examples of the guides.

Origin beside each check. "Second-hand" means that a text or program quoting the guide was read;
"computed apart" means by another program from the stated inputs.
"""

import math

import numpy as np
import pytest

from analysis.uncertainty.propagation import coverage_factor, propagate, simulate
from analysis.uncertainty.quantity import Quantity

normal, rectangular, arcsine = Quantity.normal, Quantity.rectangular, Quantity.arcsine


def end_gauge(l_s, d, d_random, d_systematic, d_alpha, d_theta, alpha_s, theta_mean, cycle):
    """GUM H.1: l = l_s + d - l_s (d_alpha theta + alpha_s d_theta), in nm and degC."""
    theta = theta_mean + cycle
    return l_s + d + d_random + d_systematic - l_s * (d_alpha * theta + alpha_s * d_theta)


END_GAUGE = (
    normal("l_s", 50_000_623.0, 25.0, dof=18),
    normal("d", 215.0, 5.8, dof=24),
    normal("d_random", 0.0, 3.9, dof=5),
    normal("d_systematic", 0.0, 6.7, dof=8),
    rectangular("d_alpha", 0.0, 1e-6, limits_within=0.1e-6),  # 10 %: 50 degrees of freedom
    rectangular("d_theta", 0.0, 0.05, limits_within=0.025),  # 50 %: 2
    rectangular("alpha_s", 11.5e-6, 2e-6),
    normal("theta_mean", -0.1, 0.2),
    arcsine("cycle", 0.0, 0.5),
)


def test_the_end_gauge_of_the_guide():
    """JCGM 100:2008, H.1: 50 000 838 nm, u 32 nm (second-hand); 16 degrees of freedom, U99 93 nm
    (from memory). Decimals computed apart: u 31.664, 16.75, k 2.9208, U 92.5."""
    found = propagate(end_gauge, END_GAUGE, confidence=0.99)
    assert round(found.value) == 50_000_838
    assert round(found.u) == 32
    assert found.u == pytest.approx(31.664, abs=1e-3)
    assert found.dof == pytest.approx(16.75, abs=5e-3)
    assert found.k == pytest.approx(2.9208, abs=5e-5)
    assert found.expanded == pytest.approx(92.5, abs=0.05)
    assert round(found.k * 32.0) == 93
    parts = [c.u for c in found.contributions]
    assert parts[:6] == pytest.approx([25.0, 16.599, 6.7, 5.8, 3.9, 2.887], abs=1e-3)


def test_the_degrees_of_freedom_of_inexact_limits():
    """JCGM 100:2008, H.1.6: 50 for a limit known to 10 %, 2 for one known to 50 % (G.4.2)."""
    assert [q.dof for q in END_GAUGE[4:6]] == pytest.approx([50.0, 2.0])


def test_the_end_gauge_by_trials():
    """JCGM 101:2008, 9.5: deviation 838 nm, u 36 nm, 99 % interval 745 .. 932 nm (second-hand);
    computed apart 35.68 and 744.7 .. 931.4."""
    found = simulate(end_gauge, END_GAUGE, seed=1, trials=1_000_000, confidence=0.99)
    nominal = 50_000_000.0
    assert found.mean - nominal == pytest.approx(838.0, abs=0.3)
    assert found.u == pytest.approx(36.0, abs=0.5)
    assert found.u == pytest.approx(35.68, abs=0.15)
    assert (found.low - nominal, found.high - nominal) == pytest.approx((745.0, 932.0), abs=1.5)
    assert (found.low - nominal, found.high - nominal) == pytest.approx((744.7, 931.4), abs=1.0)


def weight(reference, difference, air, density, reference_density):
    """JCGM 101:2008, 9.3: conventional mass less 100 g, in mg."""
    lift = (air - 1.2) * (1.0 / density - 1.0 / reference_density)
    return (reference + difference) * (1.0 + lift) - 100_000.0


WEIGHT = (
    normal("reference", 100_000.0, 0.050),
    normal("difference", 1.234, 0.020),
    rectangular("air", 1.2, 0.1),
    rectangular("density", 8000.0, 1000.0),
    rectangular("reference_density", 8000.0, 50.0),
)


def test_a_zero_sensitivity_is_not_a_zero_contribution():
    """JCGM 101:2008, 9.3 (published figures from memory): first order 1.2340, 0.0539,
    1.1285 .. 1.3395; trials 1.2340, 0.0754, shortest 1.0834 .. 1.3825."""
    first = propagate(weight, WEIGHT)
    assert first.value == pytest.approx(1.2340, abs=1e-6)
    assert first.u == pytest.approx(0.0539, abs=5e-5)
    ends = (first.value - first.expanded, first.value + first.expanded)
    assert ends == pytest.approx((1.1285, 1.3395), abs=1e-4)
    trials = simulate(weight, WEIGHT, seed=2, trials=1_000_000)
    assert trials.mean == pytest.approx(1.2340, abs=5e-4)
    assert trials.u == pytest.approx(0.0754, abs=3e-4)
    assert trials.shortest_low == pytest.approx(1.0834, abs=2.5e-3)
    assert trials.shortest_high == pytest.approx(1.3825, abs=2.5e-3)


def test_the_ten_kilogram_weight():
    """EA-4/02 M, example S2 (inputs second-hand; 29.3 mg and 59 mg from memory), in mg."""
    quantities = (
        normal("standard", 5.0, 22.5),
        rectangular("drift", 0.0, 15.0),
        normal("difference", 20.0, 25.0 / math.sqrt(3.0)),
        rectangular("eccentricity", 0.0, 10.0),
        rectangular("buoyancy", 0.0, 10.0),
    )
    found = propagate(lambda **parts: sum(parts.values()), quantities)
    assert found.value == pytest.approx(25.0)  # above 10 kg: 10 000.025 g
    assert found.u == pytest.approx(29.3, abs=0.05)
    assert round(2.0 * found.u) == 59


def lever(K, N, N0, d, q, b, a, f, t, phi):
    """A rig with its cell on the long arm: pins 2 and 5 mm off the line, fulcrum between."""
    tilt = (1.0 - 5.0 / b * np.tan(t)) / (1.0 + 2.0 / a * np.tan(t))
    return b / a * tilt * K * (N - N0 - d + q) * (1.0 + f) * np.cos(phi)


LEVER = (
    normal("K", 2.4150e-4, 1.449e-7, dof=8),
    normal("N", 2_070_000.0, 60.0, dof=9),
    normal("N0", -12_000.0, 20.0, dof=9),
    rectangular("d", 0.0, 400.0),
    Quantity.digit("q", 1.0),
    rectangular("b", 600.0, 0.5),
    rectangular("a", 60.0, 0.2),
    rectangular("f", 0.0, 0.005, dof=12.5),
    rectangular("t", 0.0, math.radians(2.0)),
    rectangular("phi", 0.0, math.radians(3.0)),
)


def test_a_lever_budget_by_the_guide():
    """Worked example computed apart."""
    found = propagate(lever, LEVER)
    by_name = {c.quantity.name: c.u for c in found.contributions}
    assert found.value == pytest.approx(5028.030, abs=5e-4)
    expected = {
        "K": 3.0168, "N": 0.1449, "N0": 0.0483, "d": 0.5577, "q": 0.0007, "b": 2.4191,
        "a": 9.6764, "f": 14.5147, "t": 4.2221, "phi": 0.0,
    }  # fmt: skip
    assert by_name == pytest.approx(expected, abs=6e-5)
    assert found.u == pytest.approx(18.3691, abs=6e-5)
    assert found.dof == pytest.approx(31.972, abs=1e-3)
    assert found.k == pytest.approx(2.039513, abs=5e-7)  # t table, 31 degrees of freedom
    assert found.expanded == pytest.approx(37.464, abs=6e-4)
    assert [c.quantity.name for c in found.contributions[:3]] == ["f", "a", "t"]
    assert found.contributions[0].share == pytest.approx(0.62, abs=5e-3)


def test_a_lever_budget_by_trials():
    """Computed apart with 4e6 trials: mean 5025.78, u 18.57, 4990.76 .. 5060.94; shortest
    4990.66 .. 5060.84. The shift of the mean is E[cos phi] and E[1/a], in closed form 5025.7515."""
    found = simulate(lever, LEVER, seed=3, trials=1_000_000)
    assert found.mean == pytest.approx(5025.78, abs=0.1)
    assert found.mean == pytest.approx(5025.7515, abs=0.1)
    assert found.u == pytest.approx(18.57, abs=0.1)
    assert (found.low, found.high) == pytest.approx((4990.76, 5060.94), abs=0.3)
    assert found.shortest_high - found.shortest_low <= found.high - found.low
    assert found.shortest_low == pytest.approx(4990.66, abs=1.0)


def test_trials_repeat_with_their_seed_and_keep_their_streams():
    again = [simulate(lever, LEVER, seed=9, trials=1000) for _ in range(2)]
    assert again[0] == again[1]
    assert simulate(lever, LEVER, seed=10, trials=1000) != again[0]


def test_few_degrees_of_freedom_are_cut_to_the_integer_below():
    """JCGM 100:2008, G.4.1 and Table G.2: t95 is 2.78 for 4, 12.71 for 1, 1.96 for infinity."""
    assert coverage_factor(4.99) == pytest.approx(2.78, abs=5e-3)
    assert coverage_factor(0.4) == pytest.approx(12.71, abs=5e-3)
    assert coverage_factor(math.inf) == pytest.approx(1.960, abs=5e-4)


@pytest.mark.parametrize(
    ("quantity", "variance"),
    [
        (normal("x", 3.0, 2.0), 4.0),
        (rectangular("x", 3.0, 2.0), 4.0 / 3.0),
        (Quantity.triangular("x", 3.0, 2.0), 4.0 / 6.0),
        (arcsine("x", 3.0, 2.0), 2.0),
        (normal("x", 3.0, 2.0, dof=9), 4.0 * 9.0 / 7.0),
        (rectangular("x", 3.0, 2.0, limits_within=1.0), 4.0 / 3.0 + 1.0 / 9.0),
        (Quantity.digit("x", 1.0), 1.0 / 12.0),
    ],
)
def test_draws_have_the_variance_of_their_shape(quantity, variance):
    """JCGM 101:2008, Table 1 and 6.4: closed forms."""
    drawn = quantity.draw(np.random.default_rng(4), 400_000)
    assert np.mean(drawn) == pytest.approx(quantity.estimate, abs=5e-3 * math.sqrt(variance) + 2e-3)
    assert np.var(drawn) == pytest.approx(variance, rel=0.02)
    if quantity.dof == math.inf:
        assert quantity.u**2 == pytest.approx(variance)
