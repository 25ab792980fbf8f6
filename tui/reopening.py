"""A session that may begin without a board, and be opened anew on another port."""

import math
import time
from collections.abc import Callable
from typing import Any

from daq.faults import DeviceFault, Fault
from daq.live_reading import CellReading, LiveReading, Phase, TraceBlock
from daq.rig.rig import Rig
from tui.session import Session, empty_block

RETRY_S = 3.0
NO_BOARD = "There is no board yet: l shows the ports and sets the link up."


class NoBoard:
    """Stands where a session will be: the force is unknown, and every wish is refused."""

    ended_because = None

    def __init__(self, rig: Rig, because: str) -> None:
        nan = math.nan
        self._reading = LiveReading(
            host_ns=time.monotonic_ns(),
            live=False,
            unknown_because=because,
            force_n=nan,
            at_cells_n=nan,
            ratio=rig.lever.ratio,
            cells=tuple(CellReading(cell.name, nan, cell.capacity_n, nan) for cell in rig.cells),
            climb_n_per_s=nan,
            maximum_n=nan,
            median3_maximum_n=nan,
            phase=Phase.SLACK,
            pull_number=0,
            pull_elapsed_s=nan,
            stop_n=rig.stop.stop_n,
            warn_n=rig.stop.warn_n,
            trip=None,
            still_loaded=False,
            extrapolated=False,
            zeroed=False,
            zero_note="",
            samples=0,
            samples_per_s=nan,
        )

    def latest(self) -> LiveReading:
        """Return a reading without a force."""
        return self._reading

    def take_trace(self) -> TraceBlock:
        """Return no samples."""
        return empty_block()

    def close(self) -> None:
        """Nothing to end."""

    def __getattr__(self, wish: str) -> Callable[..., None]:
        """Refuse every wish."""

        def refuse(*_: object, **__: object) -> None:
            raise Fault(NO_BOARD)

        return refuse


class ReopeningSession:
    """Hands everything to the session that is open now; ``reopen`` opens another in its place.

    ``open_it`` takes a port (None: that of the rig file) and returns a started session.
    """

    def __init__(self, rig: Rig, open_it: Callable[[str | None], Session], port: str | None):
        self._rig, self._open_it, self._port = rig, open_it, port
        self._now: Any = NoBoard(rig, "")
        self._again_s = -math.inf
        self._try()

    def _try(self) -> None:
        """Open the port that was asked for; a port that is not there or busy is tried again."""
        self._again_s = time.monotonic() + RETRY_S
        try:
            self._now = self._open_it(self._port)
        except Fault as fault:
            self._now = NoBoard(self._rig, str(fault))
            if not isinstance(fault, DeviceFault):
                self._again_s = math.inf

    def latest(self) -> LiveReading:
        """Return the newest reading; without a board, look for it now and then."""
        if not self.has_board and time.monotonic() > self._again_s:
            self._try()
        reading: LiveReading = self._now.latest()
        return reading

    @property
    def has_board(self) -> bool:
        """Whether a board's session is open."""
        return not isinstance(self._now, NoBoard)

    def reopen(self, port: str) -> None:
        """End the session that is open and open one on ``port``. Raises Fault, InputFault."""
        newest = self._now.latest()
        if newest.phase is not Phase.SLACK or newest.still_loaded:
            raise Fault("The link stays while the rig is loaded: wind back first.")
        self._now.close()
        self._now, self._port = NoBoard(self._rig, "the link is being opened"), port
        self._now = self._open_it(port)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._now, name)
