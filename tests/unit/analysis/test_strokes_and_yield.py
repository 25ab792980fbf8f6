"""Strokes, yield, travel and bad readings on drawn curves, where the answer is known."""

import math

import numpy as np
import pytest

from analysis.bad_readings import excursions, stuck
from analysis.landmarks import find_fall, find_rests
from analysis.strokes import Strokes, find_strokes
from analysis.travel import travelled
from analysis.yield_mark import find_yield

RATE = 93.0
NOISE_N = 0.5


def staircase(strokes=16, yield_part=None, maximum_n=4000.0, seed=1):
    """Strokes of a smooth hand, 1.6 s, with rests of 3 s; a parabola above the yield.

    Returns seconds, force. Below the yield a stroke gains 300 N; above, the specimen slips and
    holds S - rise (1 - slip / h)^2, at first twice as stiff as all that is in series with it.
    """
    rng = np.random.default_rng(seed)
    moved, way = [], 0.0
    for _ in range(strokes):
        size = 1.0 + 0.06 * rng.standard_normal()
        ramp = np.linspace(0.0, 1.0, round(1.6 * RATE))
        moved += [
            way + size * (3.0 * ramp**2 - 2.0 * ramp**3),
            np.full(round(3.0 * RATE), way + size),
        ]
        way += size
    way_done = np.concatenate(moved)
    held = np.linspace(0.0, maximum_n, 4001)
    slip = np.zeros_like(held)
    if yield_part is not None:
        rise = (1.0 - yield_part) * maximum_n
        left = np.sqrt(np.minimum((maximum_n - held) / rise, 1.0))
        slip = rise / 300.0 * (1.0 - left)
    force = np.interp(way_done, held / 300.0 + slip, held)
    force = force + NOISE_N * rng.standard_normal(len(force))
    return np.arange(len(force)) / RATE, force


def strokes_of(seconds, force):
    return find_strokes(seconds, force, 0, len(force), NOISE_N)


def test_every_stroke_and_rest_is_found():
    seconds, force = staircase(strokes=12)
    strokes = strokes_of(seconds, force)
    assert len(strokes) == 12
    lasting = seconds[strokes.last] - seconds[strokes.first]
    assert lasting == pytest.approx(np.full(12, 1.6), abs=0.45)
    rests = find_rests(seconds, force, strokes, len(force) - 1)
    assert [rest.seconds for rest in rests] == pytest.approx([3.0] * 12, abs=0.45)


def test_a_flat_or_empty_stretch_has_no_strokes():
    flat = NOISE_N * np.random.default_rng(2).standard_normal(2000)
    assert len(strokes_of(np.arange(2000) / RATE, flat)) == 0
    assert len(strokes_of(np.empty(0), np.empty(0))) == 0


@pytest.mark.parametrize("part", [0.5, 0.65, 0.8])
def test_a_bend_of_force_over_travel_is_found_where_it_was_drawn(part):
    for seed in range(3):
        seconds, force = staircase(28, part, seed=seed)
        top = int(np.argmax(force > 0.998 * 4000.0))
        assert top > 0
        seconds, force = seconds[: top + 1], force[: top + 1]
        found = find_yield(seconds, force, strokes_of(seconds, force), float(force[-1]))
        assert found.force_n == pytest.approx(part * 4000.0, abs=0.03 * 4000.0)
        assert found.sure > 0.5


def test_a_straight_climb_has_no_yield():
    for seed in range(5):
        seconds, force = staircase(13, None, seed=seed)
        found = find_yield(seconds, force, strokes_of(seconds, force), float(force.max()))
        assert math.isnan(found.force_n)
        assert found.sure == 0.0


def test_relaxation_is_the_share_lost_in_each_decade():
    """F = F0 (1 - 0.02 log10(1 + t/0.3)) over a rest gives 0.02."""
    since = np.arange(round(8.0 * RATE)) / RATE
    force = 3000.0 * (1.0 - 0.02 * np.log10(1.0 + since / 0.3))
    ends = Strokes(np.array([0]), np.array([0]))
    (rest,) = find_rests(since, force, ends, len(force) - 1)
    assert rest.per_decade == pytest.approx(0.02, rel=0.01)
    assert rest.loss_first_s_n == pytest.approx(3000.0 * 0.02 * math.log10(1 + 1 / 0.3), rel=0.01)


def test_a_fall_is_measured_from_a_tenth_to_nine_tenths():
    """From 4000 to 600 N in a straight line of 0.5 s: 10 % to 90 % takes 0.4 s."""
    seconds = np.arange(600) / RATE
    force = np.interp(seconds, [0.0, 1.0, 1.5, 10.0], [4000.0, 4000.0, 600.0, 600.0])
    fall = find_fall(seconds, force, 0)
    assert fall.drop_n == pytest.approx(3400.0)
    assert fall.residual_n == pytest.approx(600.0)
    assert fall.drop_s == pytest.approx(0.4, abs=0.03)


def equal_strokes(levels):
    """Force with one sample a level; strokes from each to the next."""
    last = np.arange(1, len(levels))
    return np.asarray(levels, dtype=float), Strokes(last - 1, last)


def test_travel_gives_stiffness_and_energy():
    """Straight, 0.5 mm a stroke, 200 N each: 400 N/mm; the triangle under it is F^2/2k."""
    force, strokes = equal_strokes(200.0 * np.arange(11))
    found = travelled(force, strokes, {"stroke_turns": 0.25}, mm_per_turn=2.0)
    assert found.stiffness_n_per_mm == pytest.approx(400.0)
    assert found.energy_to_max_j == pytest.approx(2000.0**2 / (2 * 400.0) / 1000.0)
    assert math.isnan(found.offset_yield_n)


def test_a_blank_pull_takes_the_rigs_share_off():
    """400 N/mm with a rig of 800 in series: the specimen alone has 800 N/mm, half the energy."""
    force, strokes = equal_strokes(200.0 * np.arange(11))
    specimen = {"stroke_turns": 0.25, "blank_stiffness_n_per_mm": 800.0}
    found = travelled(force, strokes, specimen, mm_per_turn=2.0)
    assert found.stiffness_n_per_mm == pytest.approx(800.0)
    assert found.energy_to_max_j == pytest.approx(2.5)


def test_the_offset_yield_is_five_percent_of_the_diameter():
    """Straight at 400 N/mm to 2000 N, then level: the line shifted by 0.5 mm meets it there."""
    levels = np.minimum(200.0 * np.arange(16), 2000.0)
    force, strokes = equal_strokes(levels)
    specimen = {"stroke_turns": 0.25, "major_mm": 10.0}
    found = travelled(force, strokes, specimen, mm_per_turn=2.0)
    assert found.offset_yield_n == pytest.approx(2000.0, rel=0.01)


@pytest.mark.parametrize("specimen", [{}, {"stroke_turns": "many"}, {"stroke_turns": -1}])
def test_without_travel_nothing_is_said_of_it(specimen):
    force, strokes = equal_strokes(200.0 * np.arange(11))
    found = travelled(force, strokes, specimen, mm_per_turn=2.0)
    assert math.isnan(found.energy_to_max_j)
    assert math.isnan(found.stiffness_n_per_mm)


def test_an_excursion_returns_and_a_failure_does_not():
    force = np.concatenate([np.linspace(0, 4000, 800), np.full(400, 300.0)])
    assert not excursions(force, 100.0).any()
    force[500:503] += 2400.0
    assert np.flatnonzero(excursions(force, 100.0)).tolist() == [500, 501, 502]
    force[500:520] += 2400.0  # twenty samples are no slip of a digit
    assert not excursions(force, 100.0)[505:520].any()


def test_a_value_that_repeats_itself_is_stuck_unless_the_channel_is_silent():
    counts = np.random.default_rng(3).integers(-50, 50, (400, 2)).astype(np.int32)
    seconds = np.arange(400) / RATE
    assert not stuck(counts, seconds, (30.0, 30.0)).any()
    counts[100:140, 1] = 7
    marks = stuck(counts, seconds, (30.0, 30.0))
    assert marks[100:140].all()
    assert not marks[:98].any()
    assert not stuck(counts, seconds, (30.0, 0.0)).any()
