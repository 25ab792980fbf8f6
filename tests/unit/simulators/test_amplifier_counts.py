"""The converter: settling, shares, rounding, end values."""

from dataclasses import replace

import numpy as np
import pytest

from simulators.amplifier import COUNTS_HIGH, COUNTS_LOW, Board, converted, zero_counts

QUIET = Board(
    period_s=0.01,
    period_jitter=0.0,
    clock_error=0.0,
    noise_counts=0.0,
    hum_n=0.0,
    hand_n=0.0,
    creep_share=0.0,
    zero_counts=(1000.0, -500.0),
    counts_per_newton=(2000.0, -1500.0),
    warm_up_n=(0.0, 0.0),
    shares=(0.57, 0.43),
    share_drift=(0.0, 0.0),
    beam_weight_n=20.0,
)
FINE_S = np.arange(2000) * 0.001
TIMES_S = np.arange(1, 199) * 0.01


def run(board, at_jack_n, seed=1):
    rng = np.random.default_rng(seed)
    return converted(board, FINE_S, at_jack_n, np.zeros(2000), 3000.0, TIMES_S, rng)


def test_counts_are_zero_plus_share_times_slope():
    counts = run(QUIET, np.full(2000, 1000.0))
    assert counts.dtype == np.int32
    assert counts[50].tolist() == [1000 + 570 * 2000, -500 - 430 * 1500]


def test_the_zero_of_the_truth_is_the_reading_with_the_hook_slack():
    counts = run(QUIET, np.full(2000, 20.0))
    assert counts[50] == pytest.approx(zero_counts(QUIET), abs=0.5)


def test_a_step_settles_in_four_samples():
    """Common bridge converters settle in four conversions: three mixtures, then the new value."""
    step = np.where(FINE_S < 1.0, 0.0, 1000.0)
    counts = run(replace(QUIET, zero_counts=(0.0, 0.0)), step)[:, 0]
    after = counts[np.searchsorted(TIMES_S, 1.0 - 1e-9) :][:6] / (570 * 2000)
    assert after[1:4] == pytest.approx([0.25, 0.5, 0.75], abs=0.02)
    assert after[4:] == pytest.approx(1.0, abs=1e-3)


def test_on_a_ramp_the_reading_lags_by_half_the_settling():
    ramp = 200.0 * FINE_S
    counts = run(replace(QUIET, zero_counts=(0.0, 0.0)), ramp)[100, 0]
    assert counts / (0.57 * 2000) == pytest.approx(200.0 * (TIMES_S[100] - 0.02), rel=1e-3)


def test_a_drifting_share_leaves_the_sum_alone():
    drifting = replace(QUIET, share_drift=(0.05, -0.05))
    counts = run(drifting, np.full(2000, 3000.0))[50]
    forces = (counts - np.array(QUIET.zero_counts)) / QUIET.counts_per_newton
    assert forces.sum() == pytest.approx(3000.0, rel=1e-6)
    assert forces[0] / forces.sum() == pytest.approx(0.62, rel=1e-4)


def test_it_saturates_at_24_bits():
    """Two's complement of 24 bits ends at -8388608 and 8388607."""
    counts = run(QUIET, np.full(2000, 40_000.0))[50]
    assert counts.tolist() == [COUNTS_HIGH, COUNTS_LOW] == [(1 << 23) - 1, -(1 << 23)]


def test_noise_has_the_size_it_is_given():
    counts = run(replace(QUIET, noise_counts=100.0), np.full(2000, 100.0))
    assert counts.std(axis=0) == pytest.approx(100.0, rel=0.15)


@pytest.mark.parametrize("shares", [(1.0,), (0.4, 0.3, 0.3), (0.25, 0.25, 0.25, 0.25)])
def test_one_to_four_cells(shares):
    cells = len(shares)
    board = replace(
        QUIET,
        shares=shares,
        share_drift=(0.0,) * cells,
        zero_counts=(0.0,) * cells,
        warm_up_n=(0.0,) * cells,
        counts_per_newton=(2140.0,) * cells,
    )
    counts = run(board, np.full(2000, 1500.0))
    assert counts.shape == (len(TIMES_S), cells)
    assert counts[60].sum() / 2140.0 == pytest.approx(1500.0, rel=1e-5)
