"""Mutated files: a sentence, or the right numbers; never a traceback, a hang or a wrong number.

A small series through the public road; `benchmarks/fuzz_recordings.py` runs the large one.
"""

import random

import numpy as np
import pytest
from record_writer_child import HEADER, block

from daq.faults import RecordingFault
from daq.record import header as headers
from daq.record.events import Event, EventKind
from daq.record.pull_file import PullFile
from daq.record.reader import read_recording
from daq.record.repair import examine
from daq.samples import Flag


@pytest.fixture
def open_file(tmp_path):
    """Return a cut-short recording of 10 batches: no seal stands over it."""
    pull = PullFile.create(tmp_path, headers.from_json(HEADER.read_text(encoding="utf-8")), 2)
    for number in range(10):
        pull.append(block(number * 23, 23))
        pull.event(Event(EventKind.MARK, number, number, "mark"))
        pull.commit()
    pull._let_go()
    return pull.path


def mutated(data, chance):
    if chance.random() < 0.3:
        return data[: chance.randrange(1, len(data))]
    flipped = bytearray(data)
    for _ in range(chance.choice([1, 1, 4, 30])):
        flipped[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
    return bytes(flipped)


@pytest.mark.parametrize("seed", range(6))
def test_mutated_file(open_file, seed):
    whole = open_file.read_bytes()
    right = read_recording(open_file)
    open_file.write_bytes(mutated(whole, random.Random(seed)))

    report = examine(open_file)
    try:
        recording = read_recording(open_file)
    except RecordingFault as fault:
        assert "\n" not in str(fault)
    else:
        assert recording.header == right.header
        np.testing.assert_array_equal(recording.samples, right.samples[: len(recording.samples)])

    if report.recording is not None:
        found = report.recording.samples
        there = right.samples[found["index"].astype(int)].copy()
        there["flags"] |= found["flags"] & np.uint16(Flag.GAP)
        np.testing.assert_array_equal(found, there)
