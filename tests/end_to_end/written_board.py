"""A board written by hand at the far end of a pty, and a session that listens to it.

It writes as fast as the reader takes it: its clock says 10 ms a line, so a minute of pulling passes
in a second.
"""

import os
import time
from contextlib import suppress
from pathlib import Path

import numpy as np
import pytest

from analysis.reduction import reduce_recording
from daq.record.reader import read_recording
from daq.rig.rig_file import read_rig
from daq.session_settings import SessionSettings
from tui import wording
from tui.live_session import board_before, open_session

tty = pytest.importorskip("tty")

DEADLINE_S = 30.0
BANNER = b"# cells 2 firmware 3\r\n"
PERIOD_US = 10_000
GAIN, ZERO = 2000.0, (12_000, -5_000)
RIG = """
[rig]
name = "hand-written board"
build = "1"
[link]
fields = {fields}
separator = ","
[[cell]]
name = "left"
field = "left"
capacity = "2000 N"
counts_per_newton = 2000
[[cell]]
name = "right"
field = "right"
capacity = "2000 N"
counts_per_newton = 2000
[lever]
fulcrum = "end"
jack_arm = "400 mm"
specimen_arm = "200 mm"
[[part]]
name = "hook"
limit = "8 kN"
acts_at = "specimen"
source = "invented"
[stop]
stop = "6 kN"
warn = "5 kN"
stale_after = "2 s"
[jack]
lead = "4 mm"
"""


class Board:
    """Writes lines to a pty that is also known by a link."""

    def __init__(self, link: Path, *, first_us: int = 0, millis: bool = False) -> None:
        self._near, far = os.openpty()
        tty.setraw(far)
        self._far = far  # kept open, or the near end hangs up before a reader is there
        if link.is_symlink():
            link.unlink()
        link.symlink_to(os.ttyname(far))
        self.clock_us, self._millis = first_us, millis
        self._noise = np.random.default_rng(3)
        self.sent = 0

    def write(self, data: bytes) -> None:
        """Write all of it, waiting for the reader."""
        while data:
            data = data[os.write(self._near, data) :]

    def line(self, force_n: float) -> bytes:
        """The next line of a specimen force, shared equally, with noise."""
        self.clock_us += PERIOD_US
        noise = self._noise.normal(0, 20, 2)
        counts = [round(force_n / 4 * GAIN + z + n) for z, n in zip(ZERO, noise, strict=True)]
        clock = (self.clock_us // 1000 if self._millis else self.clock_us) % 2**32
        self.sent += 1
        return b"%d,%d,%d\r\n" % (clock, *counts)

    def pull(self, forces, spoil=lambda number, line: line) -> None:
        """Write a line for each force; ``spoil`` may change a line (b"" loses it)."""
        lines = [spoil(number, self.line(force)) for number, force in enumerate(forces)]
        for start in range(0, len(lines), 20):
            self.write(b"".join(lines[start : start + 20]))

    def unplug(self) -> None:
        """Pull the cable."""
        for descriptor in (self._near, self._far):
            with suppress(OSError):
                os.close(descriptor)
        self._near = self._far = -1


class Desk:
    """A running session on a link, and what a person sees of it."""

    def __init__(self, folder: Path, fields='["time_us", "left", "right"]', **settings) -> None:
        self.folder, self.link = folder / "pulls", folder / "board"
        rig = folder / "rig.toml"
        rig.write_text(RIG.format(fields=fields), "utf-8")
        self._open = lambda: open_session(
            read_rig(rig),
            str(self.link),
            self.folder,
            SessionSettings(auto_zero=True, board_before=board_before(self.folder), **settings),
            reconnect=True,
        )

    def start(self, board: Board, banner: bytes = BANNER) -> None:
        """Open the port; the board boots."""
        self.board = board
        self.session = self._open()
        self.session.start()
        board.write(b"73,11")  # the end of a line that began before
        board.write(b"\r\n" + banner)

    def until(self, done, what="") -> None:
        """Wait for a condition."""
        end = time.monotonic() + DEADLINE_S
        while not done():
            assert time.monotonic() < end, (what, self.seen)
            time.sleep(0.005)

    @property
    def seen(self):
        """The newest reading."""
        return self.session.latest()

    @property
    def screen(self) -> str:
        """All words of the whole-screen alarm, and the notices."""
        alarm = wording.alarm(self.seen, "kN")
        return "\n".join([*alarm.words, *alarm.lines, *self.seen.notices])

    def slack(self, seconds: float = 4.0) -> None:
        """Quiet, till a zero is there."""
        self.board.pull(np.zeros(round(seconds * 100)))
        self.until(lambda: self.seen.zeroed, "zero")

    def all_read(self, bad: int = 0, lost: int = 0) -> None:
        """Wait till everything sent is counted: kept, bad or lost."""
        self.until(lambda: self.seen.samples + bad + lost >= self.board.sent - 1, "all read")

    def saved(self, number: int = 1):
        """Wait for the pull to be on disk; return recording and result."""
        self.until(lambda: len(self.session.saved) >= number, "saved")
        path = self.session.saved[number - 1]
        self.until(lambda: read_recording(path).complete, "sealed")
        recording = read_recording(path)
        return recording, reduce_recording(recording, path)
