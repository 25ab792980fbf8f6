"""Faults are where they are asked for, do what they say, and everything adds up."""

import struct

import numpy as np
import pytest
from cobs import cobs as cobs_library

from simulators.faults import FAULTS, FaultOrder, place, read_fault
from simulators.scenario import ScenarioError
from simulators.simulation import simulate
from simulators.transmission import delivery, transmit, wire_bytes, wire_for

SIMULATION = simulate("split", 5)


def sent(orders=(), wire_format="text", simulation=SIMULATION, **options):
    transmission = transmit(simulation, wire_for(simulation, wire_format, **options), orders)
    out = [(s, True) for s in transmission.sendings if s.due_s <= transmission.ends_s]
    return transmission, delivery(out, complete=True)


def lines(transmission):
    return wire_bytes(transmission).split(b"\n")[:-1]


def numbers(line):
    """Read a line the plain way, as anybody would; None where that fails."""
    try:
        clock, left, right = (int(part) for part in line.split(b","))
    except ValueError:
        return None
    return clock, left, right


def test_without_faults_every_sample_arrives_as_it_was_taken():
    transmission, out = sent()
    old, banner, *rest = lines(transmission)
    assert numbers(old) is not None
    assert banner.startswith(b"# ")
    read = np.array([numbers(line) for line in rest])
    assert np.array_equal(read[:, 0], SIMULATION.board_us)
    assert np.array_equal(read[:, 1:], SIMULATION.counts)
    assert (out.good, out.bad_lines, out.lost) == (SIMULATION.samples, {"first line": 1}, 0)
    assert out.samples_sent == SIMULATION.samples + 1
    assert out.lines_sent == len(rest) + 2


def test_packets_carry_the_same():
    transmission, out = sent(wire_format="packet")
    frames = [cobs_library.decode(f) for f in wire_bytes(transmission).split(b"\0")[:-1]]
    read = [struct.unpack("<BBHIii", frame[:-2]) for frame in frames[2:]]
    assert [row[2] for row in read] == [i % 65536 for i in range(SIMULATION.samples)]
    assert np.array_equal([row[3] for row in read], SIMULATION.board_us)
    assert np.array_equal([row[4:] for row in read], SIMULATION.counts)
    assert out.good == SIMULATION.samples


@pytest.mark.parametrize("wire_format", ["text", "packet"])
@pytest.mark.parametrize("kind", FAULTS)
def test_sent_is_good_plus_bad_plus_lost(kind, wire_format):
    transmission, out = sent([FaultOrder(kind)], wire_format)
    assert transmission.faults
    assert {fault.kind for fault in transmission.faults} == {kind}
    assert out.samples_sent == out.good + sum(out.bad_lines.values()) + out.lost
    assert out.bad_lines["first line"] == 1
    end = b"\n" if wire_format == "text" else b"\0"
    assert out.lines_sent == wire_bytes(transmission).count(end)


def test_the_first_line_is_cut_inside_its_clock():
    transmission, _ = sent([FaultOrder("first-line-cut")])
    whole, _ = sent()
    assert lines(transmission)[0] == lines(whole)[0][3:]
    assert numbers(lines(transmission)[0]) is not None  # looks good, and is not


def test_a_restart_sends_its_banner_and_a_clock_from_nought():
    transmission, out = sent([FaultOrder("restart", at_s=30.0, seconds=1.0)])
    (fault,) = transmission.faults
    text = lines(transmission)
    again = 2 + fault.sample
    assert text[again].startswith(b"# ")
    assert numbers(text[again - 1])[0] == pytest.approx(30e6, rel=1e-3)
    assert 0 < numbers(text[again + 1])[0] < 2_000_000
    assert fault.samples == pytest.approx(93, abs=2)
    assert out.messages_sent == 2
    assert out.lost == 0


def test_missing_lines_leave_holes_of_one_sample():
    transmission, out = sent([FaultOrder("missing", times=5)])
    clocks = np.array([n[0] for line in lines(transmission)[2:] if (n := numbers(line))])
    steps = np.diff(clocks)
    assert np.sum(steps > 1.5 * np.median(steps)) == 5 == out.lost
    assert steps.max() < 2.2 * np.median(steps)


def test_missing_at_a_rate():
    _, out = sent([FaultOrder("missing", rate=0.01)])
    assert out.lost == round(0.01 * SIMULATION.samples)


def test_merged_lines_are_one_line_with_too_many_fields():
    transmission, out = sent([FaultOrder("merged", times=3)])
    assert [line.count(b",") for line in lines(transmission)].count(4) == 3
    assert out.bad_lines["long"] == 3
    assert out.lost == 3


def test_garbled_lines_differ_in_one_byte_and_half_of_them_still_read():
    transmission, out = sent([FaultOrder("garbled", times=6)])
    whole, _ = sent()
    changed = [
        (bad, good)
        for bad, good in zip(lines(transmission), lines(whole), strict=True)
        if bad != good
    ]
    assert len(changed) == 6
    for bad, good in changed:
        assert sum(a != b for a, b in zip(bad, good, strict=True)) == 1
    assert sum(numbers(bad) is None for bad, _ in changed) == 3 == out.bad_lines["not a number"]


@pytest.mark.parametrize("checksum", ["xor", "crc"])
def test_with_a_checksum_every_garbled_and_merged_line_is_found_by_it(checksum):
    orders = [FaultOrder("garbled", times=6), FaultOrder("merged", times=2)]
    _, out = sent(orders, checksum=checksum)
    assert out.bad_lines == {"first line": 1, "checksum": 8}


def test_spikes_are_minus_one_and_full_scale():
    transmission, out = sent([FaultOrder("spike")])
    whole, _ = sent()
    changed = [
        [value for value, usual in zip(numbers(bad), numbers(good), strict=True) if value != usual]
        for bad, good in zip(lines(transmission), lines(whole), strict=True)
        if bad != good
    ]
    assert sorted(changed) == [[-1], [-1], [8388607]]
    assert out.good == SIMULATION.samples


def test_a_stall_holds_lines_back_and_changes_none():
    transmission, _ = sent([FaultOrder("stall", at_s=30.0, seconds=1.0)])
    whole, _ = sent()
    assert wire_bytes(transmission) == wire_bytes(whole)
    due = np.array([sending.due_s for sending in transmission.sendings])
    assert np.all(np.diff(due) >= 0)
    assert np.diff(due).max() == pytest.approx(1.0, abs=0.03)
    assert np.sum(due == due[np.argmax(np.diff(due)) + 1]) == pytest.approx(93, abs=2)


def test_silence_loses_what_was_meant_to_be_sent():
    transmission, out = sent([FaultOrder("silence", at_s=30.0, seconds=2.0)])
    clocks = np.array([n[0] for line in lines(transmission)[2:] if (n := numbers(line))])
    assert np.diff(clocks).max() == pytest.approx(2e6, rel=0.02)
    assert out.lost == transmission.faults[0].samples == pytest.approx(186, abs=3)


def test_nothing_follows_the_pulled_cable():
    transmission, out = sent([FaultOrder("unplug", at_s=30.0)])
    assert transmission.unplugged_s == pytest.approx(30.0, abs=0.02)
    assert out.samples_sent == pytest.approx(30.0 * SIMULATION.truth.samples_per_s, abs=3)


def test_a_fault_comes_at_the_sample_or_second_asked_for():
    (at_sample,) = place(SIMULATION, [FaultOrder("merged", at_sample=777)], 1)
    assert at_sample.sample == 777
    (at_s,) = place(SIMULATION, [read_fault("stall@12.5")], 1)
    assert SIMULATION.time_s[at_s.sample] == pytest.approx(12.5, abs=0.02)


def test_several_kinds_at_once_stay_apart_and_are_all_told():
    kinds = [kind for kind in FAULTS if kind not in ("unplug", "restart")]
    transmission, out = sent([FaultOrder(kind) for kind in kinds])
    assert {fault.kind for fault in transmission.faults} == set(kinds)
    assert out.samples_sent == out.good + sum(out.bad_lines.values()) + out.lost
    small = [f.sample for f in transmission.faults if f.kind in ("missing", "merged", "garbled")]
    assert np.diff(sorted(small)).min() >= 8


def test_the_seed_moves_the_faults_and_repeats_them():
    orders = [FaultOrder("missing")]
    assert place(SIMULATION, orders, 1) == place(SIMULATION, orders, 1)
    assert place(SIMULATION, orders, 1) != place(SIMULATION, orders, 2)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("bogus", 'no fault "bogus".*first-line-cut'),
        ("stall@soon", "a time in seconds"),
        ("stall@5000", "the script ends before"),
    ],
)
def test_a_wrong_fault_is_told(text, words):
    with pytest.raises(ScenarioError, match=words):
        place(SIMULATION, [read_fault(text)], 1)


def test_what_nobody_read_was_not_sent():
    transmission, _ = sent()
    pairs = [(sending, i < 1000) for i, sending in enumerate(transmission.sendings)]
    out = delivery(pairs, complete=True)
    assert out.samples_sent == 999  # the banner is no sample
    assert out.samples_unread == SIMULATION.samples + 1 - 999
    assert out.lost == 0
