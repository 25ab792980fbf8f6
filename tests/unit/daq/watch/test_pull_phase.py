"""Phases of a pull on drawn force curves; the rules at their edges."""

import numpy as np
import pytest

from daq.live_reading import Phase
from daq.watch.pull_phase import PhaseState, follow, phase_rules
from daq.watch.ticks import gather, no_ticks

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
        for tick in ticks:
            state, new = follow(state, RULES, [tick])
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
    assert happenings == ["began", "parted", "reopened", "parted", "ended"]


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
