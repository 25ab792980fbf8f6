"""What a person should be told of readings and boards that are not what they seem. Words only."""

import numpy as np

from daq.live_chain import Step
from daq.samples import Flag
from daq.wire.decoded import WireEvent


class Doubts:
    """Readings that are not believable: each trouble is told when it begins, and stands meanwhile.

    ``now`` is why the newest reading is not believable, "" when it is.
    """

    def __init__(self) -> None:
        self.now = ""
        self._flags = 0
        self._spikes = 0

    def take(self, step: Step, still: str, spikes: int) -> list[str]:
        """Take a step, which cells stand still, and spikes counted; return what is new."""
        told = []
        if spikes > self._spikes:
            told.append("A reading stood out alone: kept, but it is not the maximum.")
        self._spikes = spikes
        if not len(step.samples):
            return told
        flags = step.samples["flags"]
        leaps = np.flatnonzero(flags & int(Flag.SUSPECT))
        if len(leaps) and not self._flags & Flag.SUSPECT:
            told.append(self._leap(float(step.forces.at_specimen_n[leaps[0]])))
        self._flags = int(flags[-1])
        self.now = self._now(float(step.forces.at_specimen_n[-1]), still)
        return told

    def _now(self, force_n: float, still: str) -> str:
        if self._flags & Flag.STUCK:
            return f"{still} stands still: look at its plug and its converter"
        if self._flags & Flag.SUSPECT:
            return self._leap(force_n)
        return ""

    @staticmethod
    def _leap(force_n: float) -> str:
        return f"no crank leaps to {force_n:.0f} N: not believed, look at plugs and converters"


class BoardName:
    """What the board calls itself (its banner), compared with the one before."""

    def __init__(self, before: str) -> None:
        self.name = before
        self._heard = False

    def opened(self) -> None:
        """The port was opened again: the next banner counts."""
        self._heard = False

    def take(self, events: tuple[WireEvent, ...]) -> str:
        """Look for the banner, a message before the first sample; return a warning, or ""."""
        if self._heard:
            return ""
        banner = next((e.text for e in events if e.kind == "message" and e.index == 0), "")
        if not banner:
            return ""
        before, self.name, self._heard = self.name, banner, True
        if before in ("", banner):
            return ""
        return (
            f"Another board answers: {banner!r}; last time it was {before!r}. "
            "Check with a known weight that the calibration is this board's."
        )
