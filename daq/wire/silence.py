"""Gaps in lines without a clock: a silence of the host's clock is all that tells of them."""

from daq.wire.rows import IntArray

_SILENCE_STEPS = 10
_SILENCE_NS = 250_000_000
_MEMORY_NS = 2_000_000_000


class Silence:
    """Finds silences between arrivals; the usual step is the mean over the last second or so."""

    def __init__(self) -> None:
        self._last_ns: int | None = None
        self._span_ns = 0.0
        self._steps = 0.0

    def breaks(self, arrival_ns: IntArray) -> list[int]:
        """Return the rows that came after a silence."""
        if not len(arrival_ns):
            return []
        first = int(arrival_ns[0])
        silent = False
        if self._last_ns is not None:
            waited = first - self._last_ns
            silent = self._steps > 0 and waited > self._longest_ns()
            if not silent:
                self._learn(waited, len(arrival_ns))
        self._last_ns = int(arrival_ns[-1])
        return [0] if silent else []

    def _longest_ns(self) -> float:
        return _SILENCE_STEPS * self._span_ns / self._steps + _SILENCE_NS

    def _learn(self, waited_ns: int, steps: int) -> None:
        if self._span_ns > _MEMORY_NS:
            self._span_ns /= 2
            self._steps /= 2
        self._span_ns += waited_ns
        self._steps += steps
