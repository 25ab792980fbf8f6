"""What a decoder hands on: good samples, and everything else it saw, as events."""

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from daq.samples import Chunk

#: Kinds of line that are counted and never become a sample (docs/wire_protocol.md).
BAD_LINE_KINDS = (
    "first line",
    "short",
    "long",
    "not a number",
    "out of range",
    "checksum",
    "repeated",
    "jump back",
)

EXCERPT_LENGTH = 80


@dataclass(frozen=True, slots=True)
class WireEvent:
    """Something on the wire that is not a good sample.

    ``kind`` is one of BAD_LINE_KINDS, or ``gap``, ``restart``, ``message``. ``index`` is the index
    of the next good sample; ``count`` the bad lines or lost samples it stands for (0: unknown).
    ``text`` is what was received, escaped to printable ASCII and cut to 80 characters.
    """

    kind: str
    index: int
    arrival_ns: int
    count: int = 1
    text: str = ""

    @property
    def is_bad_line(self) -> bool:
        """Whether this counts as a bad line."""
        return self.kind in BAD_LINE_KINDS


@dataclass(frozen=True, slots=True, eq=False)
class Decoded:
    """The outcome of one chunk: samples (structured, ``sample_dtype``) and events in order."""

    samples: np.ndarray
    events: tuple[WireEvent, ...]


class Decoder(Protocol):
    """An incremental decoder. Any split of a stream into chunks gives the same samples."""

    @property
    def cells(self) -> int:
        """Number of load-cell channels in a sample."""
        ...

    def feed(self, chunk: Chunk) -> Decoded:
        """Take bytes (perhaps none) and return what became complete."""
        ...

    def finish(self) -> Decoded:
        """The port closed: return what was held back; an unfinished line is lost, not a sample."""
        ...


def excerpt(data: bytes) -> str:
    """Return received bytes as an event shows them: printable ASCII, at most 80 characters."""
    return (
        data[:EXCERPT_LENGTH].decode("latin-1").encode("unicode_escape").decode()[:EXCERPT_LENGTH]
    )
