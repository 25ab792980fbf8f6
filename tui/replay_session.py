"""A recording as a session: the same chain and the same screens, from the same counts."""

from pathlib import Path

from analysis.recorded_chain import force_chain
from daq.acquisition import Acquisition
from daq.pull_session import SessionSettings
from daq.record.reader import read_recording
from daq.rig.rig_file import read_rig_text
from daq.sources import ReplaySource
from daq.wire.sample_clock import fit_clock, seconds


def open_replay(file: Path, speed: float) -> Acquisition:
    """Return a session that plays ``file``. Raises RecordingFault, InputFault."""
    recording = read_recording(file)
    header, samples = recording.header, recording.samples
    rig = read_rig_text(header.rig.text, f"{file} (its rig)", file.parent)
    chain = force_chain(header)
    due_s = seconds(samples, fit_clock(samples, has_clock=header.has_board_clock))
    settings = SessionSettings(
        specimen=header.specimen, zero=chain.zero if header.zero_before else None
    )
    return Acquisition(
        rig,
        chain.calibration,
        lambda: ReplaySource(samples, due_s, speed),
        folder=None,
        settings=settings,
        has_board_clock=header.has_board_clock,
    )
