"""The clock's rules at their edges, line by line, from docs/wire_protocol.md; numbers by hand."""

import numpy as np
import pytest

from daq.rig.rig import Cell, Link
from daq.samples import Chunk, Flag
from daq.wire.decoders import make_decoder
from daq.wire.silence import Silence

LINK = Link(fields=("time_us", "left"))
CELL = Cell("left", "left", 2000.0)
STEP = 10_000


def decoded(clocks, arrivals_ns=None):
    """Samples and events of lines with these clocks, each in a block of its own."""
    decoder = make_decoder(LINK, [CELL])
    arrivals_ns = [7] * len(clocks) if arrivals_ns is None else arrivals_ns
    parts = [decoder.feed(Chunk(b"cut\n", arrivals_ns[0]))]
    for clock, arrival_ns in zip(clocks, arrivals_ns, strict=True):
        parts.append(decoder.feed(Chunk(b"%d,7\n" % clock, arrival_ns)))
    parts.append(decoder.finish())
    events = [event for part in parts for event in part.events if event.kind != "first line"]
    return np.concatenate([part.samples for part in parts]), events


def told(events):
    return [(event.kind, event.count) for event in events]


@pytest.mark.parametrize(
    ("before", "missing"),
    [
        ([0, 1], []),  # one step is no usual step yet
        ([0, 1, 2], []),
        ([0, 1, 2, 3], [("gap", 3)]),  # three steps are
        ([0, 1, 2, 3, 4, 5, 6], [("gap", 3)]),
        (list(range(17)), [("gap", 3)]),
    ],
)
def test_a_gap_is_known_from_three_steps_on(before, missing):
    clocks = [STEP * k for k in (*before, before[-1] + 4, before[-1] + 5)]
    samples, events = decoded(clocks)
    assert told(events) == missing
    assert len(samples) == len(clocks)
    assert (samples["flags"][len(before)] != 0) == bool(missing)


def test_the_usual_step_is_the_median_not_the_shortest():
    """Steps of 5, 10, 10 ms, then 16: one missing at 10 ms, two it would be at 5."""
    samples, events = decoded([0, 5_000, 15_000, 25_000, 41_000, 51_000])
    assert told(events) == [("gap", 1)]
    assert len(samples) == 6


def test_a_board_that_goes_slower_is_believed_after_a_group_of_steps():
    """45 steps of 10 ms, then steps of 20: gaps until a group of fifteen of them is the usual."""
    clocks = np.cumsum([0, *[STEP] * 45, *[2 * STEP] * 40]).tolist()
    samples, events = decoded(clocks)
    assert len(samples) == len(clocks)
    assert told(events) == [("gap", 1)] * 15
    assert not samples["flags"][-25:].any()


def test_a_stray_line_that_comes_twice_does_not_bear_itself_out():
    """The repeat is a repeat; the stray is a jump; what follows is on course."""
    course = [STEP * k for k in range(20)]
    samples, events = decoded([*course, 5_000_000, 5_000_000, 20 * STEP, 21 * STEP])
    assert sorted(told(events)) == [("jump back", 1), ("repeated", 1)]
    assert samples["board_us"].tolist() == [*course, 20 * STEP, 21 * STEP]


@pytest.mark.parametrize(("leap_us", "kept"), [(1_000_000, True), (61_000_000, False)])
def test_a_last_line_after_a_gap_is_kept_if_the_gap_is_within_a_minute(leap_us, kept):
    """Nothing follows that could tell: the end of the stream decides by the step alone."""
    course = [STEP * k for k in range(20)]
    samples, events = decoded([*course, course[-1] + leap_us])
    assert len(samples) == 20 + kept
    assert told(events) == ([("gap", 99)] if kept else [("jump back", 1)])


def test_a_restart_takes_a_microsecond_at_least():
    """No usual step and no time by the host's clock: time still goes on."""
    samples, events = decoded([5_000_000, 100, 10_100])
    assert told(events) == [("restart", 0)]
    assert samples["board_us"].tolist() == [5_000_000, 5_000_001, 5_010_001]
    assert samples["flags"][1] == Flag.RESTART | Flag.GAP


# -- without a clock ------------------------------------------------------------------------------

MS = 1_000_000


def breaks(steps_ms, lines=1):
    """Blocks of so many lines, so many ms apart: which of them came after a silence."""
    silence, at, found = Silence(), 0, []
    for number, step in enumerate((0, *steps_ms)):
        at += int(step * MS)
        if silence.breaks(np.full(lines, at)):
            found.append(number)
    return found


@pytest.mark.parametrize(("wait_ms", "found"), [(350, []), (351, [31])])
def test_a_silence_is_ten_steps_and_a_quarter_second(wait_ms, found):
    """Thirty steps of 10 ms: 10 x 10 + 250 ms are no silence, more is."""
    assert breaks([10] * 30 + [wait_ms, 10, 10]) == found


def test_before_any_step_is_known_nothing_is_a_silence():
    assert breaks([60_000, 10]) == []
    silence = Silence()
    assert silence.breaks(np.empty(0, np.int64)) == []


def test_a_silence_is_not_learnt_as_a_step():
    """Two silences of a second, one after the other, are two."""
    assert breaks([10] * 30 + [1000, 1000, 10]) == [31, 32]


def test_a_block_of_many_lines_makes_the_step_shorter():
    """Ten lines each 100 ms are a step of 10 ms."""
    assert breaks([100] * 15 + [351], lines=10) == [16]
    assert breaks([100] * 15 + [349], lines=10) == []


def test_the_usual_step_follows_the_board_within_seconds():
    """At 10 ms for a minute, then 100 ms: 1250 ms are no silence any more, 1300 ms are one."""
    slower = [10] * 6000 + [100] * 100
    assert breaks([*slower, 1240]) == []
    assert breaks([*slower, 1260]) == [6101]


def test_within_a_block_no_line_is_a_silence():
    silence = Silence()
    assert silence.breaks(np.array([0, 5_000 * MS])) == []
    assert silence.breaks(np.array([5_010 * MS])) == []


def test_the_first_and_the_last_tick_of_the_clock_are_times():
    """0 and 2**32 - 1 are within the range; one more is not."""
    assert decoded([2**32 - 1, 0, 1])[0]["board_us"].tolist() == [2**32 - 1, 2**32, 2**32 + 1]
    assert told(decoded([2**32, 5])[1]) == [("out of range", 1)]
