"""Every fault of board and cable on a real pty: what is kept, and the words at the rig."""

import math
import time
from contextlib import suppress
from pathlib import Path

import numpy as np
import pytest
from written_board import BANNER, PERIOD_US, Board, Desk


@pytest.fixture
def desk(tmp_path):
    """A factory of desks; every session is closed."""
    made = []

    def one(**settings) -> Desk:
        made.append(Desk(tmp_path, **settings))
        return made[-1]

    yield one
    for each in made:
        with suppress(Exception):
            each.session.close()
        each.board.unplug()


def started(desk, board=None, **settings):
    """A zeroed session."""
    made = desk(**settings)
    made.start(board or Board(made.link))
    made.slack()
    return made


def climb(top=3000.0, seconds=10.0, start=0.0):
    """A straight climb at 100 lines a second."""
    return np.linspace(start, top, round(seconds * 100))


AFTER = np.zeros(500)


def test_a_cable_pulled_and_back_under_another_name(desk):
    """FORCE UNKNOWN at once; the pull is kept; the board is found again; the zero is due again."""
    made = started(desk)
    made.board.pull(climb(2000))
    made.until(lambda: made.seen.maximum_n > 1990)
    first = made.link.readlink()
    old, made.board = made.board, Board(made.link)  # plugged in elsewhere before the old one goes
    old.unplug()
    made.until(lambda: "went away" in made.seen.unknown_because)
    assert "FORCE\nUNKNOWN\nDO NOT CRANK" in made.screen
    assert "look at the cable and the board" in made.screen
    assert made.link.readlink() != first
    recording, result = made.saved()
    assert result.max_force_n == pytest.approx(2000, abs=10)
    assert "went away" in recording.result["ended_because"]
    made.until(lambda: any("The board is back" in words for words in made.seen.notices))
    assert not made.seen.zeroed
    assert made.seen.trip.cause == "silence"
    made.board.write(b"\n" + BANNER)
    made.slack()
    made.session.acknowledge()
    made.until(lambda: made.seen.trip is None)
    made.board.pull([*climb(2500), *AFTER])
    _, result = made.saved(2)
    assert result.max_force_n == pytest.approx(2500, abs=10)


def test_a_restart_in_a_pull(desk):
    """STOP, with words; the pull goes on; the zero is due again after it."""
    made = started(desk)
    made.board.pull(climb(1000))
    made.board.write(BANNER)
    made.board.clock_us = 200_000
    made.board.pull(climb(2000, start=1000))
    made.until(lambda: made.seen.trip is not None)
    assert made.seen.trip.cause == "board restart"
    assert "the board restarted: take the zero again" in made.screen
    assert "The board restarted. Take the zero again." in made.screen
    made.board.pull(AFTER)
    _, result = made.saved()
    assert "board restart" in " ".join(result.flags)


@pytest.mark.parametrize(
    ("first", "millis", "fields"),
    [
        (2**32 - 9_000_000, False, '["time_us", "left", "right"]'),
        ((2**32 - 9_000) * 1000, True, '["time_ms", "left", "right"]'),
    ],
    ids=["micros", "millis"],
)
def test_a_clock_that_wraps_in_a_pull(desk, first, millis, fields):
    """Nothing happens: no gap, no bad line, no word, and the time goes on."""
    made = desk(fields=fields)
    made.start(Board(made.link, first_us=first, millis=millis))
    made.slack()
    made.board.pull([*climb(3000), *AFTER])
    recording, result = made.saved()
    made.all_read()
    assert made.seen.gaps == 0
    assert dict(made.seen.bad_lines) == {"first line": 1}
    assert made.seen.trip is None
    assert result.max_force_n == pytest.approx(3000, abs=10)
    steps = np.diff(recording.samples["board_us"].astype(np.int64))
    assert set(steps.tolist()) == {PERIOD_US}
    assert result.time_to_max_s == pytest.approx(9.6, abs=0.4)


def test_a_stall_longer_than_the_limit_and_the_burst_after_it(desk):
    """Silence trips and is told; the burst is kept whole, its times are the board's."""
    made = started(desk)
    made.board.pull(climb(1000))
    made.until(lambda: made.seen.trip is not None)  # nothing comes for two seconds
    assert made.seen.trip.cause == "silence"
    assert "DO NOT CRANK" in made.screen
    assert "no data for 2." in made.screen
    made.board.pull([*climb(2000, start=1000), *AFTER])
    recording, _ = made.saved()
    made.all_read()
    assert made.seen.gaps == 0
    assert set(np.diff(recording.samples["board_us"].astype(np.int64)).tolist()) == {PERIOD_US}


def slowly(board, forces, spoil=lambda number, line: line):
    """Lines at life's pace, for what is judged by the host's clock."""
    begin = time.monotonic()
    for number, force in enumerate(forces):
        board.write(spoil(number, board.line(force)))
        while time.monotonic() < begin + number * 0.01:
            time.sleep(0.002)


@pytest.mark.parametrize("silent", [b"0", b"-1"])
def test_one_channel_missing(desk, silent):
    """A cell's plug came out: STOP and FORCE UNKNOWN name the cell."""
    made = started(desk)
    made.board.pull(climb(1000))

    def lost(_, line):
        clock, left, _ = line.split(b",")
        return b"%s,%s,%s\r\n" % (clock, left, silent)

    slowly(made.board, climb(1400, 1.6, start=1000), lost)
    made.until(lambda: made.seen.trip is not None)
    assert made.seen.trip.cause == "channel missing"
    assert f"cell right at {silent.decode()} stands still: look at its plug" in made.screen
    assert math.isnan(made.seen.force_n)


def test_one_field_missing(desk):
    """The line itself lacks a channel: no sample is made of it, and the words say what came."""
    made = started(desk)
    made.board.pull(climb(1000))
    made.board.pull(climb(1000, 6, start=1000), lambda _, line: line.rsplit(b",", 1)[0] + b"\r\n")
    made.until(lambda: made.seen.trip is not None)
    assert made.seen.trip.cause == "silence"
    made.until(lambda: made.seen.bad_lines.get("short") == 600)


def test_a_stuck_value(desk):
    """The board repeats its counts while its clock goes on: told, marked, stopped."""
    made = started(desk)
    made.board.pull(climb(1000))
    frozen = made.board.line(1000).split(b",", 1)[1]
    slowly(made.board, climb(1400, 1.6), lambda _, line: line.split(b",", 1)[0] + b"," + frozen)
    made.until(lambda: made.seen.trip is not None)
    assert made.seen.trip.cause == "channel missing"
    assert "every cell left at" in made.screen
    assert "stands still" in made.screen


def test_saturation(desk):
    """A converter at its end: "at least", never a number."""
    made = started(desk)
    made.board.pull(climb(1000))

    def full(_, line):
        return line.rsplit(b",", 1)[0] + b",8388607\r\n"

    made.board.pull(climb(1200, 0.5, start=1000), full)
    made.until(lambda: made.seen.trip is not None)
    assert made.seen.trip.cause == "saturated"
    assert "a converter is at its end" in made.screen


def spoilt_digit(at):
    """Spoil the left count of line ``at`` by one digit: 100 000 counts more."""

    def spoil(number, line):
        if number != at:
            return line
        clock, left, right = line.split(b",")
        return b"%s,%d,%s" % (clock, int(left) + 1_000_000, right)

    return spoil


def test_a_garbled_digit_that_is_still_a_number(desk):
    """Kept, told as suspect, not the maximum; neither here nor in the result."""
    made = started(desk)
    made.board.pull([*climb(2000), *AFTER], spoilt_digit(990))
    recording, result = made.saved()
    told = ("not the maximum", "not believed")
    made.until(lambda: any(words in each for words in told for each in made.seen.notices))
    assert result.max_force_n == pytest.approx(2000, abs=10)
    assert float(recording.result["maximum_n"]) == pytest.approx(2000, abs=10)
    assert recording.samples["counts"].max() > 1_900_000  # the raw number is there


def test_a_factor_of_two(desk):
    """A wrong gain pulse: not believed while it lasts, and told."""
    made = started(desk)

    def doubled(number, line):
        if not 600 <= number < 640:
            return line
        clock, left, right = line.split(b",")
        return b"%s,%d,%d\r\n" % (clock, 2 * int(left), 2 * int(right))

    made.board.pull([*climb(2500), *AFTER], doubled)
    recording, result = made.saved()
    made.until(lambda: any("no crank leaps to" in words for words in made.seen.notices))
    assert result.max_force_n == pytest.approx(2500, abs=10)
    assert float(recording.result["maximum_n"]) == pytest.approx(2500, abs=10)


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda line: line.replace(b"\r\n", b",5\r\n"), "lines have 4 fields, link.fields names 3"),
        (lambda line: line.replace(b"\r\n", b".5\r\n"), "send counts, without point or unit"),
        (lambda line: line.replace(b",", b";"), "lines are parted by a semicolon"),
        (lambda line: bytes((7 * b) % 251 | 0x80 for b in line[:-2]) + b"\n", "set link.baud"),
        (lambda line: line.replace(b"\r\n", b" N\r\n"), "without point or unit"),
    ],
    ids=["decimal comma", "decimal point", "separator", "wrong baud", "unit"],
)
def test_a_board_that_is_set_up_otherwise(desk, spoil, words):
    """No number, and what to change, in words."""
    made = desk()
    made.start(Board(made.link))
    made.board.pull(np.zeros(60), lambda _, line: spoil(line))
    made.until(lambda: words in made.seen.unknown_because, words)
    assert made.seen.samples == 0
    assert "FORCE\nUNKNOWN" in made.screen


def test_another_board_than_last_time(desk):
    """Two boards swapped between two sessions: told by the banner."""
    made = started(desk)
    made.board.pull([*climb(1000), *AFTER])
    made.saved()
    made.session.close()
    made.board.unplug()
    other = desk()
    other.start(Board(other.link), b"# cells 1 firmware 9\r\n")
    other.slack()
    assert (
        "Another board answers: '# cells 1 firmware 9'; last time it was '# cells 2" in other.screen
    )
    assert "known weight" in other.screen


def test_a_computer_that_slept(desk):
    """The board went on for five minutes: silence trips, the gap is marked, nothing is drawn."""
    made = started(desk)
    made.board.pull(climb(1000))
    made.board.clock_us += 300_000_000
    made.board.pull([*climb(1500, 5, start=1000), *AFTER])
    _, result = made.saved()
    assert "no data for 300.0 s" in made.seen.trip.message
    assert made.seen.gaps == 1
    assert made.seen.lost_samples == 30_000
    assert result.max_force_n == pytest.approx(1500, abs=10)


def sockets() -> set[str]:
    """Every socket this process has open."""
    found = set()
    for descriptor in Path("/proc/self/fd").iterdir():
        with suppress(OSError):
            found.add(str(descriptor.readlink()))
    return {target for target in found if target.startswith("socket:")}


@pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="needs the list of open files")
def test_nothing_listens(desk):
    """A running session has no socket at all, let alone one that listens."""
    before = sockets()
    made = started(desk)
    assert made.seen.zeroed
    assert sockets() <= before
