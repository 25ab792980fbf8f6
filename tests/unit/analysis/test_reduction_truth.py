"""Reduced pulls beside the truth of the simulator: few seeds here, hundreds in the benchmark."""

import math

import pytest

from analysis.pull_curve import pull_curve
from analysis.reduction import reduce_curve
from simulators.scenario import scenario_names

SEEDS = range(200, 205)
MISSES = 1  # of the five pulls of a scenario may be off by a rule's own limits


@pytest.mark.parametrize("name", scenario_names())
def test_kind_mode_maximum_yield_and_cracks(name, recorded):
    yields_off, cracks, found, told = 0, 0, 0, 0
    for seed in SEEDS:
        recording, true = recorded(name, seed)
        curve = pull_curve(recording)
        result, budget = reduce_curve(curve, recording, recording.path)
        assert result.kind.value == true.kind
        assert result.proposed_mode == result.mode == true.mode
        assert result.max_force_n == pytest.approx(true.max_force_n, rel=0.01)
        assert abs(result.max_force_n - true.max_force_n) < result.U95_max_force_n
        assert result.u_max_force_n == budget.u_n
        assert result.time_to_max_s == pytest.approx(true.time_to_max_s, abs=time_within_s(name))
        yields_off += not same_yield(result, true)
        cracks += len(true.cracks)
        told += result.cracks
        found += sum(
            any(abs(mark.seconds + first_s(recording) - crack.time_s) < 0.3
                for mark in curve.crack_marks)
            for crack in true.cracks
        )  # fmt: skip
    assert yields_off <= MISSES
    assert found >= 0.9 * cracks
    assert told <= found + MISSES


def time_within_s(name):
    """A rounded top is level for seconds: which of them is the highest is up to the noise."""
    return 6.0 if name == "softwood-withdrawal" else 0.5


def first_s(recording):
    return recording.samples["board_us"][0] / 1e6


def same_yield(result, true):
    """Within 2 % of the maximum, or none where there is none."""
    if math.isnan(true.yield_force_n):
        return math.isnan(result.yield_force_n)
    return abs(result.yield_force_n - true.yield_force_n) < 0.02 * true.max_force_n


def test_a_grip_that_slipped_is_a_proposal_that_a_person_must_confirm(recorded):
    recording, _ = recorded("grip-slip", 200)
    result, _ = reduce_curve(pull_curve(recording), recording, recording.path)
    assert (result.kind.value, result.kind_by) == ("invalid", "proposed")
    assert "grip slipped?" in result.flags
    assert "Nobody has confirmed it" in result.reason


@pytest.mark.parametrize("name", ["hardwood-withdrawal", "softwood-withdrawal"])
def test_the_course_is_told_in_plausible_figures(name, recorded):
    """Relaxation 0.1-5 % a decade, a residual under 80 %, the gain of a stroke under the force."""
    recording, true = recorded(name, 201)
    course = reduce_curve(pull_curve(recording), recording, recording.path)[0].course
    assert 8 <= course.strokes <= 40
    assert course.rests >= course.strokes - 1
    assert 0.001 < course.relaxation_per_decade < 0.05
    assert 50.0 < course.start_stiffness_n_per_stroke < 1000.0
    assert 0.0 < course.residual_n < 0.8 * true.max_force_n
    assert course.drop_n + course.residual_n == pytest.approx(true.max_force_n, rel=0.01)
    assert 0.0 < course.unseen_peak_n < 50.0
    assert course.longest_rest_s >= course.rest_before_max_s > 0.5
    assert course.yield_rule == "stroke gain"
    assert 0.3 < course.yield_confidence <= 1.0
