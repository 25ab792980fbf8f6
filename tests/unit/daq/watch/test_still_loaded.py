"""A load counts as gone only after the force stayed low for a while, without a break."""

import pytest

from daq.watch.still_loaded import SAFE_S, LoadState, watch_load

SAFE_N = 20.0


def after(forces: list[tuple[float, float]], *, loaded: bool = True) -> LoadState:
    """Fold (seconds, newtons) into a state."""
    state = LoadState(loaded=loaded)
    for seconds, force_n in forces:
        state = watch_load(state, force_n, seconds, SAFE_N)
    return state


def test_nothing_was_put_on_so_nothing_is_on():
    """A force by itself (a hand, a draught) loads nothing: a pull or weights do."""
    assert after([(0.0, 5000.0), (1.0, 0.0)], loaded=False) == LoadState()


def test_a_load_is_gone_after_three_low_seconds_and_not_before():
    """SAFE_S is common practice, no source."""
    assert SAFE_S == 3.0
    assert after([(10.0, 5.0), (12.99, 5.0)]) == LoadState(True, 10.0)
    assert after([(10.0, 5.0), (13.0, 5.0)]) == LoadState()


@pytest.mark.parametrize("force_n", [SAFE_N, 500.0, -SAFE_N, -500.0, float("nan")])
def test_a_force_that_is_not_low_or_not_known_starts_the_wait_again(force_n):
    """At the limit is not below it; a pull the other way is a load too."""
    high = [(0.0, 1.0), (2.9, 1.0), (3.5, force_n)]
    assert after(high) == LoadState(loaded=True)
    assert after([*high, (4.0, 1.0), (6.9, 1.0)]) == LoadState(True, 4.0)
    assert after([*high, (4.0, 1.0), (7.0, 1.0)]) == LoadState()


@pytest.mark.parametrize("force_n", [0.0, 19.9, -19.9])
def test_low_is_low_in_both_directions(force_n):
    assert after([(0.0, force_n), (3.0, force_n)]) == LoadState()


def test_the_wait_begins_at_any_time_of_the_board_also_at_zero():
    """A clock that starts at 0 s is a time like any other."""
    assert after([(0.0, 1.0)]) == LoadState(True, 0.0)
    assert after([(0.0, 1.0), (1.0, 1.0)]) == LoadState(True, 0.0)


def test_once_gone_it_stays_gone_until_something_loads_it_again():
    gone = after([(0.0, 1.0), (3.0, 1.0)])
    assert watch_load(gone, 900.0, 4.0, SAFE_N) == LoadState()
