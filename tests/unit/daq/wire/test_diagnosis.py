"""A wrong baud, separator or number of fields is told in one sentence, from what really came."""

import random
import re
from collections import Counter

import pytest

from daq.rig.rig import Cell, Link
from daq.samples import Chunk
from daq.wire.decoders import make_decoder
from daq.wire.diagnosis import diagnose

CELLS = [Cell("left", "left", 2000.0), Cell("right", "right", 2000.0)]
TEXT = Link(fields=("left", "right"))


def told(link, stream):
    decoder = make_decoder(link, CELLS)
    decoded = decoder.feed(Chunk(b"\n" + stream, 0))
    bad = [event for event in decoded.events if event.is_bad_line]
    kinds = Counter(event.kind for event in bad)
    return diagnose(link, len(decoded.samples), kinds, [event.text for event in bad[-10:]])


def lines(form, count=20):
    return b"".join(form % (1000 * k, 21_000 + k, 500 - k) for k in range(1, count))


@pytest.mark.parametrize(
    ("link", "form", "words"),
    [
        (TEXT, b"%d,%d,%d\n", "lines have 3 fields, link.fields names 2"),
        (Link(fields=("left", "right", "skip", "time_us")), b"%d,%d,%d\n", "lines have 3 fields"),
        (Link(fields=("time_us", "left", "right")), b"%d;%d;%d\n", "parted by a semicolon"),
        (Link(fields=("time_us", "left", "right")), b"%d\t%d\t%d\n", "parted by a tab"),
        (Link(fields=("skip", "left", "right")), b"%d,%d,%d.5\n", "not whole numbers.*point"),
        (Link(fields=("skip", "left", "right"), checksum="crc"), b"%d,%d,%d\n", "checksum"),
        (Link(fields=("skip", "left", "right")), b"%d,%d,%d00000\n", "beyond 24 bits"),
        (Link(fields=("left", "right", "time_us")), b"%d,%d,%d\n", "clock does not go forward"),
        (Link(fields=("left", "right"), format="packet"), b"%d,%d,%d\n\0", "packets arrive broken"),
    ],
)
def test_what_is_wrong_is_told(link, form, words):
    assert re.search(words, told(link, lines(form)))


def test_a_wrong_baud_shows_as_garbage():
    chance = random.Random(5)
    noise = bytes(chance.choice([0x00, 0x80, 0xF8, 0xFF, 0x1C, 0x0A]) for _ in range(3000))
    assert "only garbage arrives at 115200 baud" in told(TEXT, noise)


def test_nothing_is_said_of_a_few_bad_lines_among_good_ones():
    assert told(TEXT, b"1,2\n" * 100 + b"1,2,3\n" * 20) == ""
    assert told(TEXT, b"1,2,3\n" * 3) == ""


@pytest.mark.parametrize(
    ("link", "stream", "words"),
    [
        (TEXT, b"21000,500\r" * 90, "CR alone"),
        (TEXT, b"21000,500," * 90, "no line end"),
        (TEXT, b"\x80\xf8\x00\xff" * 90, "only garbage arrives"),
        (Link(fields=("left", "right"), format="packet"), b"1,2\n" * 90, "no packet ends"),
    ],
)
def test_a_stream_without_line_ends_is_told_too(link, stream, words):
    decoded = make_decoder(link, CELLS).feed(Chunk(stream, 0))
    kinds = Counter(event.kind for event in decoded.events)
    assert words in diagnose(link, 0, kinds, [event.text for event in decoded.events])
