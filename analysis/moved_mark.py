"""A person moves a mark: written into the recording's history, beside what the rules found."""

import math
from pathlib import Path

import numpy as np

from analysis.person_words import LANDMARK, MOVABLE
from analysis.pull_curve import pull_curve
from daq.faults import InputFault
from daq.record.history import add_history
from daq.record.reader import read_recording


def move_mark(path: Path, landmark: str, since_start_s: float, reason: str) -> None:
    """Move ``landmark`` of a recording to a time in s since the pull began, for a reason.

    The sample is what is kept, so that a later rule for the beginning changes nothing. Raises
    InputFault for a mark or a time that does not exist, RecordingFault for what cannot be written.
    """
    if landmark not in MOVABLE:
        raise InputFault(
            f"--move-mark: there is no mark {landmark!r}; there is: {', '.join(MOVABLE)}."
        )
    if not reason.strip():
        raise InputFault("--move-mark: say why with --reason TEXT; it is kept with the date.")
    recording = read_recording(path)
    curve = pull_curve(recording) if len(recording.samples) else None
    if curve is None or math.isnan(curve.began_s):
        raise InputFault(f"{path}: holds no pull, so no mark of it can be moved.")
    last_s = float(curve.seconds[-1]) - curve.began_s
    if not 0.0 <= since_start_s <= last_s:
        raise InputFault(
            f"--move-mark {landmark}={since_start_s:g}: write seconds since the pull began, "
            f"from 0 to {last_s:.1f}."
        )
    at = int(np.argmin(np.abs(curve.seconds - curve.began_s - since_start_s)))
    change = {
        LANDMARK: landmark,
        "seconds": since_start_s,
        "index": int(recording.samples["index"][at]),
    }
    add_history(path, change, reason)
