"""Cells that stand still and forces that leap: found in any split, and not where life is slow."""

import numpy as np
import pytest

from daq.samples import sample_dtype
from daq.watch.plausible import (
    Climb,
    find_leaps,
    find_still,
    no_stillness,
    still_rules,
)

PERIOD_NS = 10_000_000
CAPACITY = np.array([4_000_000.0, 4_000_000.0])
NOISY, QUIET = np.array([20.0, 20.0]), np.array([0.0, 0.0])
STOP_N = 6000.0


def block(counts):
    """Samples of counts (n, 2), one each 10 ms."""
    samples = np.zeros(len(counts), dtype=sample_dtype(2))
    samples["counts"] = counts
    samples["arrival_ns"] = np.arange(len(counts)) * PERIOD_NS
    return samples


def noisy_counts(n, seed=1):
    """Two cells with noise of 20 counts."""
    noise = np.random.default_rng(seed).normal(0, 20, (n, 2))
    return (np.array([12_000, -5_000]) + noise).astype(np.int32)


def still(counts, noise, cuts=()):
    """Marks (n, 2) of the whole, fed in blocks that end at ``cuts``."""
    samples, state, marks = block(counts), no_stillness(2), []
    rules = still_rules(noise, CAPACITY)
    for part in np.split(samples, list(cuts)):
        state, found = find_still(state, rules, part)
        marks.append(found if len(found) else np.zeros((len(part), 2), bool))
    return np.concatenate(marks)


def test_noise_is_never_still():
    assert not still(noisy_counts(20_000), NOISY).any()


@pytest.mark.parametrize("stuck_at", [0, -1, 12_345])
def test_a_cell_that_repeats_one_count_for_a_second_is_still(stuck_at):
    """Marked from the second second on, that cell and no other, till it moves again."""
    counts = noisy_counts(400)
    counts[100:300, 1] = stuck_at
    marks = still(counts, NOISY)
    assert not marks[:, 0].any()
    assert np.flatnonzero(marks[:, 1]).tolist() == list(range(200, 300))


def test_a_coarse_converter_may_repeat_itself_at_rest_but_not_while_the_other_cell_moves():
    """Without noise at zero one count may stand for ever; not when 1 % of capacity went by."""
    counts = np.zeros((600, 2), dtype=np.int32)
    assert not still(counts, QUIET).any()
    counts[:, 0] = np.arange(600) * 200
    marks = still(counts, QUIET)
    assert not marks[:, 0].any()
    assert np.flatnonzero(marks[:, 1])[0] == 201  # 201 * 200 counts > 1 % of 4 million


def test_a_board_that_repeats_each_reading_ten_times_is_not_still():
    """A converter of 10 a second read 100 times a second."""
    assert not still(np.repeat(noisy_counts(200), 10, axis=0), NOISY).any()


@pytest.mark.parametrize("seed", range(20))
def test_any_split_finds_the_same_stillness(seed):
    rng = np.random.default_rng(seed)
    counts = noisy_counts(600, seed)
    counts[50:270, 0], counts[200:420, 1] = 7, -1
    cuts = sorted(rng.integers(0, 601, 12))
    for noise in (NOISY, QUIET):
        np.testing.assert_array_equal(still(counts, noise, cuts), still(counts, noise))


def test_one_cell_alone_may_stand_still_too():
    samples = np.zeros(300, dtype=sample_dtype(1))
    samples["arrival_ns"] = np.arange(300) * PERIOD_NS
    _, marks = find_still(no_stillness(1), still_rules(NOISY[:1], CAPACITY[:1]), samples)
    assert np.flatnonzero(marks[:, 0]).tolist() == list(range(100, 300))


@pytest.mark.parametrize("size", [1, 2, 3, 7, 50])
def test_blocks_of_any_size_find_the_moment_to_the_sample(size):
    """A cell that stops at the first, the last or any other sample of a block."""
    for first in range(100, 107):
        counts = noisy_counts(300)
        counts[first:, 1] = 12_345
        marks = still(counts, NOISY, cuts=range(size, 300, size))
        assert np.flatnonzero(marks[:, 1]).tolist() == list(range(first + 100, 300))


@pytest.mark.parametrize("size", [1, 2, 5, 40])
def test_a_slow_board_needs_ten_samples(size):
    """At five samples a second a second holds too few to tell: ten it must be."""
    samples = block(noisy_counts(40))
    samples["arrival_ns"] = np.arange(40) * 200_000_000
    samples["counts"][10:, 0] = 7
    state, rules, marked = no_stillness(2), still_rules(NOISY, CAPACITY), []
    for start in range(0, 40, size):
        part = samples[start : start + size]
        state, marks = find_still(state, rules, part)
        marked += [start + row for row, marks_of_row in enumerate(marks) if marks_of_row.any()]
    assert marked == list(range(19, 40))


@pytest.mark.parametrize("size", [1, 2, 3, 10, 100, 300, 600])
def test_what_another_cell_did_before_a_change_does_not_count(size):
    """1 % of capacity is 40,000 counts: 201 steps of 200 from the last change on, in any blocks."""
    counts = np.zeros((600, 2), dtype=np.int32)
    counts[:, 0] = np.arange(600) * 200
    counts[300:, 1] = 1
    marks = still(counts, QUIET, cuts=range(size, 600, size))
    expected = [*range(201, 300), *range(501, 600)]
    assert np.flatnonzero(marks[:, 1]).tolist() == expected


def leaps(force_n, seconds=None, cuts=()):
    """Marks (n,) of the whole, fed in blocks that end at ``cuts``."""
    force_n = np.asarray(force_n, dtype=float)
    seconds = np.arange(len(force_n)) * 0.01 if seconds is None else seconds
    state, marks = Climb(), []
    for part in np.split(np.arange(len(force_n)), list(cuts)):
        state, found = find_leaps(state, force_n[part], seconds[part], STOP_N)
        marks.append(found if len(found) else np.zeros(len(part), bool))
    return np.concatenate(marks)


def test_a_factor_of_two_is_not_believed_as_long_as_it_lasts():
    """2000 N, then 4000 N from one sample to the next: marked to the end of it."""
    climb = np.linspace(0, 2000, 300)
    force_n = np.concatenate([climb, np.linspace(4000, 4100, 200), np.linspace(2050, 3000, 300)])
    assert np.flatnonzero(leaps(force_n)).tolist() == list(range(300, 500))


@pytest.mark.parametrize(("jump", "believed"), [(0.109, True), (0.111, False)])
def test_a_tenth_of_the_stop_within_a_sample_and_one_stop_a_second(jump, believed):
    """0.1 + 0.01 s x 1/s of 6000 N."""
    assert leaps([0.0, 0.0, jump * STOP_N]).any() != believed


def test_a_quick_hand_and_a_recovery_are_believed():
    """A half turn in 0.6 s (1.15 kN), a dip of a bad pulse, and a fall with a slow return."""
    force_n = np.concatenate(
        [np.linspace(0, 1150, 60), np.full(40, 1150), [0.0], np.linspace(1150, 2300, 60)]
    )
    assert not leaps(force_n).any()
    assert not leaps([0, 3000, 100], seconds=np.array([0.0, 5.0, 5.01])).any()  # after a gap


@pytest.mark.parametrize("seed", range(20))
def test_any_split_finds_the_same_leaps(seed):
    rng = np.random.default_rng(seed)
    force_n = np.cumsum(rng.normal(2, 20, 400))
    force_n[rng.integers(0, 400, 6)] *= 3
    force_n[200:260] += 6000
    cuts = sorted(rng.integers(0, 401, 12))
    found = leaps(force_n)
    assert found.any()
    np.testing.assert_array_equal(leaps(force_n, cuts=cuts), found)
