"""Packets, rule by rule, from docs/wire_protocol.md."""

import pytest

from daq.rig.rig import Cell, Link
from daq.samples import Chunk, Flag
from daq.wire.decoders import make_decoder

CELLS = [Cell(name, name, 2000.0) for name in ("left", "right")]
LINK = Link(fields=("left", "right"), format="packet")


def crc_by_bits(data):
    crc = 0xFFFF
    for byte in data:
        crc ^= byte << 8
        for _ in range(8):
            crc = ((crc << 1) ^ 0x1021 if crc & 0x8000 else crc << 1) & 0xFFFF
    return crc


def stuffed(data):
    """COBS for fewer than 254 bytes: each run without a zero, preceded by its length plus one."""
    assert len(data) < 254
    return b"".join(bytes([len(run) + 1]) + run for run in data.split(b"\0")) + b"\0"


def packet(number, clock, counts, *, kind=1, told=None, body=None):
    """A packet on the wire."""
    if body is None:
        body = b"".join(count.to_bytes(4, "little", signed=True) for count in counts)
    head = bytes([kind, len(counts) if told is None else told])
    data = head + (number % 65536).to_bytes(2, "little") + (clock % 2**32).to_bytes(4, "little")
    data += body
    return stuffed(data + crc_by_bits(data).to_bytes(2, "little"))


def decoded(*packets, link=LINK, cells=CELLS):
    decoder = make_decoder(link, cells)
    fed = decoder.feed(Chunk(b"\0" + b"".join(packets), 3))
    last = decoder.finish()
    return [*fed.samples, *last.samples], [*fed.events, *last.events]


def steady(first, count, number=0):
    return [packet(number + k, first + k * 1000, [k, -k]) for k in range(count)]


def test_samples_come_with_clock_and_counts():
    rows, events = decoded(*steady(500, 3))
    assert [row["counts"].tolist() for row in rows] == [[0, 0], [1, -1], [2, -2]]
    assert [int(row["board_us"]) for row in rows] == [500, 1500, 2500]
    assert not events


def test_a_clock_among_the_fields_is_the_packets_own():
    link = Link(fields=("right", "time_us", "skip", "left"), format="packet")
    rows, _ = decoded(packet(1, 7, [10, 20, 30]), link=link)
    assert rows[0]["counts"].tolist() == [30, 10]
    assert rows[0]["board_us"] == 7


@pytest.mark.parametrize(
    ("bad", "kind"),
    [
        (b"\x05\x01\x00", "not a number"),  # the code points outside the frame
        (stuffed(b"\x01\x02\x03"), "short"),
        (packet(1, 2, [3, 4], kind=9), "not a number"),
        (packet(1, 2, [3, 4], told=3), "short"),
        (packet(1, 2, [3, 4], told=1), "long"),
        (packet(1, 2, [3]), "short"),
        (packet(1, 2, [3, 4, 5]), "long"),
        (packet(1, 2, [3, 8_388_608]), "out of range"),
        (packet(1, 2, [3, -8_388_609]), "out of range"),
        (packet(1, 2, [3, 4])[:-2] + b"\x55\x00", "checksum"),
        (b"\x01" * 257 + b"\0", "long"),
    ],
)
@pytest.mark.parametrize("many", [1, 40])
def test_a_bad_frame_is_counted_by_kind(bad, kind, many):
    before = steady(1000, 2 * many)
    rows, events = decoded(*before, bad, *steady(1000 + 1000 * len(before), 3 * many, len(before)))
    assert [(event.kind, event.index) for event in events] == [(kind, len(before))]
    assert len(rows) == 5 * many


def test_empty_frames_are_ignored_and_the_first_is_dropped():
    decoder = make_decoder(LINK, CELLS)
    told = decoder.feed(Chunk(b"half a frame\0\0\0" + packet(1, 2, [3, 4]) + b"\0", 0))
    assert [(event.kind, event.text) for event in told.events] == [("first line", "half a frame")]
    assert len(told.samples) == 1


def test_a_message_is_kept_as_an_event():
    said = packet(0, 0, [], kind=2, told=5, body=b"hello")
    rows, events = decoded(*steady(0, 2), said, *steady(2000, 1, 2))
    assert [(event.kind, event.text) for event in events] == [("message", "hello")]
    assert len(rows) == 3


def test_lost_packets_are_counted_exactly_and_a_bad_one_stands_for_itself():
    lost = [*steady(0, 3), *steady(13_000, 2, 13)]
    rows, events = decoded(*lost)
    assert [(event.kind, event.index, event.count) for event in events] == [("gap", 3, 10)]
    assert int(rows[3]["flags"]) == Flag.GAP
    bad = packet(3, 3000, [1, 8_388_608])
    _, events = decoded(*lost[:3], bad, *lost[3:])
    assert [(event.kind, event.count) for event in events] == [("out of range", 1), ("gap", 9)]


def test_the_sequence_number_wraps():
    rows, events = decoded(*steady(0, 6, 65_533))
    assert len(rows) == 6
    assert not events


def test_number_and_clock_again_is_repeated():
    rows, events = decoded(*steady(0, 3), *steady(2000, 1, 2), *steady(3000, 2, 3))
    assert [event.kind for event in events] == ["repeated"]
    assert len(rows) == 5


def test_a_restart_is_marked_and_its_number_starts_anew():
    rows, events = decoded(*steady(50_000_000, 30, 700), *steady(0, 3))
    assert [event.kind for event in events] == ["restart"]
    assert int(rows[30]["flags"]) & Flag.RESTART
    assert int(rows[30]["board_us"]) > int(rows[29]["board_us"])


def test_a_stray_clock_is_a_jump_back():
    rows, events = decoded(
        *steady(50_000_000, 30), packet(30, 1_000, [1, 1]), *steady(50_031_000, 3, 31)
    )
    assert [event.kind for event in events] == ["jump back"]
    assert len(rows) == 33
