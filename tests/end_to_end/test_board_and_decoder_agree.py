"""Encoder and decoder, each written from the protocol page apart, count the same things."""

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from daq.rig.rig_file import read_rig
from daq.samples import Chunk
from daq.wire.decoders import make_decoder
from simulators.faults import FAULTS, FaultOrder
from simulators.simulated_rig import DEMO_RIG_FILE
from simulators.simulation import simulate
from simulators.transmission import delivery, transmit, wire_bytes, wire_for

SIMULATION = simulate("hardwood-withdrawal", 6)
RIG = read_rig(DEMO_RIG_FILE)
#: One of each that leaves lines whole or breaks them, together.
TOGETHER = [FaultOrder(kind) for kind in FAULTS if kind not in ("unplug", "restart")]
WIRES = [("text", "none"), ("text", "xor"), ("text", "crc"), ("packet", "none")]


def counted(orders, wire_format, checksum, line_end=b"\n"):
    """Return what the board says was sent, and what the decoder makes of the bytes."""
    wire = wire_for(SIMULATION, wire_format, checksum, line_end)
    transmission = transmit(SIMULATION, wire, orders)
    out = delivery(
        ((s, True) for s in transmission.sendings if s.due_s <= transmission.ends_s), complete=True
    )
    link = replace(RIG.link, format=wire_format, checksum=checksum)
    decoder = make_decoder(link, RIG.cells)
    data = wire_bytes(transmission)
    parts = [decoder.feed(Chunk(data[i : i + 4096], i)) for i in range(0, len(data), 4096)]
    parts.append(decoder.finish())
    samples = np.concatenate([part.samples for part in parts])
    return out, samples, [event for part in parts for event in part.events]


def bad_and_lost(events):
    bad = Counter()
    for event in events:
        if event.is_bad_line:
            bad[event.kind] += event.count
    return dict(bad), sum(event.count for event in events if event.kind == "gap")


@pytest.mark.parametrize(("wire_format", "checksum"), WIRES)
@pytest.mark.parametrize("orders", [[FaultOrder(kind)] for kind in FAULTS] + [TOGETHER])
def test_good_bad_and_lost_are_the_same_on_both_sides(orders, wire_format, checksum):
    out, samples, events = counted(orders, wire_format, checksum)
    bad, lost = bad_and_lost(events)
    assert len(samples) == out.good
    assert bad == out.bad_lines
    assert lost == out.lost
    # the board's first message follows the first line, so none of them is dropped
    assert sum(event.kind == "message" for event in events) == out.messages_sent


@pytest.mark.parametrize(("wire_format", "checksum"), WIRES)
def test_without_faults_the_counts_arrive_bit_for_bit(wire_format, checksum):
    _, samples, _ = counted([], wire_format, checksum, b"\r\n")
    assert np.array_equal(samples["counts"], SIMULATION.counts)
    assert np.array_equal(samples["board_us"], SIMULATION.board_us)


def test_a_restart_is_told_once():
    _, _, events = counted([FaultOrder("restart")], "text", "none")
    assert [event.kind for event in events].count("restart") == 1
