"""Which cue when: a fold over readings."""

from dataclasses import replace
from itertools import pairwise

import pytest

from daq.live_reading import Phase, Recording, RecordingState, Trip
from tui.pace import UNKNOWN, Pace
from tui.sounds import BELLS, Cue, Listening, listen

TRIP = Trip("specimen force", 7, 6210.0, "over the stop")


def heard_over(readings, *, step_s=1 / 15, pace=UNKNOWN, **options):
    """Return (time, cue) over readings that come 15 times a second."""
    heard, cues = Listening(), []
    for tick, reading in enumerate(readings):
        heard, now = listen(heard, reading, pace, tick * step_s, **options)
        cues += [(tick * step_s, cue) for cue in now]
    return cues


def test_silence_while_nothing_happens(reading_at):
    assert heard_over([reading_at()] * 60) == []


@pytest.mark.parametrize("sound_on", [True, False])
def test_stop_repeats_until_acknowledged_and_cannot_be_muted(reading_at, sound_on):
    stopped = [reading_at(6250.0, trip=TRIP)] * 75
    times = [t for t, cue in heard_over(stopped, sound_on=sound_on) if cue is Cue.STOP]
    assert times[0] == 0.0
    assert len(times) == 5  # 5 s, every 1.2 s
    acknowledged = heard_over([*stopped, reading_at(20.0)])
    assert max(t for t, _ in acknowledged) < 5.0


def test_data_lost_sounds_at_once_and_again(reading_at):
    lost = replace(reading_at(), live=False)
    times = [t for t, cue in heard_over([reading_at()] * 3 + [lost] * 60) if cue is Cue.LOST]
    assert times[0] == pytest.approx(0.2)
    assert len(times) == 2


def test_data_lost_with_a_latched_stop_sounds_both(reading_at):
    lost = reading_at(live=False, trip=TRIP)
    cues = [cue for _, cue in heard_over([reading_at(), lost])]
    assert cues == [Cue.STOP, Cue.LOST]


def test_near_the_stop_grows_more_frequent(reading_at):
    near = heard_over([reading_at(5300.0)] * 150)
    close = heard_over([reading_at(5900.0)] * 150)
    assert {cue for _, cue in near} == {Cue.NEAR}
    assert len(close) > len(near) >= 2


def test_parted_and_saved_once_each(reading_at):
    written = RecordingState(Recording.WRITING)
    saved = RecordingState(Recording.SAVED)
    pull = [
        *[reading_at(recording=written)] * 5,
        *[reading_at(20.0, phase=Phase.PARTED, recording=written)] * 5,
        *[reading_at(20.0, phase=Phase.SLACK, recording=saved)] * 5,
    ]
    assert [cue for _, cue in heard_over(pull)] == [Cue.PARTED, Cue.SAVED]


def test_one_tick_a_quarter_turn(reading_at):
    """4 mm lead, ratio 2, 1.15 kN/mm at the hook: 575 N a quarter turn, so 11.5 s at 50 N/s."""
    pace = Pace("good", 50.0)
    times = [
        t
        for t, cue in heard_over([reading_at()] * 15 * 40, pace=pace, stroke_n=575.0)
        if cue is Cue.PACE
    ]
    assert [b - a for a, b in pairwise(times)] == pytest.approx([11.5] * 3, abs=0.1)


def test_muted_means_all_but_the_stop(reading_at):
    assert heard_over([reading_at(5900.0)] * 60, sound_on=False) == []


def test_patterns_are_unlike_each_other():
    assert len(set(BELLS.values())) == len(Cue)
