"""What happens between two reads: zero, the start and end of a pull, trips, the link."""

from datetime import UTC, datetime

import numpy as np
import pytest

from daq.faults import Fault
from daq.force.zero import NotQuiet
from daq.live_reading import Phase, RecordingState
from daq.live_view import live_reading
from daq.record.recorder import Begin, End, Later, Note, Rows
from daq.samples import Flag
from daq.wall_anchor import WallAnchor
from daq.wire.decoded import WireEvent


def leg(start, end, seconds):
    """A straight run of forces at 100 samples a second."""
    return np.linspace(start, end, round(seconds * 100))


def zeroed(bench, **settings):
    """A bench with three quiet seconds and a zero."""
    made = bench(**settings)
    made.feed(leg(0, 0, 3))
    made.session.zero(made.now_ns)
    return made


def one_pull(made, top=3000.0):
    """A climb, a break, and slack."""
    made.feed(leg(0, top, 10))
    made.feed(leg(100, 0, 1))
    made.feed(leg(0, 0, 5))


def reading(made, now_ns=None):
    """What the screen would see."""
    return live_reading(made.session, RecordingState(), now_ns or made.now_ns)


def test_no_number_is_shown_before_a_zero(bench):
    """The force is unknown, with the reason and what to do."""
    made = bench()
    made.feed(leg(0, 0, 3))
    seen = reading(made)
    assert not seen.live
    assert "zero" in seen.unknown_because
    assert np.isnan(seen.force_n)


def test_force_at_the_specimen_is_ratio_times_the_cells(bench):
    """2:1 lever: 1000 N at the cells are 2000 N at the specimen."""
    made = zeroed(bench)
    made.feed(leg(2000, 2000, 1))
    seen = reading(made)
    assert seen.live
    assert seen.force_n == pytest.approx(2000, abs=1)
    assert seen.at_cells_n == pytest.approx(1000, abs=1)
    assert [cell.share for cell in seen.cells] == pytest.approx([0.5, 0.5], abs=0.01)
    assert seen.room_n == pytest.approx(4000, abs=1)


def test_a_pull_starts_and_ends_by_itself_with_what_came_before(bench):
    """Begin with the 3 s of slack before, rows, and an end with result and zero after."""
    made = zeroed(bench)
    one_pull(made)
    kinds = [type(message) for message in made.offered]
    assert kinds[0] is Begin
    assert kinds[-1] is End
    assert {Rows, Note} <= set(kinds)
    begin, end = made.offered[0], made.offered[-1]
    assert begin.past[0]["index"][0] == 0
    assert end.result["outcome"] == "parted"
    assert end.result["maximum_n"] == pytest.approx(3000, abs=1)
    assert end.zero_after is not None


def test_every_sample_of_a_pull_is_offered_once_and_in_order(bench):
    """The past of Begin and the rows join without a seam."""
    made = zeroed(bench)
    one_pull(made)
    blocks = [*made.offered[0].past, *(m.samples for m in made.offered if isinstance(m, Rows))]
    index = np.concatenate([block["index"] for block in blocks])
    assert np.array_equal(index, np.arange(len(index)))


def test_a_zero_is_refused_during_a_pull_and_while_moving(bench):
    """The old zero stays."""
    made = zeroed(bench)
    before = made.session.zero_taken
    made.feed(leg(0, 2000, 5))
    with pytest.raises(NotQuiet, match="pull is on"):
        made.session.zero(made.now_ns)
    assert made.session.zero_taken is before


def test_a_zero_can_be_undone(bench):
    """Back to the one before; the first one has none before it."""
    made = zeroed(bench)
    first = made.session.zero_taken
    made.feed(leg(20, 20, 3))
    made.session.zero(made.now_ns)
    made.session.undo_zero()
    assert made.session.zero_taken is first
    with pytest.raises(Fault):
        made.session.undo_zero()


def test_zeros_are_taken_by_themselves_before_each_pull_where_asked(bench):
    """Headless: quiet and slack is enough."""
    made = bench(auto_zero=True)
    made.feed(leg(0, 0, 3))
    assert made.session.zeroed
    one_pull(made)
    one_pull(made)
    before = [m.header.zero_before.taken_ns for m in made.offered if isinstance(m, Begin)]
    assert len(set(before)) == 2


def test_a_trip_is_kept_in_the_file_and_latched(bench):
    """Over the stop: a note, the result names it, low force alone does not release it."""
    made = zeroed(bench)
    one_pull(made, top=6100.0)
    assert [trip.cause for trip in made.trips] == ["specimen force"]
    assert "specimen force" in made.offered[-1].result["trip"]
    assert reading(made).trip is not None
    made.session.acknowledge(made.now_ns)
    assert reading(made).trip is None


def test_a_trip_is_not_released_under_load(bench):
    """Wind back first."""
    made = zeroed(bench)
    made.feed(leg(0, 6100, 10))
    with pytest.raises(Fault, match="wind back"):
        made.session.acknowledge(made.now_ns)


def test_silence_makes_the_force_unknown_and_trips(bench):
    """Never the last good number as if live."""
    made = zeroed(bench)
    made.feed(leg(0, 1000, 2))
    now_ns = made.silence(0.6)
    assert [trip.cause for trip in made.trips] == ["silence"]
    seen = reading(made, now_ns)
    assert not seen.live
    assert np.isnan(seen.force_n)


def test_saturation_makes_the_force_unknown(bench):
    """A clipped converter says "at least"."""
    made = zeroed(bench)
    made.feed(leg(100, 100, 0.1), flags=int(Flag.SATURATED))
    assert reading(made).unknown_because == "a converter is at its end"
    assert made.trips[0].cause == "saturated"


def test_a_board_restart_takes_the_zero_away(bench):
    """A restarted board may count from somewhere else."""
    made = zeroed(bench)
    made.feed(
        leg(0, 0, 0.1),
        flags=int(Flag.RESTART),
        events=(WireEvent("restart", made.index, made.now_ns),),
    )
    assert not made.session.zeroed
    assert made.trips[0].cause == "board restart"


def test_a_lost_link_ends_the_pull_and_keeps_it(bench):
    """The file says why it ended; the zero is gone; the words are on the screen."""
    made = zeroed(bench)
    made.feed(leg(0, 1500, 5))
    made.session.link_lost("the cable was pulled", made.now_ns)
    end = made.offered[-1]
    assert isinstance(end, End)
    assert end.result["ended_because"] == "the cable was pulled"
    assert reading(made).unknown_because == "the cable was pulled"
    assert reading(made).phase is not Phase.SLACK  # for all anybody knows it is still loaded
    assert reading(made).still_loaded


def test_still_loaded_until_three_seconds_below_the_safe_force(bench):
    """Do not reach in: not at the break, not in the first two seconds after."""
    made = zeroed(bench)
    made.feed(leg(0, 3000, 10))
    made.feed(leg(0, 0, 2))
    assert reading(made).still_loaded
    made.feed(leg(0, 0, 2))
    assert not reading(made).still_loaded


def test_a_word_on_a_pull_needs_a_pull(bench):
    """And then it is handed on with its reason."""
    made = zeroed(bench)
    with pytest.raises(Fault, match="no pull yet"):
        made.session.amend_last({"mode": "withdrawal"}, "judged at the rig")
    one_pull(made)
    made.session.amend_last({"mode": "withdrawal"}, "judged at the rig")
    assert made.offered[-1] == Later({"mode": "withdrawal"}, "judged at the rig")


def test_bad_lines_and_gaps_are_counted_and_kept(bench):
    """In a pull they become notes of the file."""
    made = zeroed(bench)
    made.feed(leg(0, 1500, 5))
    made.feed(
        leg(1500, 1600, 0.2),
        events=(
            WireEvent("short", made.index, made.now_ns, 1, "123"),
            WireEvent("gap", made.index, made.now_ns, 4),
        ),
    )
    seen = reading(made)
    assert (dict(seen.bad_lines), seen.gaps, seen.lost_samples) == ({"short": 1}, 1, 4)
    notes = [m.event.kind.value for m in made.offered if isinstance(m, Note)]
    assert notes == ["bad line", "gap"]


def test_a_flood_of_bad_lines_is_one_note_and_counted_whole(bench):
    """600 lines without a field in one read: the recorder's queue must not fill with them."""
    made = zeroed(bench)
    made.feed(leg(0, 1500, 5))
    at = made.index
    flood = [WireEvent("short", at, made.now_ns, 1, "1,2")] * 600
    gap = [WireEvent("gap", at, made.now_ns, 4), WireEvent("short", at, made.now_ns, 2, "3")]
    made.feed(leg(1500, 1600, 0.05), events=tuple(flood + gap))
    notes = [m.event for m in made.offered if isinstance(m, Note)]
    assert [(n.kind.value, n.value, n.text) for n in notes] == [
        ("bad line", 600.0, "short: 1,2"),
        ("gap", 4.0, ""),
        ("bad line", 2.0, "short: 3"),
    ]
    assert reading(made).bad_lines == {"short": 602}


def test_phase_and_elapsed_time_of_a_pull(bench):
    """The screen knows where the pull stands."""
    made = zeroed(bench)
    made.feed(leg(0, 2000, 10))
    seen = reading(made)
    assert seen.phase is Phase.RISING
    assert seen.pull_number == 1
    assert seen.pull_elapsed_s == pytest.approx(9.4, abs=0.1)  # from 2 % of the stop on
    assert seen.climb_n_per_s == pytest.approx(200, rel=0.05)


def test_without_a_board_nothing_is_zeroed_or_released(bench):
    """The last good counts are no counts of now."""
    made = zeroed(bench)
    made.feed(leg(0, 6100, 10))
    made.feed(leg(0, 0, 6))
    made.session.link_lost("the cable was pulled", made.now_ns)
    with pytest.raises(NotQuiet, match="cable was pulled"):
        made.session.zero(made.now_ns)
    with pytest.raises(Fault, match="force is unknown"):
        made.session.acknowledge(made.now_ns)
    assert made.session.state.guard.trip is not None


def test_a_zero_says_when_and_from_what_it_was_taken(bench):
    """By the wall clock as it stood when the session began, whatever is done to it since."""
    made = bench(auto_zero=True)
    made.session.anchor = WallAnchor(datetime(2026, 11, 25, 9, 13, 58, tzinfo=UTC), 0)
    made.feed(np.zeros(400))
    assert reading(made).zero_note == "at 09:14 from 200 quiet samples"


def test_a_load_that_hangs_on_when_the_board_is_back_is_not_zeroed_away(bench):
    """The cable came out at 3 kN, the weights page was opened: z must not make that nothing."""
    made = zeroed(bench)
    made.feed(leg(0, 3000, 5))
    made.session.link_lost("the cable was pulled", made.now_ns)
    made.session.weigh(on=True)
    made.session.link_back()
    made.feed(np.full(400, 3000.0))
    with pytest.raises(NotQuiet, match=r"looks like a load.*z once more within 10 s"):
        made.session.zero(made.now_ns)
    assert not made.session.zeroed
    assert reading(made).still_loaded
    made.feed(leg(3000, 0, 2))
    made.feed(np.zeros(300))
    made.session.zero(made.now_ns)
    assert made.session.force_n == pytest.approx(0.0, abs=1.0)


def test_a_person_who_asks_again_has_said_that_nothing_hangs_there(bench):
    """Another beam was mounted: what it weighs less is no load."""
    made = zeroed(bench)
    made.session.link_lost("the cable was pulled", made.now_ns)
    made.session.link_back()
    made.feed(np.full(400, -300.0))
    with pytest.raises(NotQuiet, match="looks like a load"):
        made.session.zero(made.now_ns)
    made.session.zero(made.now_ns + 9_000_000_000)
    assert made.session.zeroed


def test_asking_again_much_later_is_asking_anew(bench):
    made = zeroed(bench)
    made.feed(leg(0, 0, 1))
    made.session.link_lost("the cable was pulled", made.now_ns)
    made.session.link_back()
    made.feed(np.full(400, -300.0))
    for later_ns in (0, 11_000_000_000, 30_000_000_000):
        with pytest.raises(NotQuiet, match="looks like a load"):
            made.session.zero(made.now_ns + later_ns)


def test_a_zero_that_is_taken_by_itself_never_insists(bench):
    made = bench(auto_zero=True)
    made.feed(leg(0, 0, 4))
    made.session.link_lost("the cable was pulled", made.now_ns)
    made.session.link_back()
    made.feed(np.full(1500, -300.0))
    assert not made.session.zeroed


def test_a_board_that_went_away_leaves_no_counts_of_now(bench):
    """Weights would be taken from them."""
    made = zeroed(bench)
    assert len(made.session.past.counts(2.0)[0])
    made.session.link_lost("the cable was pulled", made.now_ns)
    assert not len(made.session.past.counts(2.0)[0])
