"""The budget of a maximum: quadrature, signs, what a calibration at the specimen leaves out."""

import math
from dataclasses import replace

import numpy as np
import pytest

from analysis.uncertainty.specimen_force import (
    PullFigures,
    specimen_force_budget,
    specimen_force_model,
    specimen_force_quantities,
    specimen_force_trials,
)
from daq.force.calibration import Calibration
from daq.force.calibration_fit import Session, fit_calibration
from daq.force.points_file import parse_points
from daq.force.weights import local_gravity, weights_known
from daq.force.zero import Zero
from daq.rig.rig import Beam, Cell, Jack, Lever, Link, Rig, Stop

LEVER = Lever(
    fulcrum="end", jack_arm_mm=402.0, specimen_arm_mm=201.0, arm_uncertainty_mm=0.5,
    specimen_pin_offset_mm=20.0, pin_radius_mm=6.0, pin_friction=0.002,
)  # fmt: skip
RIG = Rig(
    name="Rig B", build="4", link=Link(fields=("time_us", "left", "right")),
    cells=tuple(
        Cell(name, name, 1961.33, counts_per_newton=1000.0) for name in ("left", "right")
    ),
    lever=LEVER, stop=Stop(6200.0, 5200.0), jack=Jack(4.0),
    beam=Beam(45.0, 95.0, 12.0, hole_offset_mm=12.5),
)  # fmt: skip
SPREAD = ((30.0, 30.0), (150.0, 150.0), 100)
PULL = PullFigures(
    max_force_n=4400.0,
    zero_before=Zero((1000.0, -500.0), *SPREAD),
    zero_after=Zero((1400.0, -300.0), *SPREAD),
    noise_counts=(30.0, 40.0),
    climb_n_per_s=100.0,
    sample_period_s=0.0125,
)


def weighed(weights="M2", top=2200.0, load_at="cells") -> Calibration:
    random = np.random.default_rng(21)
    loads = np.tile(np.linspace(0.0, top, 11), 2)
    responses = np.rint(1000.0 * loads + random.normal(0.0, 200.0, len(loads)))
    text = "load_n,response\n" + "\n".join(
        f"{float(load)},{float(y)}" for load, y in zip(loads, responses, strict=True)
    )
    gravity = local_gravity(52.0)
    session = Session(weights_known(weights), gravity, load_at=load_at, degree=1, rig=RIG)
    return fit_calibration(parse_points(text, "w.csv", gravity), session).calibration


def parts(budget) -> dict[str, float]:
    return {c.quantity.name: c.u for c in budget.contributions}


def test_contributions_sum_in_quadrature_largest_first():
    budget = specimen_force_budget(RIG, weighed(), PULL)
    sizes = [c.u for c in budget.contributions]
    assert sizes == sorted(sizes, reverse=True)
    assert math.hypot(*sizes) == pytest.approx(budget.u_n, rel=1e-12)
    assert sum(c.share for c in budget.contributions) == pytest.approx(1.0)


def test_each_contribution_by_hand():
    """Worked by hand from the stated inputs, ratio 2."""
    found = parts(specimen_force_budget(RIG, weighed(), PULL))
    root3 = math.sqrt(3.0)
    assert found["jack_arm"] == pytest.approx(4400.0 * 0.5 / 402.0, rel=3e-3)
    assert found["specimen_arm"] == pytest.approx(4400.0 * 0.5 / 201.0, rel=3e-3)
    assert found["tilt"] == pytest.approx(4400.0 * 20 / 201 * math.radians(3.0) / root3, rel=3e-3)
    assert found["weights"] == pytest.approx(4400.0 * 0.00016 / root3, rel=3e-3)
    assert found["zero_drift"] == pytest.approx(2.0 * 0.6 / root3, rel=3e-3)
    assert found["noise"] == pytest.approx(2.0 * 0.050, rel=3e-3)
    assert found["zero_noise"] == pytest.approx(2.0 * 0.030 * math.sqrt(2.0) / 10.0, rel=3e-3)
    assert found["resolution"] == pytest.approx(2.0 * math.sqrt(2.0 / 12.0) / 1000.0, rel=3e-3)
    assert found["unseen_top"] == pytest.approx(100.0 * 0.0375 / 2.0 / root3, rel=1e-6)
    loss = 0.002 * 6.0 * 2.0 / 201.0  # end: |1/a - 1/b| + 1/a + 1/b = 2/a
    assert found["pin_friction"] == pytest.approx(4400.0 * loss / root3, rel=3e-3)
    assert found["beam_weight"] < 0.2
    assert found["contact"] == found["beyond_verified"] == found["gravity"] == 0.0


def test_friction_and_the_unseen_top_have_a_sign():
    plain_pins = replace(RIG, lever=replace(LEVER, pin_friction=0.15))
    budget = specimen_force_budget(plain_pins, weighed(), replace(PULL, climb_n_per_s=0.0))
    loss_n = 4400.0 * 0.15 * 6.0 * 2.0 / 201.0
    assert budget.bias_n == pytest.approx(-loss_n, rel=1e-3)  # shown too high while the jack drives
    assert budget.U95_n == pytest.approx(budget.k * budget.u_n + loss_n, rel=1e-3)
    assert budget.low_n + budget.high_n == pytest.approx(2.0 * (4400.0 + budget.bias_n))
    fast = replace(PULL, climb_n_per_s=4000.0)
    assert specimen_force_budget(RIG, weighed(), fast).bias_n > 0.0


def test_with_nothing_off_the_model_gives_the_force_shown():
    for load_at in ("cells", "specimen"):
        made = weighed(load_at=load_at)
        names = [q.name for q in specimen_force_quantities(RIG, made, PULL)]
        model = specimen_force_model(RIG, made, 4400.0)
        assert float(model(**dict.fromkeys(names, 0.0))) == pytest.approx(4400.0, rel=1e-12)


def test_weights_at_the_specimen_leave_the_lever_out():
    budget = specimen_force_budget(RIG, weighed(top=4400.0, load_at="specimen"), PULL)
    names = parts(budget)
    assert not names.keys() & {"jack_arm", "specimen_arm", "tilt", "pin_friction", "contact"}
    assert names["zero_drift"] == pytest.approx(0.6 / math.sqrt(3.0), rel=1e-2)  # no ratio


def test_beyond_the_verified_load_the_budget_widens():
    near = specimen_force_budget(RIG, weighed(), PULL)
    far = specimen_force_budget(RIG, weighed(top=220.0), PULL)
    assert parts(near)["beyond_verified"] == 0.0
    past = (2200.0 - 220.0) / (2 * 1961.33)
    assert parts(far)["beyond_verified"] == pytest.approx(
        4400.0 * 0.004 * past / math.sqrt(3.0), rel=1e-2
    )
    assert parts(far)["calibration_fit"] > parts(near)["calibration_fit"]
    words = {c.quantity.name: c.quantity.words for c in far.contributions}
    assert words["beyond_verified"] == "extrapolated x 10.0"


def test_slopes_that_no_weights_stand_behind_are_good_to_five_per_cent():
    budget = specimen_force_budget(RIG, Calibration.from_rig(RIG), PULL)
    assert budget.contributions[0].quantity.name == "calibration_fit"
    assert budget.contributions[0].u == pytest.approx(4400.0 * 0.05 / math.sqrt(3.0), rel=1e-2)


def test_a_wide_contact_and_a_missing_zero_widen():
    flat = replace(RIG, lever=replace(LEVER, contact="flat"))
    found = parts(specimen_force_budget(flat, weighed(), replace(PULL, zero_after=None)))
    assert found["contact"] == pytest.approx(4400.0 * 5.0 / 201.0 / math.sqrt(3.0), rel=3e-3)
    assert found["zero_drift"] == pytest.approx(4400.0 * 0.0025 / math.sqrt(3.0), rel=3e-3)


def test_both_roads_agree():
    made = weighed()
    budget = specimen_force_budget(RIG, made, PULL)
    trials = specimen_force_trials(RIG, made, PULL, seed=5, trials=100_000)
    assert trials.mean == pytest.approx(PULL.max_force_n + budget.bias_n, abs=0.3)
    assert trials.u == pytest.approx(budget.u_n, rel=0.02)
    assert (trials.low, trials.high) == pytest.approx((budget.low_n, budget.high_n), abs=2.0)


@pytest.mark.parametrize("weights", ["M1", "0.3 %"])
def test_the_interval_holds_the_truth_as_often_as_it_says(weights):
    """Truths drawn from the stated uncertainties: 95 % of them lie inside (93 to 97)."""
    made = weighed(weights)
    budget = specimen_force_budget(RIG, made, PULL)
    quantities = specimen_force_quantities(RIG, made, PULL)
    model = specimen_force_model(RIG, made, PULL.max_force_n)
    random = np.random.default_rng(17)
    truths = model(**{q.name: q.draw(random, 20_000) for q in quantities})
    inside = np.mean((truths >= budget.low_n) & (truths <= budget.high_n))
    assert 0.93 <= inside <= 0.97


def test_the_budget_grows_in_step_with_the_arms():
    """A ratio of 3 in place of 2, same cell force: every newton at the specimen counts more."""
    three = replace(RIG, lever=replace(LEVER, specimen_arm_mm=134.0))
    two = specimen_force_budget(RIG, weighed(), PULL)
    more = specimen_force_budget(three, weighed(), replace(PULL, max_force_n=6600.0))
    assert parts(more)["noise"] == pytest.approx(1.5 * parts(two)["noise"], rel=1e-3)
    assert parts(more)["specimen_arm"] == pytest.approx(2.25 * parts(two)["specimen_arm"], rel=1e-3)
