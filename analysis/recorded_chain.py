"""From a recording's counts to force: the chain it was made with, and the newest amended one.

An amendment is a later change in the file's history. It may bring a calibration (its JSON text as
the bytes of the array ``calibration_json``) and a ratio; the newest of each holds, and what stood
before stays readable in the header and the older changes.
"""

from functools import lru_cache

import numpy as np

from daq.faults import RecordingFault
from daq.force.calibration import Calibration
from daq.force.force_chain import ForceChain
from daq.force.lever import with_ratio
from daq.force.zero import Zero
from daq.record.header import RunHeader, ZeroRecord
from daq.record.reader import Recording
from daq.rig.rig import Lever

CALIBRATION = "calibration_json"
RATIO = "ratio"
WHAT = "amended"  # key of a change: what it corrects, in words


def force_chain(header: RunHeader) -> ForceChain:
    """Return the chain a recording was made with. Without a zero the counts pass unchanged."""
    return ForceChain(_calibration(header), _zero(header), _lever(header))


def chain_of(recording: Recording) -> ForceChain:
    """Return the newest chain: the one it was made with, or as amended since."""
    header = recording.header
    return ForceChain(calibration_of(recording), _zero(header), lever_of(recording))


def amendments(recording: Recording) -> str:
    """Return what was amended and why, oldest first, in words; "" where nothing was."""
    changes = (change for change in recording.history if WHAT in change.change)
    return "; ".join(f"{change.change[WHAT]} ({change.reason})" for change in changes)


def calibration_of(recording: Recording) -> Calibration:
    """Return the newest calibration of a recording. Raises InputFault for a damaged one."""
    brought = [change for change in recording.history if CALIBRATION in change.data]
    if not brought:
        return _calibration(recording.header)
    text = np.asarray(brought[-1].data[CALIBRATION], dtype=np.uint8).tobytes()
    return Calibration.from_json(text.decode("utf-8", "replace"), str(recording.path))


def lever_of(recording: Recording) -> Lever:
    """Return the lever at the newest ratio of a recording. Raises RecordingFault for a bad one."""
    lever = _lever(recording.header)
    ratios = [change.change[RATIO] for change in recording.history if RATIO in change.change]
    if not ratios:
        return lever
    try:
        ratio = float(ratios[-1])
        if ratio > 0.0:
            return with_ratio(lever, ratio)
    except (TypeError, ValueError):
        pass
    raise RecordingFault(f"{recording.path}: its amended ratio is {ratios[-1]!r}, which is none.")


def _calibration(header: RunHeader) -> Calibration:
    return _read_calibration(header.calibration)


@lru_cache(maxsize=32)
def _read_calibration(text: str) -> Calibration:
    """Return the calibration of a text; the pulls of a day share one."""
    return Calibration.from_json(text)


def _lever(header: RunHeader) -> Lever:
    return Lever(**header.lever)  # type: ignore[arg-type]


def _zero(header: RunHeader) -> Zero:
    record = header.zero_before
    return Zero.none(len(header.cells)) if record is None else recorded_zero(record)


def recorded_zero(record: ZeroRecord) -> Zero:
    """Return a zero as the force is reckoned with it."""
    return Zero(record.counts, record.sd_counts, record.sd_counts, record.samples)
