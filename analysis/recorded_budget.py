"""The uncertainty budget of a recorded maximum: rig, calibration and zeros from the recording."""

from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import numpy as np

from analysis.landmarks import Landmarks, find_landmarks
from analysis.pull_curve import PullCurve, pull_curve
from analysis.recorded_chain import recorded_zero
from analysis.uncertainty.specimen_force import (
    SETTLING_PERIODS,
    Budget,
    PullFigures,
    specimen_force_budget,
)
from daq.faults import InputFault
from daq.record.reader import Recording, read_recording
from daq.rig.rig import Rig
from daq.rig.rig_file import read_rig_text


@lru_cache(maxsize=32)
def recorded_rig(text: str) -> Rig | None:
    """Return the rig of a rig file kept in a recording; None where the text is none (any more).

    A calibration that it names is not looked for: the recording carries its own.
    """
    try:
        return read_rig_text(text, "the rig file kept in the recording")
    except InputFault:
        return None


def recorded_budget(curve: PullCurve, marks: Landmarks, recording: Recording) -> Budget | None:
    """Return the budget of the maximum; None without a maximum or a rig file that can be read."""
    rig = recorded_rig(recording.header.rig.text)
    if rig is None or curve.top < 0 or not curve.peak.force_n > 0.0:
        return None
    after = recording.zero_after
    figures = PullFigures(
        max_force_n=curve.peak.force_n,
        zero_before=curve.chain.zero,
        zero_after=None if after is None else recorded_zero(after),
        noise_counts=curve.chain.zero.sd,
        climb_n_per_s=marks.climb_at_maximum_n_per_s if len(marks.strokes) else 0.0,
        sample_period_s=sample_period_s(curve),
    )
    rig = replace(rig, lever=curve.chain.lever)
    return specimen_force_budget(rig, curve.chain.calibration, figures)


def sample_period_s(curve: PullCurve) -> float:
    """Return the usual time between two samples."""
    return float(np.median(np.diff(curve.seconds))) if len(curve.seconds) > 1 else 0.0


def unseen_peak_n(curve: PullCurve, marks: Landmarks) -> float:
    """Return by how much the true maximum may exceed the read one: slope x (period + settling)."""
    return marks.climb_at_maximum_n_per_s * (1.0 + SETTLING_PERIODS) * sample_period_s(curve)


def budget_of(file: Path) -> Budget | None:
    """Return the budget of the maximum in a file. Raises RecordingFault."""
    recording = read_recording(file)
    if not len(recording.samples):
        return None
    curve = pull_curve(recording)
    return recorded_budget(curve, find_landmarks(curve), recording)
