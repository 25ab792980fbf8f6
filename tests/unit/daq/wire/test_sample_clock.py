"""The two clocks joined: rate recovered through bursts, wraps, silences; live time never waits."""

import math

import numpy as np
import pytest

from daq.rig.rig import Cell, Link
from daq.samples import Chunk, Flag, no_samples, sample_dtype
from daq.wire.decoders import make_decoder
from daq.wire.sample_clock import LiveClock, fit_clock, seconds

LATENCY_NS = 16_000_000  # the usual latency timer of a USB adapter (common practice, no source)
CELL = Cell("left", "left", 2000.0)


def in_bursts(true_s, seed=1):
    """Arrivals at the next tick of a 16 ms timer, plus a scheduling delay, in ns."""
    chance = np.random.default_rng(seed)
    late = chance.exponential(0.3e-3, len(true_s)) + (chance.random(len(true_s)) < 0.01) * 0.2
    ticks = np.ceil(true_s * 1e9 / LATENCY_NS) * LATENCY_NS
    return np.maximum.accumulate(ticks + late * 1e9).astype(np.int64) + 10**15


def made(true_s, board_us, arrival_ns):
    samples = np.zeros(len(true_s), dtype=sample_dtype(1))
    samples["index"] = np.arange(len(true_s))
    samples["board_us"] = board_us
    samples["arrival_ns"] = arrival_ns
    return samples


@pytest.mark.parametrize("off", [0.99, 0.9995, 1.0, 1.01])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_rate_of_a_board_one_percent_off_is_recovered_to_a_ten_thousandth(off, seed):
    true_s = np.arange(6000) / 93.0
    samples = made(true_s, 5e9 + true_s * 1e6 / off, in_bursts(true_s, seed))
    fit = fit_clock(samples, has_clock=True)
    assert fit.rate == pytest.approx(off, abs=1e-4)
    assert abs(fit.rate - off) < 5 * fit.rate_error
    np.testing.assert_allclose(seconds(samples, fit), true_s, rtol=1e-4)


def test_the_line_rests_on_the_earliest_arrivals():
    true_s = np.arange(3000) / 80.0
    samples = made(true_s, true_s * 1e6, in_bursts(true_s))
    fit = fit_clock(samples, has_clock=True)
    late_ns = samples["arrival_ns"] - (fit.offset_ns + 1e3 * fit.rate * samples["board_us"])
    assert np.mean(late_ns < -2e6) < 0.01


def test_the_period_of_a_board_without_a_clock_is_found_and_a_silence_is_kept():
    true_s = np.arange(4000) / 87.0
    true_s[2000:] += 3.0
    samples = made(true_s, 0, in_bursts(true_s))
    samples["flags"][2000] = Flag.GAP
    fit = fit_clock(samples, has_clock=False)
    assert fit.rate == pytest.approx(1e6 / 87.0, rel=2e-4)
    np.testing.assert_allclose(seconds(samples, fit), true_s, atol=0.04)


def test_a_wrap_inside_a_pull_leaves_time_whole():
    decoder = make_decoder(Link(fields=("time_us", "left")), [CELL])
    true_us = np.arange(3000) * 12_500
    arrival = in_bursts(true_us / 1e6)
    start = 2**32 - 9_000_000
    parts = [decoder.feed(Chunk(b"\n", int(arrival[0])))]
    for at, when in zip(true_us.tolist(), arrival.tolist(), strict=True):
        parts.append(decoder.feed(Chunk(b"%d,7\n" % ((start + at) % 2**32), when)))
    samples = np.concatenate([part.samples for part in parts])
    fit = fit_clock(samples, has_clock=True)
    np.testing.assert_allclose(seconds(samples, fit), true_us / 1e6, rtol=2e-4)


def test_a_board_replayed_faster_than_life_keeps_its_own_time():
    true_s = np.arange(3000) / 80.0
    samples = made(true_s, true_s * 1e6, in_bursts(true_s / 20.0))
    fit = fit_clock(samples, has_clock=True)
    assert fit.rate == pytest.approx(1 / 20, rel=5e-2)
    assert "taken at its word" in fit.note
    np.testing.assert_allclose(seconds(samples, fit), true_s, atol=2e-6)


@pytest.mark.parametrize("count", [0, 1, 5, 60])
@pytest.mark.parametrize("has_clock", [True, False])
def test_too_few_samples_give_a_fit_that_says_so(count, has_clock):
    true_s = np.arange(count) / 80.0
    samples = made(true_s, true_s * 1e6 * has_clock, (true_s * 1e9).astype(np.int64))
    fit = fit_clock(samples, has_clock=has_clock)
    if count < 48:
        assert math.isinf(fit.rate_error)
    np.testing.assert_allclose(seconds(samples, fit), true_s, atol=1e-6)


# -- live ----------------------------------------------------------------------------------------


def stepped(samples, sizes, *, has_board_clock):
    clock, parts, begin = LiveClock.start(has_board_clock=has_board_clock), [], 0
    for size in sizes:
        clock, part = clock.step(samples[begin : begin + size])
        parts.append(part)
        begin += size
    return np.concatenate(parts)


def test_live_seconds_are_the_deltas_of_the_board_clock_for_any_blocks():
    true_s = np.arange(500) / 80.0
    samples = made(true_s, 3e9 + true_s * 1e6, in_bursts(true_s))
    ones = stepped(samples, [1] * 500, has_board_clock=True)
    np.testing.assert_allclose(ones, true_s, atol=1e-6)
    np.testing.assert_array_equal(stepped(samples, [0, 7, 493], has_board_clock=True), ones)


def test_live_seconds_without_a_clock_follow_the_host_and_never_go_back():
    true_s = np.arange(4000) / 80.0
    true_s[3000:] += 2.0
    samples = made(true_s, 0, in_bursts(true_s))
    samples["flags"][3000] = Flag.GAP
    told = stepped(samples, [1] * 4000, has_board_clock=False)
    assert np.all(np.diff(told) >= 0)
    np.testing.assert_allclose(told[200:], true_s[200:], atol=0.25)
    steps = np.diff(told)[500:2900]
    assert np.max(np.abs(steps - 1 / 80.0)) < 0.1 / 80.0


def test_no_samples_take_no_time():
    clock = LiveClock.start(has_board_clock=True)
    assert clock.step(no_samples(2)) == (clock, pytest.approx([]))
