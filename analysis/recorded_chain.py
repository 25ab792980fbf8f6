"""From a recording's counts to force: the chain it was made with, and the newest amended one.

An amendment is a later change in the file's history. It may bring a calibration (its JSON text as
the bytes of the array ``calibration_json``) and a ratio; the newest of each holds, and what stood
before stays readable in the header and the older changes.
"""

import math
from functools import lru_cache
from typing import Any

import numpy as np

from daq.faults import RecordingFault
from daq.force.calibration import Calibration
from daq.force.force_chain import ForceChain
from daq.force.lever import CONTACT_WANDER_MM, with_ratio
from daq.force.zero import Zero
from daq.record.header import RunHeader, ZeroRecord
from daq.record.reader import Recording
from daq.rig.rig import Lever

CALIBRATION = "calibration_json"
RATIO = "ratio"
WHAT = "amended"  # key of a change: what it corrects, in words


def force_chain(header: RunHeader) -> ForceChain:
    """Return the chain a recording was made with. Without a zero the counts pass unchanged.

    Raises RecordingFault or InputFault where the header makes no chain.
    """
    return _chain(header, _calibration(header), _lever(header))


def chain_of(recording: Recording) -> ForceChain:
    """Return the newest chain: the one it was made with, or as amended since. Raises as above."""
    header = recording.header
    return _chain(header, calibration_of(recording), lever_of(recording))


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


def _chain(header: RunHeader, calibration: Calibration, lever: Lever) -> ForceChain:
    try:
        return ForceChain(calibration, _zero(header), lever)
    except ValueError as error:
        raise RecordingFault(f"The recording's zero and calibration do not fit: {error}.") from None


def _lever(header: RunHeader) -> Lever:
    """Return the lever of a header, which anybody may have written."""
    held: dict[str, Any] = dict(header.lever)
    words = {"fulcrum": ("end", "between"), "contact": tuple(CONTACT_WANDER_MM)}
    numbers = [value for key, value in held.items() if key not in words]
    sound = all(isinstance(value, int | float) and math.isfinite(value) for value in numbers)
    sound &= all(held.get(key, choices[0]) in choices for key, choices in words.items())
    try:
        lever = Lever(**held)
    except TypeError:  # an entry that is none, or one that is missing
        sound = False
    if not sound or not (lever.jack_arm_mm > 0.0 and lever.specimen_arm_mm > 0.0):
        raise RecordingFault("The recording's lever is not usable: its arms are not known.")
    return lever


def _zero(header: RunHeader) -> Zero:
    record = header.zero_before
    return Zero.none(len(header.cells)) if record is None else recorded_zero(record)


def recorded_zero(record: ZeroRecord) -> Zero:
    """Return a zero as the force is reckoned with it."""
    return Zero(record.counts, record.sd_counts, record.sd_counts, record.samples)
