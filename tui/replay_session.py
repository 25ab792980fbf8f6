"""A recording as a session: the same chain and the same screens, from the same counts."""

import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from analysis.recorded_chain import force_chain
from daq.acquisition import Acquisition
from daq.live_reading import LiveReading, TraceBlock
from daq.record.reader import Recording, read_recording
from daq.rig.rig import Rig
from daq.rig.rig_file import read_rig_text
from daq.session_settings import SessionSettings
from daq.sources import Playhead, ReplaySource
from daq.wire.sample_clock import fit_clock, seconds
from tui import wording
from tui.session import empty_block

SPEEDS = (1 / 8, 64.0)


def recorded_rig(recording: Recording) -> Rig:
    """Return the rig a recording was made on. Raises InputFault."""
    file = recording.path
    return read_rig_text(recording.header.rig.text, f"{file} (its rig)", file.parent)


def open_replay(recording: Recording, head: Playhead) -> Acquisition:
    """Return a session that plays a recording, not started. Raises InputFault."""
    header, samples = recording.header, recording.samples
    chain = force_chain(header)
    due_s = seconds(samples, fit_clock(samples, has_clock=header.has_board_clock))
    settings = SessionSettings(
        specimen=header.specimen, zero=chain.zero if header.zero_before else None
    )
    return Acquisition(
        recorded_rig(recording),
        chain.calibration,
        lambda: ReplaySource(samples, due_s, head=head),
        folder=None,
        settings=settings,
        has_board_clock=header.has_board_clock,
    )


class ReplaySession:
    """A replay that can be led: stood still, stepped, sped up, sought.

    Going back starts the chain from the beginning and hurries to where it shall stand, so maximum
    and phase are those of a replay that had gone there by itself.
    """

    def __init__(self, file: Path, speed: float = 1.0) -> None:
        """Raises RecordingFault, InputFault."""
        self._recording = read_recording(file)
        self.rig = recorded_rig(self._recording)
        self._head = Playhead(speed, stay=True)
        self._now = open_replay(self._recording, self._head)
        self._shown = self._now.latest()
        samples, header = self._recording.samples, self._recording.header
        fit = fit_clock(samples, has_clock=header.has_board_clock)
        self._length_s = float(seconds(samples, fit)[-1]) if len(samples) else 0.0

    def start(self) -> None:
        """Begin to play."""
        self._now.start()

    def latest(self) -> LiveReading:
        """Return the newest reading; while hurrying, the one that was shown before."""
        newest = self._now.latest()
        if not self._head.hurrying and newest.samples:
            self._shown = newest
        return replace(self._shown, host_ns=time.monotonic_ns())

    def take_trace(self) -> TraceBlock:
        """Return the samples that came since the last call."""
        return empty_block() if self._head.hurrying else self._now.take_trace()

    @property
    def words(self) -> str:
        """Where it stands."""
        head = self._head
        state = "stands" if head.paused else f"{head.speed:g} times" if head.speed != 1 else "plays"
        if head.at_s >= self._length_s:
            state = "at the end"
        at, whole = wording.clock(head.at_s), wording.clock(self._length_s)
        return f"REPLAY {state}, {at}.{int(head.at_s * 10) % 10} of {whole}: {self._file}"

    @property
    def _file(self) -> str:
        return self._recording.path.name

    def pause(self) -> None:
        """Stand still, or go on; at the end, begin again."""
        if self._head.at_s >= self._length_s:
            self._head.paused = False
            self._begin_again(0.0)
        else:
            self._head.paused = not self._head.paused

    def skip(self, seconds: float, *, stand: bool = False) -> None:
        """Go on (back: negative) by so much; ``stand``: and stay there."""
        head = self._head
        from_s = max(head.at_s, head.hurry_to_s)
        target_s = min(max(from_s + seconds, 0.0), self._length_s)
        head.paused = head.paused or stand
        if target_s >= head.at_s:
            head.hurry_to_s = target_s
        else:
            self._begin_again(target_s)

    def quicken(self, factor: float) -> None:
        """Play so many times faster."""
        self._head.speed = min(max(self._head.speed * factor, SPEEDS[0]), SPEEDS[1])

    def close(self) -> None:
        """End the replay."""
        self._now.close()

    def _begin_again(self, target_s: float) -> None:
        self._now.close()
        self._head = replace(self._head, at_s=0.0, hurry_to_s=target_s)
        self._now = open_replay(self._recording, self._head)
        self._now.start()

    def __getattr__(self, name: str) -> Any:
        wish: Callable[..., None] = getattr(self._now, name)
        return wish
