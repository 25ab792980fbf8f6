"""The word for the crank, against worked figures of the time to the maximum.

EN 1382 asks for the maximum after 90 s, give or take 30 s (from memory).
"""

import math

import pytest

from daq.live_reading import Phase
from tui.pace import Wanted, pace

WANTED = Wanted(expected_n=4500.0)


@pytest.mark.parametrize(
    ("force_n", "elapsed_s", "word"),
    [
        (2250.0, 45.0, "good"),  # on the line: 4.5 kN after 90 s
        (2250.0, 29.0, "slower"),  # would come after 58 s
        (2250.0, 31.0, "good"),  # after 62 s
        (2250.0, 59.0, "good"),  # after 118 s
        (2250.0, 61.0, "faster"),  # after 122 s
        (4600.0, 50.0, "slower"),  # the maximum came too soon
        (4600.0, 90.0, "good"),
    ],
)
def test_word(reading_at, force_n, elapsed_s, word):
    assert pace(reading_at(force_n, pull_elapsed_s=elapsed_s), WANTED).word == word


def test_target_climb_reaches_the_maximum_in_time(reading_at):
    # 4500 N in 90 s is 50 N/s; half-way on the line it is still 50 N/s
    assert pace(reading_at(2250.0, pull_elapsed_s=45.0), WANTED).target_n_per_s == pytest.approx(50)
    late = pace(reading_at(1500.0, pull_elapsed_s=60.0), WANTED)
    assert late.target_n_per_s == pytest.approx(100.0)


@pytest.mark.parametrize("changes", [{"phase": Phase.SLACK}, {"live": False}])
def test_nothing_is_said_without_a_pull(reading_at, changes):
    assert pace(reading_at(**changes), WANTED).word == ""


def test_nothing_is_said_without_an_expected_maximum(reading_at):
    said = pace(reading_at(), Wanted())
    assert said.word == "" and math.isnan(said.target_n_per_s)


def test_rests_of_the_crank_do_not_flicker(reading_at):
    """Strokes of 1.5 s every 6 s, on the line: the word stays."""
    words = set()
    for tick in range(100, 900):
        seconds = tick / 10
        stroke, within = divmod(seconds, 6.0)
        force = 300.0 * (stroke + min(within / 1.5, 1.0))
        words.add(pace(reading_at(force, pull_elapsed_s=seconds), WANTED).word)
    assert words == {"good"}
