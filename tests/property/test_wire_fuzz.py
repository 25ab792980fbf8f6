"""Spoilt streams never raise, never invent a sample, and always add up; the large series is a
benchmark (`benchmarks/wire_fuzz.py`)."""

import pytest
from wire_mutations import LINKS, believable, crc, endless, sendings, series, truth_series

from simulators.simulation import simulate


@pytest.fixture(scope="module")
def simulation():
    return simulate("hardwood-withdrawal", seed=4)


@pytest.mark.parametrize("name", LINKS)
def test_mutated_streams(name, simulation):
    tally = series(name, sendings(name, simulation), range(300))
    assert tally.failures == []
    assert tally.streams == 300
    assert tally.samples > 5_000
    assert tally.bad > 500


@pytest.mark.parametrize("name", LINKS)
def test_faults_the_board_knows_of_add_up_to_the_sample(name, simulation):
    tally = truth_series(name, simulation, range(8))
    assert tally.failures == []
    assert tally.streams > 4


@pytest.mark.parametrize("name", LINKS)
def test_an_endless_line_holds_no_memory(name):
    assert endless(name, megabytes=4) < 500_000


def test_the_plain_reading_agrees_with_published_values():
    """CRC-16/IBM-3740 check value (catalogue of CRC parameters); a frame and a line by hand."""
    assert crc(b"123456789") == 0x29B1
    assert believable("text", b"x\n1,2,-3\n1,2\n1,2,8388608\n") == [(2, -3)]
