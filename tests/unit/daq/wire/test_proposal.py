"""What is proposed for a link, from bytes a simulated board sends (an encoder written apart)."""

import numpy as np
import pytest

from daq.wire.proposal import best, propose, toml_lines
from simulators.wire_encoder import PacketWire, TextWire

SECONDS, RATE = 3.0, 93.0
FIELDS = ("time_us", "left", "right")


def sent(wire, *, fields=2, seconds=SECONDS, rate=RATE, junk=b"7,12\n", seed=4):
    """Bytes of a board: a cut line, a banner, then samples whose cells wander."""
    rng = np.random.default_rng(seed)
    data = junk + wire.message(0, 0, "a board")
    for number in range(int(seconds * rate)):
        clock = int((number + 1) * 1e6 / rate + rng.integers(-30, 30))
        data += wire.sample(number, clock, rng.integers(-70000, 70000, fields).tolist())
    return data


@pytest.mark.parametrize("separator", [",", ";", "\t", " "])
@pytest.mark.parametrize("checksum", ["none", "xor", "crc"])
@pytest.mark.parametrize("line_end", [b"\n", b"\r\n"])
def test_text_is_found_out(separator, checksum, line_end):
    wire = TextWire(FIELDS, FIELDS[1:], separator, checksum, line_end)
    found = propose(sent(wire), SECONDS, 115200)
    assert found.link.fields == FIELDS
    assert (found.link.separator, found.link.checksum) == (separator, checksum)
    assert (found.link.format, found.link.baud) == ("text", 115200)
    assert found.fits == pytest.approx(1.0)


@pytest.mark.parametrize(
    "fields",
    [
        ("left", "right"),
        ("left", "right", "time_us"),
        ("time_ms", "left", "right"),
        ("skip", "time_us", "left", "right"),
        ("time_us", "left", "skip", "right"),
    ],
)
def test_clock_and_counter_are_told_from_cells(fields):
    """The counter wraps at 100 in this encoder; milliseconds and microseconds by the span."""
    wire = TextWire(fields, ("left", "right"))
    assert propose(sent(wire, junk=b"3\n"), SECONDS, 115200).link.fields == fields


@pytest.mark.parametrize("rate", [10.0, 93.0, 250.0])
def test_the_unit_of_a_clock_comes_from_the_time_listened(rate):
    for name in ("time_us", "time_ms"):
        wire = TextWire((name, "left", "right"), ("left", "right"))
        found = propose(sent(wire, rate=rate), SECONDS, 115200)
        assert found.link.fields[0] == name


@pytest.mark.parametrize("cells", [1, 2, 4])
def test_packets_are_found_out(cells):
    found = propose(sent(PacketWire(), fields=cells, junk=b"\1\2\0"), SECONDS, 230400)
    assert found.link.format == "packet"
    assert found.link.fields == ("left", "right", "cell3", "cell4")[:cells]
    assert found.fits > 0.99


def test_names_of_the_rig_file_are_used_in_order():
    wire = TextWire(("time_us", "a", "b"), ("a", "b"))
    found = propose(sent(wire), SECONDS, 115200, ("jack_a", "jack_b"))
    assert found.link.fields == ("time_us", "jack_a", "jack_b")


def test_a_cell_that_stands_still_is_said():
    lines = b"x\n" + b"".join(b"%d,%d,0\n" % (n * 10700, 5000 + n * 37 % 11) for n in range(1, 200))
    found = propose(lines, 2.1, 115200)
    assert found.link.fields == FIELDS
    assert any("LOOK AT THE WIRING" in words for words in found.seen)


def test_lines_that_are_bad_lower_the_fit():
    data = sent(TextWire(FIELDS, FIELDS[1:]))
    lines = data.split(b"\n")
    lines[40:60] = [line[:5] for line in lines[40:60]]
    found = propose(b"\n".join(lines), SECONDS, 115200)
    assert found.link.fields == FIELDS
    assert 0.85 < found.fits < 0.95


@pytest.mark.parametrize(
    "data",
    [b"", b"1,2,3\n" * 3, bytes(range(256)) * 20, b"temperature 21.5 C\n" * 50, b"\0" * 500],
)
def test_nothing_sensible_gives_no_proposal(data):
    assert propose(data, SECONDS, 9600) is None


def test_random_bytes_never_raise():
    rng = np.random.default_rng(11)
    alphabet = np.frombuffer(b"0123456789,;\t -+*#.\r\n\0\xffA", np.uint8)
    for length in rng.integers(0, 3000, 60):
        propose(rng.choice(alphabet, length).tobytes(), SECONDS, 115200)


def test_the_rate_that_fits_most_is_best():
    good = propose(sent(TextWire(FIELDS, FIELDS[1:])), SECONDS, 115200)
    spoilt = propose(sent(TextWire(FIELDS, FIELDS[1:])) + b"9,9\n" * 90, SECONDS, 9600)
    assert best([None, spoilt, good]) is good
    assert best([None]) is None


def test_keys_for_the_rig_file():
    found = propose(sent(TextWire(FIELDS, FIELDS[1:])), SECONDS, 115200)
    assert toml_lines(found.link) == {
        "baud": 115200,
        "format": "text",
        "fields": list(FIELDS),
        "separator": ",",
        "checksum": "none",
    }
