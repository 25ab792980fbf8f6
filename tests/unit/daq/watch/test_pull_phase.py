"""Phases of a pull on drawn force curves; the rules at their edges."""

from dataclasses import replace

import numpy as np
import pytest

from daq.live_reading import Phase
from daq.watch import pull_phase
from daq.watch.pull_phase import PhaseState, follow, phase_rules
from daq.watch.ticks import NO_TICKS, Ticks, gather, no_ticks
from simulators.scenario import scenario_names
from simulators.simulation import simulate

RULES = phase_rules(6200.0, 0.5)
STEP_S = 1 / 93


def curve(*legs: tuple[float, float]) -> np.ndarray:
    """A force curve through legs of (seconds, end force), from 0 N."""
    parts, here = [np.zeros(1)], 0.0
    for seconds, end in legs:
        parts.append(np.linspace(here, end, max(2, round(seconds / STEP_S)))[1:])
        here = end
    return np.concatenate(parts)


def run(force, chunk=7):
    """Follow a curve; return the phases seen in order and the happenings."""
    state, ticks_state, phases, happenings = PhaseState(), no_ticks(), [], []
    seconds = np.arange(len(force)) * STEP_S
    for start in range(0, len(force), chunk):
        part = slice(start, start + chunk)
        ticks_state, ticks = gather(ticks_state, seconds[part], force[part])
        for tick in range(len(ticks)):
            one = slice(tick, tick + 1)
            state, new = follow(state, RULES, Ticks(ticks.seconds[one], ticks.force_n[one]))
            happenings += [h.kind for h in new]
            if not phases or phases[-1] is not state.phase:
                phases.append(state.phase)
    return phases, happenings


def staircase(steps: int, size: float) -> list[tuple[float, float]]:
    """Strokes of ``size`` newtons in 1 s with rests of 1.5 s."""
    legs = []
    for step in range(1, steps + 1):
        legs += [(1.0, step * size), (1.5, step * size * 0.995)]
    return legs


def test_a_brittle_failure_parts_at_once_and_ends_in_slack():
    """Slack, rising and resting in turn, parted, slack again."""
    phases, happenings = run(
        curve((2, 0), *staircase(10, 450), (0.05, 300), (1, 250), (2, 0), (5, 0))
    )
    assert happenings == ["began", "parted", "ended"]
    assert phases[0] is phases[-1] is Phase.SLACK
    assert Phase.RESTING in phases
    assert Phase.PARTED in phases


def test_wound_back_whole_is_eased_not_parted():
    """A staircase up and the same staircase down."""
    up = staircase(10, 450)
    down = [(s, 4500 - f) for s, f in up]
    phases, happenings = run(curve((2, 0), *up, *down, (5, 0)))
    assert happenings == ["began", "eased", "ended"]
    assert Phase.PARTED not in phases


def test_wood_giving_way_slowly_is_parted():
    """Softwood: a rounded top, then a slow fall of a third while cranking goes on."""
    _, happenings = run(
        curve((2, 0), *staircase(8, 400), (10, 2400), (10, 1700), (10, 1000), (6, 0), (5, 0))
    )
    assert happenings == ["began", "parted", "ended"]


def test_a_crack_that_recovers_is_a_mark_and_no_end():
    """A fall of 8 % in 20 ms, then a new maximum, then the failure."""
    _, happenings = run(
        curve((2, 0), *staircase(6, 500), (0.02, 2750), (3, 4000), (0.02, 100), (2, 0), (5, 0))
    )
    assert happenings == ["began", "crack", "parted", "ended"]


def test_a_grip_that_holds_again_reopens_the_pull():
    """After parting, a new maximum: both tops belong to one pull."""
    _, happenings = run(
        curve((2, 0), (10, 2000), (0.05, 1200), (10, 3000), (0.05, 100), (2, 0), (5, 0))
    )
    assert happenings == ["began", "parted", "reopened", "crack", "parted", "ended"]


def test_a_touch_is_no_pull():
    """150 N for a fifth of a second does not start a recording."""
    _, happenings = run(curve((2, 0), (0.05, 150), (0.1, 150), (0.05, 0), (5, 0)))
    assert happenings == []


def test_a_lone_bad_reading_does_not_end_a_pull():
    """One sample at zero in the middle of a climb."""
    force = curve((2, 0), *staircase(8, 400), (5, 4000))
    force[1500] = 0.0
    _, happenings = run(force)
    assert "parted" not in happenings


@pytest.mark.parametrize("chunk", [1, 3, 50, 10_000])
def test_any_block_size_gives_the_same_story(chunk):
    """Blocks do not matter."""
    force = curve((2, 0), *staircase(6, 500), (0.02, 2750), (3, 4000), (0.02, 100), (2, 0), (5, 0))
    assert run(force, chunk) == run(force, 7)


@pytest.mark.parametrize("name", scenario_names())
def test_passing_over_calm_ticks_changes_nothing(name, monkeypatch):
    """Whole pulls of the simulated rig: in one block, in blocks, and by the rules alone."""
    force = specimen_force(simulate(name, seed=21))
    seconds = np.arange(len(force)) * STEP_S
    quick = follow(PhaseState(), RULES, Ticks(seconds, force))
    assert len(quick[1]) >= 3
    assert story(quick) == story(in_blocks(seconds, force, 37))
    monkeypatch.setattr(pull_phase._Walk, "stride", lambda _, at: at)
    assert story(quick) == story(follow(PhaseState(), RULES, Ticks(seconds, force)))
    assert story(quick) == story(in_blocks(seconds, force, 1))


def test_wood_that_gives_way_a_little_at_each_stroke_is_parted():
    """A rounded top worn down over many strokes, wound back before any tail was reached."""
    down = [
        (s, f)
        for end in (2380, 2340, 2260, 2150, 2000, 1850, 1650, 1450)
        for s, f in ((1.5, end), (4.0, end - 10))
    ]
    _, happenings = run(curve((2, 0), *staircase(8, 300), *down, (1.0, 0), (5, 0)))
    assert happenings == ["began", "parted", "ended"]


def specimen_force(simulation):
    """Specimen force by simple sums."""
    rig = simulation.rig
    net = simulation.counts - simulation.counts[50:400].mean(axis=0)
    return (net / (np.array(rig.counts_per_newton) * rig.signs)).sum(axis=1) * rig.ratio


def in_blocks(seconds, force, size):
    """Follow in blocks of ``size`` ticks."""
    state, happenings = PhaseState(), []
    for start in range(0, len(force), size):
        part = slice(start, start + size)
        state, new = follow(state, RULES, Ticks(seconds[part], force[part]))
        happenings += new
    return state, happenings


def story(followed):
    """The happenings and the state, without the window kept for slopes."""
    state, happenings = followed
    return happenings, replace(state, recent=NO_TICKS)
