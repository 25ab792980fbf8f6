"""A stream of bytes cut at its line ends: whole lines now, the begun one kept, memory bounded."""

from dataclasses import dataclass

_KEPT = 512  # of a line without an end: enough to know that it is too long, and to show it


@dataclass(frozen=True, slots=True)
class Cut:
    """What one chunk completed.

    ``whole`` holds whole lines with their ends. ``first`` is what preceded the first line end after
    opening (dropped), told once. ``endless`` is the start of a begun line that is already too long,
    told once; its rest is dropped as it comes. ``endless_kind`` is its kind of bad line.
    """

    whole: bytes
    first: bytes = b""
    endless: bytes = b""
    endless_kind: str = ""


class StreamCutter:
    """Cuts at ``end`` (one byte); a line of over ``longest`` bytes is endless."""

    def __init__(self, end: bytes, longest: int) -> None:
        self._end = end
        self._longest = longest
        self._begun = b""
        self._first = True  # whatever precedes the first line end is no line
        self._told = False  # the begun line was told as endless

    def feed(self, data: bytes) -> Cut:
        """Take bytes (perhaps none)."""
        data = self._begun + data
        stop = data.rfind(self._end) + 1
        start, first = 0, b""
        if stop and (self._first or self._told):
            start = data.index(self._end) + 1
            first = b"" if self._told else data[: start - 1]
            self._first = self._told = False
        self._begun = data[stop : stop + _KEPT]
        if len(self._begun) <= self._longest or self._told:
            return Cut(data[start:stop], first)
        self._told = True
        kind = "first line" if self._first else "long"
        return Cut(data[start:stop], first, self._begun, kind)
