"""What a session tells, marks and refuses when readings or the board are not what they seem."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from daq.doubts import BoardName
from daq.force.zero import NotQuiet
from daq.live_reading import RecordingState
from daq.live_view import live_reading
from daq.record.recorder import Begin, End, Rows
from daq.samples import Flag, sample_dtype
from daq.wall_anchor import HostClock
from daq.wire.decoded import Decoded, WireEvent

GAIN, ZERO = 2000.0, (12_000, -5_000)


def zeroed(bench, **settings):
    """A bench with three noisy but quiet seconds and a zero."""
    made = bench(**settings)
    feed(made, np.zeros(300))
    made.session.zero(made.now_ns)
    return made


def feed(made, force_n, change=lambda counts: None, chunk=5):
    """Feed specimen forces with 20 counts of noise; ``change`` spoils the counts first."""
    force_n = np.asarray(force_n, dtype=float)
    noise = np.random.default_rng(made.index).normal(0, 20, (len(force_n), 2))
    counts = np.rint(force_n[:, None] / 4 * GAIN + np.array(ZERO) + noise).astype(np.int32)
    change(counts)
    for start in range(0, len(counts), chunk):
        part = counts[start : start + chunk]
        block = np.zeros(len(part), dtype=sample_dtype(2))
        block["index"] = np.arange(made.index, made.index + len(part))
        block["board_us"] = block["index"] * 10_000
        block["arrival_ns"] = block["board_us"].astype(np.int64) * 1000
        block["counts"] = part
        made.index += len(part)
        made.take(Decoded(block, ()))


def reading(made):
    """What the screen would see."""
    return live_reading(made.session, RecordingState(), made.now_ns)


def kept_flags(made):
    """Flags of every sample offered to the recorder."""
    return np.concatenate([m.samples["flags"] for m in made.offered if isinstance(m, Rows)])


@pytest.mark.parametrize("silent", [0, -1, 77_000])
def test_a_missing_channel_trips_and_hides_the_force(bench, silent):
    """One cell gives a constant while the other works: half the force is missing."""
    made = zeroed(bench)
    feed(made, np.linspace(0, 1000, 300))

    def lost(counts):
        counts[:, 1] = silent

    feed(made, np.linspace(1000, 1500, 150), lost)
    assert [trip.cause for trip in made.trips] == ["channel missing"]
    assert made.trips[0].message == f"cell right at {silent} stands still"
    seen = reading(made)
    assert not seen.live
    assert seen.unknown_because.startswith(f"cell right at {silent} stands still: look at its plug")
    assert np.isnan(seen.force_n)
    assert (kept_flags(made) & Flag.STUCK).any()
    feed(made, np.full(10, 1500.0))  # it is back
    assert reading(made).live


def test_stuck_values_of_every_cell_are_told_and_marked(bench):
    """The board repeats its last reading while the crank goes on."""
    made = zeroed(bench)
    feed(made, np.linspace(0, 1000, 300))
    last = made.session.newest.samples["counts"][-1].copy()

    def repeat(counts):
        counts[:] = last

    feed(made, np.linspace(1000, 1500, 150), repeat)
    assert [trip.cause for trip in made.trips] == ["channel missing"]
    assert "every cell left at" in made.trips[0].message
    assert not reading(made).live


@pytest.mark.parametrize("silent", [0, -1])
def test_no_zero_is_taken_from_a_converter_that_does_not_answer(bench, silent):
    """All zeros or all ones are no quiet cell."""

    def lost(counts):
        counts[:, 0] = silent

    made = bench()
    feed(made, np.zeros(300), lost)
    with pytest.raises(NotQuiet, match=rf"cell 1 gives {silent} and nothing else.*plug"):
        made.session.zero(made.now_ns)


def test_a_cell_that_stands_still_is_not_zeroed(bench):
    made = zeroed(bench)

    def frozen(counts):
        counts[:, 0] = 12_345

    feed(made, np.zeros(300), frozen)
    with pytest.raises(NotQuiet, match="cell left at 12345 stands still"):
        made.session.zero(made.now_ns)


@pytest.mark.parametrize("samples", [1, 2, 4])
def test_a_garbled_number_is_not_the_maximum_and_is_told(bench, samples):
    """A wrong digit, still a number: 1500 N for a few samples at 1000 N."""
    made = zeroed(bench)

    def garble(counts):
        counts[40 : 40 + samples, 0] += round(500 / 2 * GAIN)

    feed(made, np.linspace(900, 1000, 100), garble)
    assert reading(made).maximum_n == pytest.approx(1000, abs=6)  # a few samples late
    assert reading(made).live
    assert sum("stood out alone" in words for words in made.session.notices) == 1


def test_a_factor_of_two_is_suspect_while_it_lasts(bench):
    """Twice the force from one sample to the next, for half a second: unknown, then known again."""
    made = zeroed(bench)
    feed(made, np.linspace(0, 2000, 800))

    def doubled(counts):
        counts *= 2

    feed(made, np.full(50, 2000.0), doubled)
    seen = reading(made)
    assert "not believed, look at plugs and converters" in seen.unknown_because
    assert any("no crank leaps to 40" in words for words in made.session.notices)
    assert seen.maximum_n == pytest.approx(2000, abs=5)
    assert np.count_nonzero(kept_flags(made) & Flag.SUSPECT) == 50
    feed(made, np.linspace(2000, 2100, 100))
    assert reading(made).live
    assert reading(made).maximum_n == pytest.approx(2100, abs=5)
    feed(made, np.zeros(500))
    end = next(m for m in made.offered if isinstance(m, End))
    assert end.result["maximum_n"] == pytest.approx(2100, abs=5)


def test_a_suspect_force_over_the_stop_still_trips(bench):
    """The guard does not wait to be convinced."""
    made = zeroed(bench)
    feed(made, np.linspace(0, 3500, 800))

    def doubled(counts):
        counts *= 2

    feed(made, np.full(1, 3500.0), doubled)
    assert [trip.cause for trip in made.trips] == ["specimen force"]


def test_a_computer_that_slept_trips_though_its_own_clock_stood_still(bench):
    """The board's clock leapt by five minutes, the host's by one sample."""
    made = zeroed(bench)
    feed(made, np.linspace(0, 1000, 300))
    block = np.zeros(1, dtype=sample_dtype(2))
    block["index"], block["arrival_ns"] = made.index, made.now_ns
    block["board_us"] = made.index * 10_000 + 300_000_000
    block["counts"] = made.session.newest.samples["counts"][-1]
    block["flags"] = int(Flag.GAP)
    made.take(Decoded(block, ()))
    assert [trip.cause for trip in made.trips] == ["silence"]
    assert made.trips[0].message == "no data for 300.0 s: force unknown"


def banner(text, index=0):
    return (WireEvent("message", index, 0, 1, text),)


def test_another_board_is_told_once():
    name = BoardName("# cells 2 firmware 3")
    assert name.take(banner("# cells 2 firmware 3")) == ""
    name.opened()
    assert "Another board answers: '# cells 1 firmware 9'" in name.take(
        banner("# cells 1 firmware 9")
    )
    assert name.take(banner("# a notice")) == ""
    name.opened()
    assert name.take(banner("# ready", index=5)) == ""  # in mid-stream: no banner


def test_the_board_is_written_down_and_compared_next_time(bench):
    """The banner goes into the header of each pull."""
    made = zeroed(bench, board_before="# other board")
    made.session.take(
        Decoded(np.empty(0, sample_dtype(2)), banner("# this board")), None, made.now_ns
    )
    assert any("Another board answers" in words for words in made.session.notices)
    feed(made, np.linspace(0, 1000, 300))
    begin = next(m for m in made.offered if isinstance(m, Begin))
    assert begin.header.link["board"] == "# this board"


def test_a_wall_clock_set_back_changes_no_file_of_the_session(bench, monkeypatch):
    """Wall time is asked once; the second pull starts later than the first all the same."""
    made = zeroed(bench)
    monkeypatch.setattr(HostClock, "wall", lambda _: datetime(1999, 1, 1, tzinfo=UTC))
    for _ in range(2):
        feed(made, np.linspace(0, 1000, 300))
        feed(made, np.zeros(500))
    first, second = (m.header for m in made.offered if isinstance(m, Begin))
    assert second.started_at > first.started_at > datetime(2000, 1, 1, tzinfo=UTC)
    assert second.started_at - first.started_at == timedelta(
        microseconds=(second.started_ns - first.started_ns) / 1000
    )
