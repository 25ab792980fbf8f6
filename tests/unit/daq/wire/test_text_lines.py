"""Text lines, rule by rule, from docs/wire_protocol.md."""

import tracemalloc

import pytest

from daq.faults import InputFault
from daq.rig.rig import Cell, Link
from daq.samples import Chunk, Flag
from daq.wire.decoders import make_decoder

CELLS = [Cell(name, name, 2000.0) for name in ("left", "right")]
COMMA = Link(fields=("time_us", "left", "right"))


def decoded(text, link=COMMA, cells=CELLS, first="cut\n"):
    """Samples and events of a stream, after the first line end."""
    decoder = make_decoder(link, cells)
    events = []
    fed = decoder.feed(Chunk((first + text).encode("latin-1"), 1))
    last = decoder.finish()
    events = [*fed.events, *last.events]
    rows = [*fed.samples, *last.samples]
    return rows, [event for event in events if event.kind != "first line"]


def course(*clocks):
    """Lines with the given clocks, after twenty lines 10 ms apart that end at 10 s."""
    before = [10_000_000 - 10_000 * k for k in range(19, -1, -1)]
    return "".join(f"{clock % 2**32},5,6\n" for clock in [*before, *clocks])


def test_the_example_of_the_protocol_page():
    rows, events = decoded(
        "# ossel-brook cells 2 firmware 3\r\n10752,211873,198114\r\n21504,211879,198102\r\n"
    )
    assert [row["counts"].tolist() for row in rows] == [[211873, 198114], [211879, 198102]]
    assert [int(row["board_us"]) for row in rows] == [10752, 21504]
    assert [int(row["index"]) for row in rows] == [0, 1]
    assert [(event.kind, event.index, event.text) for event in events] == [
        ("message", 0, "# ossel-brook cells 2 firmware 3")
    ]


def test_cells_come_in_the_order_of_the_rig_not_of_the_line():
    link = Link(fields=("right", "skip", "left"), separator=";")
    rows, _ = decoded("1;2;3\n", link)
    assert rows[0]["counts"].tolist() == [3, 1]
    assert rows[0]["board_us"] == 0


@pytest.mark.parametrize(
    ("line", "kind"),
    [
        ("1,2", "short"),
        ("1,2,3,4", "long"),
        ("7" * 257, "long"),
        ("1,2,3.0", "not a number"),
        ("1,,3", "not a number"),
        ("1,2,nan", "not a number"),
        ("1,2,1_0", "not a number"),
        ("1,2,+", "not a number"),
        ("1,2,00000000001", "not a number"),
        ("1,2\xff,3", "not a number"),
        ("\xff", "not a number"),
        ("1,2,8388608", "out of range"),
        ("1,-8388609,3", "out of range"),
        ("4294967296,2,3", "out of range"),
        ("-1,2,3", "out of range"),
    ],
)
def test_a_bad_line_is_counted_by_kind_and_is_no_sample(line, kind):
    rows, events = decoded(f"1000,5,6\n{line}\n3000,5,6\n")
    assert len(rows) == 2
    assert [(event.kind, event.index, event.count) for event in events] == [(kind, 1, 1)]


@pytest.mark.parametrize("line", ["1,2,3", " 1 ,2\t, 3 ", "+1,-0,0000000003", "1,2,3\r"])
def test_a_line_may_have_blanks_signs_and_leading_zeros(line):
    rows, events = decoded(f"{line}\n")
    assert len(rows) == 1
    assert not events


@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("length", [256, 257])
def test_a_line_may_be_256_bytes_long_without_its_end(length, end):
    rows, events = decoded(f"1000,5,6\n{'2000,5,6'.rjust(length)}{end}3000,5,6\n")
    assert len(rows) == (3 if length == 256 else 2)
    assert [event.kind for event in events] == ([] if length == 256 else ["long"])


def test_one_line_out_of_range_among_many_takes_none_with_it():
    """The others come as they are, and bad lines of either kind keep their places."""
    lines = [f"{k * 1000},{k},6" for k in range(1, 61)]
    lines[30], lines[40] = "31000,9000000,6", "41000,oops,6"
    rows, events = decoded("\n".join(lines) + "\n")
    assert [int(row["counts"][0]) for row in rows] == [k for k in range(1, 61) if k not in (31, 41)]
    bad = [(event.kind, event.index) for event in events if event.is_bad_line]
    assert bad == [("out of range", 30), ("not a number", 39)]


def test_end_values_are_kept_and_marked_saturated():
    rows, _ = decoded("1,8388607,3\n2,-8388608,3\n3,8388606,-8388607\n")
    assert [int(row["flags"]) for row in rows] == [Flag.SATURATED, Flag.SATURATED, 0]


def test_the_first_line_is_dropped_and_counted_unless_empty():
    decoder = make_decoder(COMMA, CELLS)
    told = decoder.feed(Chunk(b"1,2,3\n4,5,6\n", 9))
    assert [(event.kind, event.text) for event in told.events] == [("first line", "1,2,3")]
    assert len(told.samples) == 1
    assert decoded("1,2,3\n", first="\r\n")[1] == []


def test_an_endless_line_takes_no_memory_and_is_told_once_and_at_once():
    decoder = make_decoder(COMMA, CELLS)
    decoder.feed(Chunk(b"\n", 0))
    kinds = [
        event.kind for _ in range(1000) for event in decoder.feed(Chunk(b"\x00" * 1000, 0)).events
    ]
    assert kinds == ["long"]
    tracemalloc.start()
    for _ in range(1000):
        decoder.feed(Chunk(b"\x00" * 1000, 0))
    assert tracemalloc.get_traced_memory()[0] < 50_000
    tracemalloc.stop()
    told = decoder.feed(Chunk(b"\n1,2,3\n", 0))
    assert not told.events
    assert len(told.samples) == 1


def test_a_stream_without_any_line_end_is_told_as_the_first_line():
    decoder = make_decoder(COMMA, CELLS)
    events = [event for _ in range(9) for event in decoder.feed(Chunk(b"7" * 99, 0)).events]
    assert [event.kind for event in events] == ["first line"]


def test_xor_checksum_of_a_published_sentence():
    """The checksum of the widely printed GLL sentence of NMEA 0183 is 27 (from memory)."""
    body = b"GPGLL,5057.970,N,00146.110,E,142451,A"
    link = Link(fields=("left",), checksum="xor")
    rows, events = decoded(f"{body.decode()}*27\n{body.decode()}*26\n", link, CELLS[:1])
    assert not rows
    assert [event.kind for event in events] == ["long", "checksum"]


def test_a_missing_checksum_is_a_checksum_fault():
    link = Link(fields=("left", "right"), checksum="crc")
    assert [event.kind for event in decoded("1,2\n*\n", link)[1]] == ["checksum", "checksum"]


# -- the clock ---------------------------------------------------------------------------------


def test_the_clock_wraps_after_32_bits():
    start = 2**32 - 25_000
    rows, events = decoded("".join(f"{(start + k * 10_000) % 2**32},5,6\n" for k in range(6)))
    assert [int(row["board_us"]) for row in rows] == [start + k * 10_000 for k in range(6)]
    assert not events


def test_milliseconds_become_microseconds_and_wrap_too():
    link = Link(fields=("time_ms", "left", "right"))
    rows, _ = decoded("4294967290,5,6\n6,5,6\n", link)
    assert int(rows[1]["board_us"]) - int(rows[0]["board_us"]) == 12_000


def test_a_gap_is_marked_with_its_size():
    rows, events = decoded(course(10_040_000, 10_050_000))
    assert [(event.kind, event.index, event.count) for event in events] == [("gap", 20, 3)]
    assert int(rows[20]["flags"]) == Flag.GAP
    assert int(rows[21]["flags"]) == 0


def test_a_bad_line_stands_for_a_lost_sample():
    rows, events = decoded(course(10_010_000) + "1,2\n" + "10030000,5,6\n10040000,5,6\n")
    assert [event.kind for event in events] == ["short"]
    assert int(rows[21]["flags"]) == Flag.GAP
    assert len(rows) == 23


@pytest.mark.parametrize("stray", [10_110_000, 19_010_000, 90_010_000, 1_010_000, 3_010_000])
def test_one_garbled_clock_is_a_jump_back_and_no_restart(stray):
    rows, events = decoded(course(stray, 10_020_000, 10_030_000))
    assert [event.kind for event in events] == ["jump back"]
    assert [int(row["board_us"]) for row in rows[-2:]] == [10_020_000, 10_030_000]
    assert not any(int(row["flags"]) & Flag.RESTART for row in rows)


def test_the_same_clock_again_is_repeated():
    rows, events = decoded(course(10_010_000, 10_010_000, 10_020_000))
    assert [event.kind for event in events] == ["repeated"]
    assert len(rows) == 22


@pytest.mark.parametrize("begin", [0, 1_900_000, 4_000_000])
def test_a_restart_is_marked_and_time_goes_on(begin):
    rows, events = decoded(course(begin, begin + 10_000))
    assert [event.kind for event in events] == ["restart"]
    assert int(rows[20]["flags"]) & Flag.RESTART
    assert int(rows[20]["board_us"]) > int(rows[19]["board_us"])
    assert int(rows[21]["board_us"]) - int(rows[20]["board_us"]) == 10_000


def test_a_restart_is_as_long_as_the_host_saw():
    decoder = make_decoder(COMMA, CELLS)
    before = decoder.feed(Chunk(("\n" + course()).encode(), 1_000_000_000)).samples
    after = decoder.feed(Chunk(b"0,5,6\n10000,5,6\n", 3_500_000_000)).samples
    assert int(after[0]["board_us"]) - int(before[-1]["board_us"]) == 2_500_000


def test_a_restart_after_an_hour_is_no_wrap():
    rows, events = decoded("3600000000,5,6\n3600010000,5,6\n500000,5,6\n510000,5,6\n")
    assert [event.kind for event in events] == ["restart"]
    assert len(rows) == 4


def test_without_a_clock_a_gap_is_a_silence_of_the_host():
    decoder = make_decoder(Link(fields=("left", "right")), CELLS)
    decoder.feed(Chunk(b"\n", 0))
    flags = []
    for arrival_ms in (10, 20, 30, 40, 200, 210, 1010, 1020):
        told = decoder.feed(Chunk(b"1,2\n", arrival_ms * 1_000_000))
        flags += told.samples["flags"].tolist()
        assert not told.samples["board_us"].any()
    assert flags == [0, 0, 0, 0, 0, 0, Flag.GAP, 0]


# -- links that make no sense ------------------------------------------------------------------


@pytest.mark.parametrize(
    "link",
    [
        Link(fields=("time_us", "left")),
        Link(fields=("time_us", "time_ms", "left", "right")),
        Link(fields=("left", "right", "left")),
        Link(fields=("left", "right"), separator="-"),
        Link(fields=("left", "right"), separator="::"),
    ],
)
def test_a_senseless_link_is_refused_in_words(link):
    with pytest.raises(InputFault, match=r"link\."):
        make_decoder(link, CELLS)
