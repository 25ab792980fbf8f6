"""Framing against vectors from outside: CRC, COBS, XOR, 24-bit two's complement.

Sources: tests/published/data/serial_vectors.csv (its header says where each kind is from).
"""

import csv
from pathlib import Path

import numpy as np
import pytest
from cobs import cobs

from daq.rig.rig import Cell, Link
from daq.samples import Chunk, Flag
from daq.wire.checksums import crc16, crc16_of_slices
from daq.wire.decoders import make_decoder

CELL = Cell("left", "left", 2000.0)
_LINES = (Path(__file__).parent / "data" / "serial_vectors.csv").read_text().splitlines()
VECTORS = list(csv.DictReader(line for line in _LINES if not line.startswith("#")))


def of_kind(kind):
    return [pytest.param(row, id=row["name"]) for row in VECTORS if row["kind"] == kind]


def ibm_3740():
    (row,) = [row for row in VECTORS if row["name"].startswith("CRC-16/IBM-3740")]
    return bytes.fromhex(row["input_hex"]), int(row["output_hex"], 16)


def in_full(text):
    """Bytes of a hex field; ``01..FE`` stands for the bytes from 01 to FE."""
    out = b""
    for word in text.split(" "):
        first, dots, last = word.partition("..")
        both = bytes.fromhex(first + last)
        out += bytes(range(both[0], both[1] + 1)) if dots else both
    return out


def one_line(link, line):
    decoder = make_decoder(link, [CELL])
    return decoder.feed(Chunk(b"\n" + line, 0))


def test_crc_of_the_check_string():
    data, check = ibm_3740()
    assert check == 0x29B1
    assert crc16(data) == check


def test_crc_of_many_slices_at_once():
    data, check = ibm_3740()
    text = np.frombuffer(b"xx" + data + b"yyy" + data + data[:4], dtype=np.uint8)
    told = crc16_of_slices(text, np.array([2, 14, 23]), np.array([11, 23, 27]))
    assert told.tolist() == [check, check, crc16(data[:4])]


def test_no_other_crc_of_the_list_is_taken_for_it():
    others = {row["output_hex"] for row in VECTORS if row["kind"] == "crc"} - {"29B1"}
    link = Link(fields=("left",), checksum="crc")
    good = b"1234567*%04X\n" % crc16(b"1234567")
    assert len(one_line(link, good).samples) == 1
    data, _ = ibm_3740()
    assert all(crc16(data) != int(other, 16) for other in others)


@pytest.mark.parametrize("row", of_kind("cobs"))
def test_cobs_frames_open_to_what_went_in(row):
    wire, inside = in_full(row["output_hex"]), in_full(row["input_hex"])
    assert wire[-1:] == b"\0"
    assert cobs.decode(wire[:-1]) == inside


@pytest.mark.parametrize("row", of_kind("xor"))
def test_the_exclusive_or_of_a_sentence(row):
    body = bytes.fromhex(row["input_hex"])
    link = Link(fields=("left",), checksum="xor")
    kinds = [
        [event.kind for event in one_line(link, body + b"*" + digits + b"\n").events]
        for digits in (row["output_hex"].encode(), b"00")
    ]
    assert kinds == [["long"], ["checksum"]]  # the first is whole, but holds other fields


@pytest.mark.parametrize("row", of_kind("adc24"))
def test_codes_of_a_24_bit_converter(row):
    """Sent as a signed number in text, or sign-extended to 32 bits in a packet."""
    code, value = int(row["input_hex"], 16), int(row["output_hex"])
    extended = code | (0xFF000000 if code & 0x800000 else 0)
    head = bytes([1, 1, 7, 0, 64, 0, 0, 0]) + extended.to_bytes(4, "little")
    packet = cobs.encode(head + crc16(head).to_bytes(2, "little")) + b"\0"
    text = one_line(Link(fields=("left",)), b"%d\n" % value).samples
    decoder = make_decoder(Link(fields=("left",), format="packet"), [CELL])
    binary = decoder.feed(Chunk(b"\0" + packet, 0)).samples
    for samples in (text, binary):
        assert samples["counts"].tolist() == [[value]]
        saturated = "saturation" in row["note"]
        assert bool(samples["flags"][0] & Flag.SATURATED) == saturated
