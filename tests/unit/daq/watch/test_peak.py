"""The maximum is the largest believable raw sample; a lone spike is not believable."""

import numpy as np
import pytest

from daq.samples import Flag, sample_dtype
from daq.watch.peak import Peak, hold, lone_spikes, no_peak, settle, spike_threshold_n


def run(forces, *, flags=None, threshold=30.0, cuts=()):
    """Hold the peak of forces, fed in blocks that end at ``cuts``."""
    force = np.array(forces, dtype=float)
    samples = np.zeros(len(force), dtype=sample_dtype(1))
    samples["index"] = np.arange(len(force))
    if flags is not None:
        samples["flags"] = flags
    state = no_peak()
    for part in np.split(np.arange(len(force)), list(cuts)):
        state = hold(state, force[part], part * 0.01, samples[part], threshold)
    return settle(state)


def test_the_maximum_is_the_largest_raw_sample():
    """No smoothing lowers it; the median of three is told beside it."""
    peak = run([0, 10, 20, 30, 25, 5])
    assert (peak.force_n, peak.index, peak.median3_n) == (30.0, 3, 25.0)


def test_a_lone_spike_is_counted_and_not_the_maximum():
    """A single sample far above both neighbours has no recovery shape."""
    peak = run([100, 101, 900, 102, 103, 104, 50])
    assert (peak.force_n, peak.spikes) == (104.0, 1)


def test_the_last_reading_before_a_failure_is_real_even_when_samples_are_few():
    """Ten samples a second: 97 N a sample in a stroke, then nothing. No spike comes back so."""
    peak = run([1000, 1000, 1097, 0, 0, 0, 0])
    assert (peak.force_n, peak.spikes) == (1097.0, 0)


@pytest.mark.parametrize("samples", [1, 2, 3, 4, 5])
def test_a_short_run_that_leaps_up_and_back_is_no_maximum(samples):
    """Up to four readings; a fifth makes it a load. Told from either end of any block."""
    forces = [100.0] * 10 + [900.0] * samples + [104.0] * 10
    peak = run(forces)
    assert (peak.force_n, peak.spikes) == ((104.0, samples) if samples < 5 else (900.0, 0))
    assert all(run(forces, cuts=[cut]) == peak for cut in range(len(forces)))


def test_two_readings_must_stand_out_further_than_one():
    """A beam rings after a failure: two readings up and back need four thresholds to be a spike."""
    assert run([0, 100, 100, 0, 0, 0, 0]).spikes == 0
    assert run([0, 121, 121, 0, 0, 0, 0]).spikes == 2
    assert run([0, 31, 0, 0, 0, 0, 0]).spikes == 1


def test_a_brittle_peak_is_the_maximum():
    """The last sample before a fracture has a neighbour below it that is close."""
    peak = run([4000, 4010, 4020, 4030, 2, 0, 1])
    assert (peak.force_n, peak.spikes) == (4030.0, 0)


@pytest.mark.parametrize("flag", [Flag.SATURATED, Flag.SPIKE, Flag.SUSPECT])
def test_a_flagged_sample_is_never_the_maximum(flag):
    """Saturation says "at least", a suspect reading says nothing."""
    peak = run([1, 2, 50, 51, 3], flags=[0, 0, flag, flag, 0], threshold=1e9)
    assert peak.force_n == 3.0
    assert not peak.median3_n > 3.0


def test_a_gap_flag_does_not_bar_a_sample():
    """What was lost before a sample does not make the sample wrong."""
    assert run([1, 9, 1], flags=[0, Flag.GAP, 0]).force_n == 9.0


@pytest.mark.parametrize("seed", range(20))
def test_any_split_gives_the_same_peak(seed):
    """Cut anywhere: force, index, median of three and spikes are the same."""
    rng = np.random.default_rng(seed)
    forces = np.cumsum(rng.normal(0.5, 5, 60))
    forces[rng.integers(0, 60, 3)] += 400
    cuts = sorted(rng.integers(0, 61, 6))
    flags = np.where(rng.random(60) < 0.1, int(Flag.SUSPECT), 0)
    assert run(forces, cuts=cuts) == run(forces)
    assert run(forces, flags=flags, cuts=cuts) == run(forces, flags=flags)


def test_a_short_run_of_bad_readings_is_no_median_either():
    """Two readings of five times the force come back: a spike, and no median of three."""
    peak = run([100, 101, 102, 500, 500, 103, 104, 105, 106, 50])
    assert (peak.force_n, peak.median3_n, peak.spikes) == (106.0, 105.0, 2)


def test_spikes_found_live_are_those_found_in_the_whole_array():
    """One rule, two roads."""
    rng = np.random.default_rng(1)
    forces = rng.normal(0, 1, 500)
    forces[[50, 200, 201, 400]] += 100
    assert run(forces).spikes == lone_spikes(forces, 30.0).sum() == 2


def test_the_threshold_follows_stop_and_noise():
    """Half a percent of the stop, or twelve noise SDs."""
    assert spike_threshold_n(6200, 0.1) == pytest.approx(31.0)
    assert spike_threshold_n(6200, 10) == pytest.approx(120.0)


@pytest.mark.parametrize(
    ("forces", "spikes"),
    [
        ([0, 31, 0], [1]),  # three samples are enough
        ([0, 30, 0], []),  # it must stand out by more than the threshold
        ([100, 60, 100], [1]),  # down as well as up
        ([100, 70, 100], []),
        ([100, 200, 0], [1]),  # as far below as it stood above: still a spike
        ([100, 200, -1], []),  # further: a failure
        ([1, 31, 0, 500, 500], []),
        ([0, 31], []),
    ],
)
def test_what_a_lone_spike_is(forces, spikes):
    assert np.flatnonzero(lone_spikes(np.array(forces, dtype=float), 30.0)).tolist() == spikes


def test_before_the_first_sample_there_is_no_peak():
    peak = settle(no_peak())
    assert peak.index == Peak().index == -1
    assert np.isnan([peak.force_n, peak.seconds, peak.median3_n]).all()


def test_the_first_three_samples_have_a_median_too():
    assert run([30, 20, 10, 5, 1]).median3_n == 20.0
