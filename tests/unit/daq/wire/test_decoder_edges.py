"""The decoders at the very edges of what docs/wire_protocol.md allows, by each road; by hand."""

import numpy as np
import pytest
from crccheck.crc import Crc16Ibm3740

from daq.faults import InputFault
from daq.rig.rig import Cell, Link
from daq.samples import Chunk, Flag
from daq.wire.line_layout import layout_of
from daq.wire.line_runs import LineRuns
from daq.wire.packets import PacketDecoder
from daq.wire.silence import Silence
from daq.wire.text_lines import TextLineDecoder

CELLS = [Cell(name, name, 2000.0) for name in ("left", "right")]
COMMA = Link(fields=("time_us", "left", "right"))
PACKET = Link(fields=("left", "right"), format="packet")
TOGETHER, SINGLY = 1, 10**9  # lines or frames from which they are read together
ROADS = pytest.mark.parametrize("many", [TOGETHER, SINGLY])


def decoded(parts, link=COMMA, many=TOGETHER, arrivals_ns=None):
    """Samples and events of blocks, after an empty first line."""
    layout = layout_of(link, CELLS)
    packets = link.format == "packet"
    decoder = PacketDecoder(layout, many=many) if packets else TextLineDecoder(layout, many=many)
    told = [decoder.feed(Chunk(b"\0" if packets else b"\n", 0))]
    for part, arrival_ns in zip(parts, arrivals_ns or [7] * len(parts), strict=True):
        told.append(decoder.feed(Chunk(part, arrival_ns)))
    told.append(decoder.finish())
    events = [event for each in told for event in each.events]
    return np.concatenate([each.samples for each in told]), events


def counted(events):
    return [(event.kind, event.count) for event in events]


def lines(*clocks):
    return [b"%d,5,6\n" % clock for clock in clocks]


def split_or_not(parts, split):
    return parts if split else [b"".join(parts)]


def stuffed(data):
    """COBS of runs under 254 bytes: each run without a zero, preceded by its length plus one."""
    runs = data.split(b"\0")
    assert max(map(len, runs)) < 254
    return b"".join(bytes([len(run) + 1]) + run for run in runs) + b"\0"


def packet(number, clock, body, *, kind=1, told=2):
    head = bytes([kind, told]) + number.to_bytes(2, "little") + clock.to_bytes(4, "little")
    return stuffed(head + body + Crc16Ibm3740.calc(head + body).to_bytes(2, "little"))


def sample(number, clock, *counts):
    body = b"".join(count.to_bytes(4, "little", signed=True) for count in counts)
    return packet(number, clock, body, told=len(counts))


# -- what parts the numbers -----------------------------------------------------------------------


@pytest.mark.parametrize("mark", [*"+-*#\r\n\0", "", ",,", "e", "7", "\u00a7", "\u0667"])
def test_what_cannot_part_numbers_is_refused(mark):
    with pytest.raises(InputFault, match=r"link\.separator is "):
        layout_of(Link(fields=COMMA.fields, separator=mark), CELLS)


@ROADS
@pytest.mark.parametrize("mark", [",", ";", "\t", " ", "|", ":", "/", "\\"])
def test_any_other_one_character_parts_them(mark, many):
    line = mark.join(["1000", "-5", "+6"]).encode() + b"\n"
    samples, events = decoded([line], Link(fields=COMMA.fields, separator=mark), many)
    assert samples["counts"].tolist() == [[-5, 6]]
    assert not events


# -- lines read together: not only right, but truly together --------------------------------------


def summed(body, checksum):
    if checksum == "xor":
        value = 0
        for byte in body:
            value ^= byte
        return b"%b*%02x" % (body, value)
    return b"%b*%04X" % (body, Crc16Ibm3740.calc(body)) if checksum == "crc" else body


#: Both ends of every range, sums with digits of either case, lines of several lengths.
EDGES = [
    [0, -8388608, -9999999999, 8388607],
    [4294967295, 8388607, 9999999999, -8388608],
    *([k * 997, k**4, -k, 3 - k] for k in range(40)),
]


def edge_lines(checksum):
    bodies = [b",".join(b"%d" % number for number in numbers) for numbers in EDGES]
    told = [summed(body, checksum) for body in bodies]
    turned = [line.swapcase() if at % 3 == 0 else line for at, line in enumerate(told)]
    return [line + (b"\r\n" if at % 2 else b"\n") for at, line in enumerate(turned)]


def runs_of(checksum):
    link = Link(fields=("time_us", "left", "skip", "right"), checksum=checksum)
    return LineRuns(layout_of(link, CELLS))


@pytest.mark.parametrize("checksum", ["none", "xor", "crc"])
def test_lines_of_good_form_are_one_run_and_read_in_one_go(checksum):
    block, runs = b"".join(edge_lines(checksum)), runs_of(checksum)
    assert runs.end(block, 0) == len(block)
    numbers = runs.numbers(block)
    assert numbers is not None
    assert numbers.tolist() == EDGES


@pytest.mark.parametrize("checksum", ["none", "xor", "crc"])
def test_a_run_takes_a_line_of_256_bytes_and_none_of_257(checksum):
    runs = runs_of(checksum)
    for end in (b"\n", b"\r\n"):
        blanks = b" " * (256 - len(summed(b"1,2,3,4", checksum)))
        line = summed(blanks + b"1,2,3,4", checksum)
        assert len(line) == 256
        assert runs.end(line + end, 0) == len(line + end)
        assert runs.end(summed(b" " + blanks + b"1,2,3,4", checksum) + end, 0) == 0


@pytest.mark.parametrize("checksum", ["xor", "crc"])
@pytest.mark.parametrize("at", [0, 17, -1])
def test_one_wrong_sum_is_enough_to_look_at_each_line(checksum, at):
    told = edge_lines(checksum)
    star = told[at].index(b"*")
    for place in range(star + 1, len(told[at].rstrip())):
        digit = b"1" if told[at][place : place + 1] == b"0" else b"0"
        spoilt = told[at][:place] + digit + told[at][place + 1 :]
        block = b"".join([*told[: at % len(told)], spoilt, *told[at % len(told) + 1 :]])
        assert runs_of(checksum).end(block, 0) == len(block)
        assert runs_of(checksum).numbers(block) is None


@ROADS
@pytest.mark.parametrize("checksum", ["xor", "crc"])
def test_a_line_of_good_form_with_a_wrong_sum_is_no_sample(checksum, many):
    """The third line states the sum of another count: one digit was garbled on the way."""
    told = [summed(b"%d,5,6" % clock, checksum) + b"\n" for clock in range(1000, 6000, 1000)]
    told[2] = told[2].replace(b",5,", b",7,")
    link = Link(fields=COMMA.fields, checksum=checksum)
    samples, events = decoded([b"".join(told)], link, many)
    assert samples["counts"].tolist() == [[5, 6]] * 4
    assert [(event.kind, event.index) for event in events] == [("checksum", 2)]


@ROADS
def test_end_values_are_good_also_beside_a_line_that_is_not(many):
    """A line out of range makes every line of its block be looked at singly."""
    block = b"4294967295,-8388608,8388607\n0,8388607,-8388608\n1,8388608,0\n2,0,-8388609\n"
    samples, events = decoded([block + b"4294967296,1,1\n-1,1,1\n"], many=many)
    assert samples["counts"].tolist() == [[-8388608, 8388607], [8388607, -8388608]]
    assert samples["board_us"].tolist() == [2**32 - 1, 2**32]
    assert counted(events) == [("out of range", 1)] * 4


# -- the stream and its cuts ----------------------------------------------------------------------


@ROADS
@pytest.mark.parametrize(("length", "kinds"), [(256, []), (257, ["long"]), (258, ["long"])])
@pytest.mark.parametrize("end", [b"\n", b"\r\n"])
@pytest.mark.parametrize("before_end", [0, 1, 2])
def test_a_line_of_256_bytes_is_good_wherever_it_is_cut(length, kinds, end, before_end, many):
    stream = b"2000,5,6".rjust(length) + end
    cut = len(stream) - before_end
    samples, events = decoded([stream[:cut], stream[cut:], b"3000,5,6\n"], many=many)
    assert [event.kind for event in events] == kinds
    assert samples["board_us"].tolist() == ([] if kinds else [2000]) + [3000]


@ROADS
@pytest.mark.parametrize(("letters", "kind"), [(245, "message"), (246, "long")])
@pytest.mark.parametrize("before_end", [0, 1])
def test_a_frame_of_256_encoded_bytes_is_good_wherever_it_is_cut(letters, kind, before_end, many):
    """8 + letters + 2 bytes, one more by COBS, as no run is of 254; the zero is not counted."""
    frame = packet(0, 5, b"m" * letters, kind=2, told=letters)
    assert len(frame) == letters + 12
    cut = len(frame) - before_end
    parts = [sample(1, 1000, 3, 4) + frame[:cut], frame[cut:], sample(2, 2000, 3, 4)]
    samples, events = decoded(parts, PACKET, many)
    assert len(samples) == 2
    assert [(event.kind, event.index) for event in events] == [(kind, 1)]


@pytest.mark.parametrize(("link", "length"), [(COMMA, 257), (PACKET, 256)])
def test_a_begun_line_is_told_as_too_long_with_the_byte_that_makes_it_so(link, length):
    """Of text, 256 bytes and a CR may still become a good line."""
    assert decoded([b"7" * length], link)[1] == []
    assert [event.kind for event in decoded([b"7" * (length + 1)], link)[1]] == ["long"]


def test_after_an_endless_first_line_the_next_is_good_and_another_endless_one_is_long():
    decoder = TextLineDecoder(layout_of(COMMA, CELLS))
    told = [decoder.feed(Chunk(part, 0)) for part in (b"7" * 300, b"7\n1,2,3\n", b"8" * 300)]
    assert [[event.kind for event in each.events] for each in told] == [
        ["first line"],
        [],
        ["long"],
    ]
    assert [len(each.samples) for each in told] == [0, 1, 0]


# -- what is no sample, as it is told -------------------------------------------------------------

GOOD = [sample(1, 1000, 3, 4), sample(2, 2000, 3, 4)]
BAD = {
    b"\x05\x01\x00": ("not a number", "\\x05\\x01"),
    b"\x04abc\x00": ("short", "\\x04abc"),
    sample(3, 9, 3): ("short", None),
    sample(3, 9, 3, 4, 5): ("long", None),
    sample(3, 9, 3, 2**23): ("out of range", None),
    packet(3, 9, b"", told=1): ("short", None),
    packet(3, 9, b"1234567", told=1): ("long", None),
    packet(3, 9, b"12345678", kind=3): ("not a number", None),
    packet(3, 9, b"hello", kind=2, told=5): ("message", "hello"),
    packet(3, 9, b"", kind=2, told=0): ("message", ""),
}


@ROADS
@pytest.mark.parametrize("bad", BAD, ids=[f"{at}" for at in range(len(BAD))])
def test_a_bad_frame_among_good_ones_is_told_in_its_place_with_its_bytes(bad, many):
    """Bytes are escaped as Python writes them, 80 characters at most, without the zero."""
    kind, text = BAD[bad]
    if text is None:
        text = bad[:-1].decode("latin-1").encode("unicode_escape").decode()[:80]
    samples, events = decoded([b"".join([GOOD[0], bad, b"\0", GOOD[1]])], PACKET, many)
    assert samples["board_us"].tolist() == [1000, 2000]
    assert [(e.kind, e.index, e.arrival_ns, e.text) for e in events] == [(kind, 1, 7, text)]


@ROADS
def test_events_come_in_line_order_and_a_repeated_line_with_its_numbers(many):
    told = [*lines(*range(0, 60, 10)), b"oops\n", *lines(100, 100), b"# hello\n", *lines(110)]
    samples, events = decoded([b"".join(told)], many=many)
    assert [(e.kind, e.index, e.arrival_ns, e.count, e.text) for e in events] == [
        ("short", 6, 7, 1, "oops"),
        ("gap", 6, 7, 3, ""),
        ("repeated", 7, 7, 1, "100,5,6"),
        ("message", 7, 7, 1, "# hello"),
    ]
    assert samples["index"].tolist() == list(range(8))


def test_the_same_clock_with_the_next_number_is_another_packet():
    """Repeated is the same number and clock; the clock alone tells no restart either."""
    samples, events = decoded([sample(1, 5000, 3, 4), sample(2, 5000, 3, 4)], PACKET)
    assert samples["board_us"].tolist() == [5000, 5000]
    assert not samples["flags"].any()
    assert not events


# -- a line in doubt ------------------------------------------------------------------------------

STEP = 10_000
COURSE = [600_000_000 + STEP * k for k in range(20)]  # ten minutes after the start
LAST = COURSE[-1]


@pytest.mark.parametrize("split", [False, True])
@pytest.mark.parametrize("between", ["oops", "repeat", "both"])
@pytest.mark.parametrize("number", [32, 33])
def test_a_line_in_doubt_waits_for_32_bad_lines_and_no_longer(number, between, split):
    """Six bad lines before it do not count. 99 lines are lost before it, or 100 before the next."""
    leap = LAST + 100 * STEP
    odd = {"oops": [b"oops\n"], "repeat": lines(leap), "both": [b"oops\n", *lines(leap)]}[between]
    waiting = (odd * number)[:number]
    parts = [*lines(*COURSE), *[b"oops\n"] * 5, *lines(LAST, leap), *waiting, *lines(leap + STEP)]
    samples, events = decoded(split_or_not(parts, split))
    kept = number == 32
    assert samples["board_us"].tolist() == [*COURSE, *([leap] if kept else []), leap + STEP]
    told = [each for each in counted(events) if each[0] in ("gap", "jump back")]
    assert told == ([("gap", 99 - 6)] if kept else [("jump back", 1), ("gap", 100 - 6 - 34)])


@pytest.mark.parametrize("split", [False, True])
@pytest.mark.parametrize(("leap_us", "kept"), [(60_000_000, True), (60_000_001, False)])
@pytest.mark.parametrize("begin", [600_000_000, 2**32 - 10_000_000])
def test_a_last_line_is_kept_up_to_a_minute_ahead_also_over_a_wrap(begin, leap_us, kept, split):
    clocks = [begin + STEP * k for k in range(20)]
    clocks.append(clocks[-1] + leap_us)
    parts = lines(*(clock % 2**32 for clock in clocks))
    samples, events = decoded(split_or_not(parts, split))
    assert samples["board_us"].tolist() == (clocks if kept else clocks[:-1])
    lost = 60_000_000 // STEP - 1
    assert counted(events) == ([("gap", lost)] if kept else [("jump back", 1)])


@pytest.mark.parametrize("split", [False, True])
@pytest.mark.parametrize(("begin", "kept"), [(1_999_999, True), (2_000_000, False)])
def test_a_last_line_that_fell_is_a_restart_below_two_seconds(begin, kept, split):
    samples, events = decoded(split_or_not(lines(*COURSE, begin), split))
    assert counted(events) == ([("restart", 0)] if kept else [("jump back", 1)])
    assert len(samples) == len(COURSE) + kept


def test_a_last_line_that_fell_by_one_tick_below_two_seconds_is_a_restart():
    samples, events = decoded([b"".join(lines(1_000_000, 1_010_000, 1_009_999))])
    assert counted(events) == [("restart", 0)]
    assert len(samples) == 3


@pytest.mark.parametrize(
    ("last", "begin", "kind"),
    [
        (2**31 + 5_000_000, 5_000_000, "restart"),  # a fall by half the range
        (2**31 + 5_000_000, 4_999_999, "gap"),  # by more
        (2**32 - 59_000_000, 1_000_000, "gap"),  # a step of a minute
        (2**32 - 59_000_001, 1_000_000, "restart"),  # above a minute, and below two seconds
        (2**32 - 90_000_000, 1_999_999, "restart"),
        (2**32 - 90_000_000, 2_000_000, "gap"),  # not below
    ],
)
def test_a_fall_is_a_wrap_or_a_restart(last, begin, kind):
    """The next line goes on from the one that fell, so it is good whatever it is."""
    course = [last - STEP * k for k in range(19, -1, -1)]
    samples, events = decoded([b"".join(lines(*course, begin, begin + STEP))])
    assert len(samples) == 22
    assert [event.kind for event in events] == [kind]
    assert bool(samples["flags"][20] & Flag.RESTART) == (kind == "restart")
    if kind == "gap":
        assert samples["board_us"][20] == begin + 2**32


# -- without a clock ------------------------------------------------------------------------------

MS = 1_000_000


def learnt(step_ms, steps):
    silence = Silence()
    for number in range(steps + 1):
        assert silence.breaks(np.array([number * step_ms * MS])) == []
    return silence, step_ms * steps


@pytest.mark.parametrize(("wait_ms", "found"), [(350, []), (351, [0])])
def test_one_step_is_enough_to_tell_a_silence(wait_ms, found):
    silence, at = learnt(10, 1)
    assert silence.breaks(np.array([(at + wait_ms) * MS])) == found


def test_a_silence_lies_between_the_last_line_of_a_block_and_the_first_of_the_next():
    silence, at = learnt(10, 30)
    assert silence.breaks(np.array([at + 10, at + 5_000]) * MS) == []
    assert silence.breaks(np.array([at + 5_010, at + 9_000]) * MS) == []
    assert silence.breaks(np.array([at + 9_360, at + 9_370]) * MS) == [0]


def test_neither_a_silence_nor_one_long_step_is_taken_for_the_usual_step():
    """Thirty steps of 10 ms; with 300 ms among them the mean is 19 ms, and 500 ms are a silence."""
    silence, at = learnt(10, 30)
    assert silence.breaks(np.array([at + 1_000]) * MS) == [0]
    assert silence.breaks(np.array([at + 1_400]) * MS) == [0]
    assert silence.breaks(np.array([at + 1_700]) * MS) == []
    assert silence.breaks(np.array([at + 2_200]) * MS) == [0]
