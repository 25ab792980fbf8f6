"""A header that anybody may have written makes a chain, or a fault in words; never an exception."""

from dataclasses import replace
from types import MappingProxyType

import pytest

from analysis.recorded_chain import chain_of, force_chain
from analysis.reduction import reduce_recording
from daq.faults import InputFault, RecordingFault


def doctored(recording, **lever):
    """The recording with entries of its lever changed; None takes one out."""
    held = {**recording.header.lever, **lever}
    kept = {key: value for key, value in held.items() if value is not None}
    return replace(recording, header=replace(recording.header, lever=MappingProxyType(kept)))


@pytest.mark.parametrize(
    "lever",
    [
        {"jack_arm_mm": None},
        {"jack_arm_mm": "402 mm"},
        {"jack_arm_mm": 0.0},
        {"specimen_arm_mm": -201.0},
        {"specimen_arm_mm": 0.0},
        {"specimen_arm_mm": float("inf")},
        {"pin_friction": "little"},
        {"fulcrum": "nowhere"},
        {"contact": "soft"},
        {"arm": 1.0},
    ],
    ids=str,
)
def test_a_lever_that_is_none_is_refused(recorded, lever):
    recording, _ = recorded()
    wrong = doctored(recording, **lever)
    with pytest.raises(RecordingFault, match="lever"):
        force_chain(wrong.header)
    with pytest.raises(RecordingFault, match="lever"):
        reduce_recording(wrong, wrong.path)


def test_a_calibration_of_other_cells_is_refused(recorded):
    recording, _ = recorded()
    cells = (*recording.header.cells, recording.header.cells[0])
    zero = recording.header.zero_before
    more = replace(zero, counts=(*zero.counts, 0.0), sd_counts=(*zero.sd_counts, 1.0))
    wrong = replace(recording, header=replace(recording.header, cells=cells, zero_before=more))
    with pytest.raises((RecordingFault, InputFault), match="3 cells under a calibration of 2"):
        chain_of(wrong)
