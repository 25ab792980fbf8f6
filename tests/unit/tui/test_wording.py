"""Exact words and digits for a reading."""

import math
from dataclasses import replace

import pytest

from daq.live_reading import CellReading, Phase, Trip
from tui import wording
from tui.pace import Pace
from tui.wording import Screen

NAN = float("nan")
TRIP = Trip("specimen force", 7, 6210.0, "over the stop")


@pytest.mark.parametrize(
    ("unit", "shown"),
    # 1 kgf = 9.80665 N, 1 lbf = 4.4482216152605 N, exact by definition (3rd CGPM 1901; 1959)
    [("kN", "4.41"), ("N", "4413"), ("kgf", "450.0"), ("lbf", "992")],
)
def test_digits_in_every_unit(unit, shown):
    assert wording.digits(450 * 9.80665, unit) == shown


def test_no_minus_nothing_and_no_number_without_one():
    assert wording.digits(-0.4, "kN") == "0.00"
    assert wording.digits(NAN, "kN") == "?"


@pytest.mark.parametrize("unit", wording.UNITS)
def test_numerals_never_outgrow_their_frame(unit):
    frame = wording.widest_digits(6200.0, unit)
    for force in (-6200.0, -1.0, 0.0, 999.6, 6199.9, 6500.0):
        assert len(wording.digits(force, unit)) <= len(frame)


def test_what_the_whole_screen_says(reading_at):
    assert wording.screen_of(reading_at()) is Screen.NUMBER
    assert wording.screen_of(reading_at(trip=TRIP)) is Screen.STOP
    assert wording.screen_of(reading_at(trip=TRIP, live=False)) is Screen.UNKNOWN
    parted = reading_at(900.0, still_loaded=True, phase=Phase.PARTED)
    assert wording.screen_of(parted) is Screen.LOADED
    assert wording.screen_of(reading_at(still_loaded=True)) is Screen.NUMBER


def test_unknown_never_shows_the_last_good_number(reading_at):
    shown = wording.as_seen(reading_at(4380.0), 1_500_000_000, None)
    assert not shown.live
    assert shown.unknown_because == "no reading for 2 s"
    assert math.isnan(shown.force_n) and math.isnan(shown.at_cells_n)
    assert wording.room(shown, "kN") == "room left unknown"
    assert "4.38" not in wording.chain(shown, "kN")
    words = " ".join((*wording.alarm(shown, "kN").words, *wording.alarm(shown, "kN").lines))
    assert words == "FORCE UNKNOWN DO NOT CRANK no reading for 2 s"


def test_a_fresh_reading_is_left_alone(reading_at):
    reading = reading_at()
    assert wording.as_seen(reading, 900_000_000, None) is reading


def test_why_a_session_ended_is_said(reading_at):
    shown = wording.as_seen(reading_at(), 5_000_000_000, "the cable came out")
    assert shown.unknown_because == "the cable came out"


def test_room_in_words(reading_at):
    assert wording.room(reading_at(4380.0), "kN") == "room left 1.82 kN"
    assert wording.room(reading_at(6244.0), "kN") == "OVER THE STOP by 0.04 kN"


@pytest.mark.parametrize(
    ("force", "state"),
    [(0, "free"), (5199, "free"), (5200, "near"), (5700, "close"), (6199, "close"), (6200, "gone")],
)
def test_room_state(reading_at, force, state):
    assert wording.room_state(reading_at(float(force))) == state


def test_both_forces_are_named(reading_at):
    assert (
        wording.chain(reading_at(4400.0), "kN")
        == "2.200 kN at the cells × 2.000 = 4.40 kN at the specimen"
    )


def test_still_loaded_says_how_much(reading_at):
    reading = reading_at(912.0, still_loaded=True, phase=Phase.PARTED)
    assert wording.alarm(reading, "kN").lines[0] == "Still loaded: 0.91 kN - do not reach in"


def test_a_cell_that_is_lifted_a_little_has_its_whole_room_left():
    assert "1.96 kN left" in wording.cell(CellReading("left", -10.0, 1961.33, 0.5), "kN")


def test_cell_of_a_pair_with_too_much_is_called_uneven():
    # 65/35 is common practice, no source
    assert "UNEVEN" in wording.cell(CellReading("left", 900.0, 1961.33, 0.66), "kN")
    assert "UNEVEN" not in wording.cell(CellReading("left", 900.0, 1961.33, 0.6), "kN")
    assert "OVER ITS CAPACITY" in wording.cell(CellReading("left", 2000.0, 1961.33, 0.6), "kN")


def test_climb_and_aim(reading_at):
    pace = Pace("good", 45.0)  # 2310 N after 42 s are 3.3 kN/min: what the word is judged by
    assert wording.climb(reading_at(), pace, "kN") == "so far 3.3 aim 2.7 kN/min"
    assert wording.climb(reading_at(), Pace("", NAN), "N") == "climb 3000 N/min"


def test_clock():
    assert [wording.clock(s) for s in (0, 59.9, 60, 601, NAN)] == [
        "0:00", "0:59", "1:00", "10:01", "-:--",
    ]  # fmt: skip


def test_bad_lines_by_kind(reading_at):
    reading = reading_at(bad_lines={"short": 2, "long": 0, "checksum": 1}, gaps=1, lost_samples=14)
    assert (
        wording.bad_lines(reading) == "3 bad lines (2 short, 1 checksum) · 1 gap (14 samples lost)"
    )


def test_no_zero_yet_says_how_to_take_it(reading_at):
    reading = reading_at(live=False, unknown_because="no zero taken", zeroed=False,
                         phase=Phase.SLACK, pull_number=0)  # fmt: skip
    lines = wording.alarm(reading, "kN").lines
    assert lines[0] == "PRESS Z AT SLACK"
    assert any("do not crank" in line for line in lines)
    tripped = replace(reading, trip=TRIP)
    lines = wording.alarm(tripped, "kN").lines
    assert lines[0] == "DO NOT CRANK"
    assert any(line.startswith("z takes the zero") for line in lines)


def test_a_board_lost_under_load_says_so(reading_at):
    """Nobody knows the force: hands stay away until it is wound back."""
    gone = wording.unknown(reading_at(3000.0, still_loaded=True, trip=TRIP), "the board went away")
    assert any("MAY STILL BE LOADED: do not reach in" in s for s in wording.alarm(gone, "kN").lines)
    slack = wording.unknown(reading_at(0.0, trip=TRIP), "the board went away")
    assert not any("STILL" in line for line in wording.alarm(slack, "kN").lines)


def test_stop_says_what_to_do_next(reading_at):
    assert wording.alarm(reading_at(6250.0, trip=TRIP), "kN").lines[0] == "WIND BACK"
    slack = reading_at(10.0, trip=TRIP, phase=Phase.SLACK)
    assert wording.alarm(slack, "kN").lines[0] == "PRESS A TO GO ON"


@pytest.mark.parametrize(
    ("force", "pace", "said"),
    [
        (2000.0, Pace("good", 45.0), ("so far 2.9 aim 2.7 kN/min", "GOOD")),
        (2000.0, Pace("", NAN), ("climb 3.0 kN/min", "RISING")),
        (5300.0, Pace("good", 45.0), ("to the stop: 0.90 kN", "NEAR")),
        (5900.0, Pace("faster", 45.0), ("to the stop: 0.30 kN", "NEAR!!")),
    ],
)
def test_near_the_stop_outranks_the_pace(reading_at, force, pace, said):
    assert wording.first(reading_at(force), pace, "kN") == said
