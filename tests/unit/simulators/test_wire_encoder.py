"""Lines and frames, against the protocol page and against libraries that are not ours."""

import numpy as np
import pytest
from cobs import cobs as cobs_library
from crccheck.crc import Crc16Ibm3740

from simulators.wire_encoder import PacketWire, TextWire, cobs, crc16

TEXT = TextWire(fields=("time_us", "left", "right"), cells=("left", "right"))


def test_crc_has_the_published_check_value():
    """CRC-16/IBM-3740 of 123456789 is 0x29B1 (catalogue of parametrised CRC algorithms)."""
    assert crc16(b"123456789") == 0x29B1


def test_crc_and_cobs_agree_with_independent_libraries():
    """crccheck and cobs, both from the package index, on lengths across the block limits."""
    rng = np.random.default_rng(7)
    for length in [*range(20), 253, 254, 255, 256, 507, 508, 509, 510, 700]:
        for top in (2, 256):
            data = rng.integers(0, top, length).astype(np.uint8).tobytes()
            assert crc16(data) == Crc16Ibm3740.calc(data)
            assert cobs(data) == cobs_library.encode(data)
    for length in (254, 255, 508, 509):
        data = bytes([1]) * length
        assert cobs(data) == cobs_library.encode(data)
        assert cobs(data + b"\0") == cobs_library.encode(data + b"\0")


@pytest.mark.parametrize(
    ("data", "frame"),
    [
        ("", "01"),
        ("00", "0101"),
        ("0000", "010101"),
        ("11220033", "0311220233"),
        ("11223344", "0511223344"),
        ("11000000", "0211010101"),
    ],
)
def test_cobs_vectors(data, frame):
    """Examples of consistent overhead byte stuffing (from memory; the library above agrees)."""
    assert cobs(bytes.fromhex(data)) == bytes.fromhex(frame)


def test_the_line_of_the_protocol_page():
    assert TEXT.sample(0, 10752, (211873, 198114)) == b"10752,211873,198114\n"
    assert TEXT.message(0, 0, "hello") == b"# hello\n"


def test_fields_come_in_the_order_of_the_rig_file():
    wire = TextWire(("right", "skip", "time_ms", "left"), ("left", "right"), ";", "none", b"\r\n")
    assert wire.sample(105, 7_654_321, (-1, 2)) == b"2;5;7654;-1\r\n"


def test_the_clock_wraps_at_32_bits():
    assert TEXT.sample(0, (1 << 32) + 12, (0, 0)) == b"12,0,0\n"
    in_ms = TextWire(("time_ms", "left"), ("left",))
    assert in_ms.sample(0, ((1 << 32) + 12) * 1000, (0,)) == b"12,0\n"


def test_checksums_cover_everything_before_the_star():
    xor = TextWire(TEXT.fields, TEXT.cells, checksum="xor").sample(0, 1, (2, 3))
    body, star, digits = xor.rstrip(b"\n").partition(b"*")
    value = 0
    for byte in body:
        value ^= byte
    assert (body, star, int(digits, 16), len(digits)) == (b"1,2,3", b"*", value, 2)
    crc = TextWire(TEXT.fields, TEXT.cells, checksum="crc").sample(0, 1, (2, 3))
    assert crc == b"1,2,3*%04X\n" % Crc16Ibm3740.calc(b"1,2,3")


def test_the_frame_of_the_protocol_page():
    """Version, cells, sequence, clock, counts, CRC; little-endian; one zero at the end."""
    frame = PacketWire().sample(65537, (1 << 32) + 0x01020304, (-8388608, 8388607))
    assert frame.count(0) == 1
    assert frame.endswith(b"\0")
    data = cobs_library.decode(frame[:-1])
    assert data[:8] == bytes.fromhex("0102 0100 04030201")
    assert np.frombuffer(data[8:16], "<i4").tolist() == [-8388608, 8388607]
    assert int.from_bytes(data[16:], "little") == Crc16Ibm3740.calc(data[:16])


def test_a_message_frame_carries_its_text():
    data = cobs_library.decode(PacketWire().message(7, 9, "hello")[:-1])
    assert data[:4] == bytes([2, 5, 7, 0])
    assert data[8:13] == b"hello"


def test_a_spoilt_frame_keeps_its_framing_and_fails_its_crc():
    wire = PacketWire()
    for position in range(30):
        frame = wire.spoilt(wire.sample(300, 70_000, (0, -5)), position, 0x20)
        assert frame.count(0) == 1
        data = cobs_library.decode(frame[:-1])
        assert Crc16Ibm3740.calc(data[:-2]) != int.from_bytes(data[-2:], "little")
