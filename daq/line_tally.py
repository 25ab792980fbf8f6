"""What came over the wire that is not a good sample, counted for the screen and the file."""

from collections import Counter, deque
from collections.abc import Iterable

from daq.wire.decoded import WireEvent

EXCERPTS = 16


class LineTally:
    """Running counts of bad lines by kind, gaps and lost samples."""

    def __init__(self) -> None:
        self._bad: Counter[str] = Counter()
        self._excerpts: deque[str] = deque(maxlen=EXCERPTS)
        self.gaps = 0
        self.lost_samples = 0
        self.restarts = 0

    @property
    def bad_lines(self) -> dict[str, int]:
        """Bad lines by kind (a copy)."""
        return dict(self._bad)

    @property
    def excerpts(self) -> tuple[str, ...]:
        """The newest bad lines, escaped, oldest first."""
        return tuple(self._excerpts)

    def take(self, events: Iterable[WireEvent]) -> None:
        """Count events."""
        for event in events:
            if event.is_bad_line:
                self._bad[event.kind] += event.count
                self._excerpts.append(event.text)
            elif event.kind == "gap":
                self.gaps += 1
                self.lost_samples += event.count
            elif event.kind == "restart":
                self.restarts += 1
